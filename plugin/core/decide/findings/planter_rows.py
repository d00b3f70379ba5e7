"""Planter row units: the row-unit test as evidence."""
from dataclasses import fields

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from ...observe.row_units import row_unit_test
from ...problems import InputProblem
from .case import Case, Trial
from .linked import signed
from .walk import RowCounts

TEST = "row units shuffled within each stop, the largest difference of all, 1,999 times"
TITLE = "Planter row unit"
NEXT = ("Dig in the gaps of the row: no seed, doubled seed or seed at the wrong depth tells meter, "
        "tube and closing apart. Look at the unit itself.")
UNTAPED = "Plants were not taped along the row, so skips and doubles are not told apart."


def planter_rows(walk, tick=None):
    """Return the Case of the planter's row units, one Trial for each set counted side by side.

    Where stops take in turn the one or the other set of neighbouring rows, units of two sets
    never stand on the same ground and are not compared; within each set they are.
    """
    unseen = () if walk.taped else (UNTAPED,)
    if walk.rows is None:
        why = walk.lack("row_counts", "No rows were counted one by one.")
        return Case("row_unit", TITLE, not_looked_at=(why, *unseen), next_step=(
            "Count the rows of the planter one by one at each stop, with their row units."))
    sets, trials, reasons = _sets(walk.rows), [], []
    for number, rows in enumerate(sets):
        try:
            trials.append(_trial(rows, None if tick is None else _part(tick, number, len(sets))))
        except InputProblem as problem:
            reasons.append(str(problem))
    if len(sets) > 1:
        reasons.append(f"Rows were counted in {len(sets)} sets that share no stop: whether a whole "
                       "set is off is not known. Begin the count at another row unit at some "
                       "stops.")
    return Case("row_unit", TITLE, tuple(trials), next_step=NEXT,
                not_looked_at=(*dict.fromkeys(reasons), *unseen))


def _sets(rows):
    """Return RowCounts of each set of row units that stops join, directly or by way of others."""
    stops, stop = np.unique(rows.stops, return_inverse=True)
    units, unit = np.unique(rows.units, return_inverse=True)
    size = len(stops) + len(units)
    joined = coo_matrix((np.ones(len(stop)), (stop, len(stops) + unit)), shape=(size, size))
    count, label = connected_components(joined, directed=False)
    return [RowCounts(*(getattr(rows, part.name)[label[stop] == one] for part in fields(rows)))
            for one in range(count)]


def _part(tick, number, count):
    return lambda done: tick((number + done) / count)


def _trial(rows, tick):
    test = row_unit_test(rows.stops, rows.units, rows.plants, rows.length_m, tick=tick)
    low = [one for one in test.faulty if one.effect < 0]
    reach = max(one.high - one.effect for one in test.units)
    told = low or [min(test.units, key=lambda one: one.effect)]
    numbers = ", ".join(str(one.unit) for one in test.units)
    return Trial(
        test=TEST, p=test.p_planter, toward=bool(low),
        effect=" ".join(_told(one) for one in told)
        + f" {test.rows} rows of units {numbers} at {test.stops} stops.",
        unsure="" if low else f"A unit off by less than about {100 * reach:.0f} % would not have "
                              "shown.")


def _told(unit):
    way = "below" if unit.effect < 0 else "above"
    return (f"Row unit {unit.unit} stands {100 * abs(unit.effect):.0f} % {way} the middle unit "
            f"(95 % interval, all units at once: {signed(100 * unit.low, 0)} to "
            f"{signed(100 * unit.high, 0)} %).")
