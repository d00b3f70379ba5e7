"""Checks of settings that every plan shares; messages name the setting as the record does."""
import math
from numbers import Real

from ..problems import InputProblem


def require_number(name, value, unit, *, at_least=None, above=None, at_most=None):
    """Refuse a setting that is empty, not a number or out of its range.

    Raises   InputProblem, naming the setting, what it is and what to enter
    """
    wanted = _range_in_words(at_least, above, at_most, unit)
    if value is None or (isinstance(value, Real) and math.isnan(value)):
        raise InputProblem(f"{name} is empty. Enter {wanted}.")
    if not isinstance(value, Real) or not math.isfinite(value):
        raise InputProblem(f"{name} is {value}, which is not a number. Enter {wanted}.")
    too_low = (at_least is not None and value < at_least) or (above is not None and value <= above)
    if too_low or (at_most is not None and value > at_most):
        raise InputProblem(f"{name} is {value:,g} {unit}. Enter {wanted}.")


def _range_in_words(at_least, above, at_most, unit):
    limits = []
    if above is not None:
        limits.append(f"above {above:,g}")
    if at_least is not None:
        limits.append(f"of {at_least:,g} or more")
    if at_most is not None:
        limits.append(f"not above {at_most:,g}")
    return " ".join(["a number", ", ".join(limits), f"({unit})"])
