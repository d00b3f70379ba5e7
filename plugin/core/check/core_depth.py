"""Nitrate results from cores of another depth than the nitrate test is calibrated for."""
import numpy as np

from ..units import convert

# 12 in, or 30 cm: the depth of the pre-sidedress nitrate test; Penn State and Iowa State
# extension. How far a core may be off: this program's own choice.
DEPTH_CM, SLACK_CM = 30.5, 2.6


def check_core_depth(nitrate, top, bottom):
    """Return a flag for each nitrate result that is not of a 12 in (30 cm) core from the top.

    A result without depths is flagged too. Rows without nitrate are not looked at.

    Parameters
        nitrate      ReadingSet
        top, bottom  ReadingSets of depths of the same rows; an empty top is the surface
    """
    top_cm = np.nan_to_num(convert(top.values, top.unit, "cm"))
    bottom_cm = convert(bottom.values, bottom.unit, "cm")
    with np.errstate(invalid="ignore"):
        right = (np.abs(bottom_cm - DEPTH_CM) <= SLACK_CM) & (top_cm <= SLACK_CM)
    flags = []
    for number in np.flatnonzero(np.isfinite(nitrate.values) & ~right):
        if np.isfinite(bottom.values[number]):
            what = (f"Nitrate is from {top.said(np.nan_to_num(top.values[number]))} to "
                    f"{bottom.said(bottom.values[number])}.")
        else:
            what = "Nitrate is from a core of which the depth is not entered."
        flags.append(nitrate.flag(
            number, "core_depth", what=what,
            why="The nitrate test is calibrated for a core from the surface to 12 in (30 cm); "
                "results of another depth mislead it.",
            remedy="Correct the depth if it is wrong; else leave this result out and take a 12 in "
                   "core."))
    return flags
