"""Attribute values to plain ones: what is empty becomes None, or NaN among numbers."""
from qgis.PyQt.QtCore import QVariant


def plain(value):
    """Return an attribute as it is; None where it is empty."""
    return None if isinstance(value, QVariant) and value.isNull() else value


def number_of(value):
    """Return an attribute as float; NaN where it is empty or no number."""
    value = plain(value)
    if value is None:
        return float("nan")
    try:
        return float(value)
    except (TypeError, ValueError):
        return float("nan")
