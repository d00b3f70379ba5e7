"""Attribute values to plain ones: what is empty becomes None, or NaN among numbers."""
from ..qt_compat import is_null


def plain(value):
    """Return an attribute as it is; None where it is empty."""
    return None if is_null(value) else value


def number_of(value):
    """Return an attribute as float; NaN where it is empty or no number."""
    value = plain(value)
    if value is None:
        return float("nan")
    try:
        return float(value)
    except (TypeError, ValueError):
        return float("nan")
