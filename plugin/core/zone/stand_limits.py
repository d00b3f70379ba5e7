"""Limits that part a stand into classes a grower can talk about."""
from ..problems import InputProblem

SHARES_OF_TARGET = (0.5, 0.7, 0.9)  # this program's own choice


def limits_below_target(target):
    """Return rising limits at half, seven and nine tenths of a target stand, in its unit.

    Raises   InputProblem: the target is not above 0
    """
    if not target > 0:
        raise InputProblem(f"The target stand is {target}; it must be above 0.")
    return [share * target for share in SHARES_OF_TARGET]
