"""The row-unit test as figures and words."""
from dataclasses import asdict

from .figures import figure

FOLLOWS = {"planter": "The stand follows the planter: the row units differ by more than counting "
                      "noise, the stops do not.",
           "ground": "The stand follows the ground: the stops differ by more than counting noise, "
                     "the row units do not.",
           "both": "Row units and stops both differ by more than counting noise.",
           "neither": "Neither the row units nor the stops differ by more than counting noise."}


def row_unit_account(found, spacings, *, depth_unit, warnings, left_out):
    """Return the account of RowUnitTests and of the Spacing of each taped unit.

    Parameters
        spacings  row unit (None: of all taped rows together) -> Spacing in `depth_unit`
    """
    return {
        "verdict": row_unit_verdict(found),
        "sets": [{
            "follows": test.follows, "rows": test.rows, "stops": test.stops,
            "p_planter": test.p_planter, "p_ground": test.p_ground,
            "planter_deviation": figure(100 * test.planter_deviation, "%"),
            "ground_deviation": figure(100 * test.ground_deviation, "%"),
            "units": [asdict(one) for one in test.units]} for test in found.tests],
        "spacings": [{"row_unit": unit, "unit": depth_unit, **asdict(taped)}
                     for unit, taped in spacings.items()],
        "left_out": left_out, "warnings": [*warnings, *found.not_compared]}


def row_unit_verdict(found):
    """Return what the tests say, in words; they name no cause."""
    return " ".join([*map(_of_set, found.tests), *found.not_compared])


def _of_set(test):
    numbers = ", ".join(str(one.unit) for one in test.units)
    parts = [f"Row units {numbers}: {FOLLOWS[test.follows][0].lower()}{FOLLOWS[test.follows][1:]}",
             *(one.in_words for one in test.faulty)]
    if any(one.effect < 0 for one in test.faulty):
        parts.append("Look at its meter, seed tube, depth and closing before blaming the ground.")
    if not test.faulty:
        parts.append(f"A unit off by less than about {100 * test.least_seen:.0f} % would not have "
                     "shown.")
    return " ".join(parts)
