"""The one place for what differs between QGIS 3.22, later QGIS 3 and builds on Qt 6."""
from qgis.core import Qgis
from qgis.PyQt.QtCore import NULL, QMetaType, QVariant

# QgsField takes QMetaType types from 3.38 on, and warns about the QVariant types it took before.
if Qgis.versionInt() >= 33800:
    DOUBLE = QMetaType.Type.Double
    INTEGER = QMetaType.Type.Int
    LONG = QMetaType.Type.LongLong
    TEXT = QMetaType.Type.QString
    BOOLEAN = QMetaType.Type.Bool
    DATE = QMetaType.Type.QDate
    DATETIME = QMetaType.Type.QDateTime
else:
    DOUBLE = QVariant.Double
    INTEGER = QVariant.Int
    LONG = QVariant.LongLong
    TEXT = QVariant.String
    BOOLEAN = QVariant.Bool
    DATE = QVariant.Date
    DATETIME = QVariant.DateTime


def is_null(value):
    """Return whether an attribute's value is empty: NULL is a QVariant on Qt 5, None on Qt 6."""
    return value is None or value == NULL


def set_label_format(label, text_format):
    """Give a layout label its text format; before 3.24 a label knew only a font and a colour.

    Parameters
        label        QgsLayoutItemLabel
        text_format  QgsTextFormat, its size in points
    """
    if hasattr(label, "setTextFormat"):
        label.setTextFormat(text_format)
    else:
        label.setFont(text_format.toQFont())
        label.setFontColor(text_format.color())


def set_legend_format(legend, component, text_format):
    """Give one component of a layout legend its text format, as set_label_format does.

    Parameters
        legend       QgsLayoutItemLegend
        component    QgsLegendStyle.Style, for example QgsLegendStyle.Style.Title
        text_format  QgsTextFormat, its size in points
    """
    style = legend.rstyle(component)
    if hasattr(style, "setTextFormat"):
        style.setTextFormat(text_format)
    else:
        legend.setStyleFont(component, text_format.toQFont())
        legend.setFontColor(text_format.color())
