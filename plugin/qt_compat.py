"""The one place for what differs between QGIS 3.22, later QGIS 3 and builds on Qt 6."""
from qgis.PyQt.QtCore import NULL


def is_null(value):
    """Return whether an attribute's value is empty: NULL is a QVariant on Qt 5, None on Qt 6."""
    return value is None or value == NULL
