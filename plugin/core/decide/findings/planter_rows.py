"""Planter row units: the row-unit test as evidence."""
from ...observe.row_sets import row_unit_tests
from ...problems import InputProblem
from .case import Case, Trial

TEST = "row units shuffled within each stop, the largest difference of all, 1,999 times"
TITLE = "Planter row unit"
NEXT = ("Dig in the gaps of the row: no seed, doubled seed or seed at the wrong depth tells meter, "
        "tube and closing apart. Look at the unit itself.")
UNTAPED = "Plants were not taped along the row, so skips and doubles are not told apart."


def planter_rows(walk, tick=None):
    """Return the Case of the planter's row units, one Trial for each set counted side by side.

    See `row_unit_tests` for the sets.
    """
    unseen = () if walk.taped else (UNTAPED,)
    if walk.rows is None:
        why = walk.lack("row_counts", "No rows were counted one by one.")
        return Case("row_unit", TITLE, not_looked_at=(why, *unseen), next_step=(
            "Count the rows of the planter one by one at each stop, with their row units."))
    rows = walk.rows
    try:
        found = row_unit_tests(rows.stops, rows.units, rows.plants, rows.length_m, tick=tick)
    except InputProblem as problem:
        return Case("row_unit", TITLE, next_step=NEXT, not_looked_at=(str(problem), *unseen))
    return Case("row_unit", TITLE, tuple(map(_trial, found.tests)), next_step=NEXT,
                not_looked_at=(*found.not_compared, *unseen))


def _trial(test):
    low = [one for one in test.faulty if one.effect < 0]
    told = low or [min(test.units, key=lambda one: one.effect)]
    numbers = ", ".join(str(one.unit) for one in test.units)
    return Trial(
        test=TEST, p=test.p_planter, toward=bool(low),
        effect=" ".join(one.in_words for one in told)
        + f" {test.rows} rows of units {numbers} at {test.stops} stops.",
        unsure="" if low else f"A unit off by less than about {100 * test.least_seen:.0f} % would "
                              "not have shown.")
