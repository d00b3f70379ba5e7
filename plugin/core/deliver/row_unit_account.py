"""The row-unit test as figures and words."""
from dataclasses import asdict

from .figures import figure


def row_unit_account(test, spacings, *, depth_unit, warnings, left_out):
    """Return the account of a RowUnitTest and of the Spacing of each taped unit.

    Parameters
        spacings  row unit (None: of all taped rows together) -> Spacing in `depth_unit`
    """
    return {
        "verdict": row_unit_verdict(test), "follows": test.follows,
        "rows": test.rows, "stops": test.stops, "p_planter": test.p_planter,
        "p_ground": test.p_ground,
        "planter_deviation": figure(100 * test.planter_deviation, "%"),
        "ground_deviation": figure(100 * test.ground_deviation, "%"),
        "units": [asdict(one) for one in test.units],
        "spacings": [{"row_unit": unit, "unit": depth_unit, **asdict(found)}
                     for unit, found in spacings.items()],
        "left_out": left_out, "warnings": list(warnings)}


def row_unit_verdict(test):
    """Return what the test says, in words; it names no cause."""
    said = {"planter": "The stand follows the planter: the row units differ by more than counting "
                       "noise, the stops do not.",
            "ground": "The stand follows the ground: the stops differ by more than counting noise, "
                      "the row units do not.",
            "both": "Row units and stops both differ by more than counting noise.",
            "neither": "Neither the row units nor the stops differ by more than counting noise."}
    parts = [said[test.follows]]
    for one in test.faulty:
        way = "below" if one.effect < 0 else "above"
        parts.append(f"Row unit {one.unit} stands {100 * abs(one.effect):.0f} % {way} the "
                     f"middle unit (95 % interval, all units at once: {_signed(one.low)} to "
                     f"{_signed(one.high)} %).")
    if any(one.effect < 0 for one in test.faulty):
        parts.append("Look at its meter, seed tube, depth and closing before blaming the ground.")
    if not test.faulty:
        reach = max(one.high - one.effect for one in test.units)
        parts.append(f"A unit off by less than about {100 * reach:.0f} % would not have shown.")
    return " ".join(parts)


def _signed(share):
    return f"{100 * share:+.0f}".replace("-", "\N{MINUS SIGN}")
