"""The one place for what differs between QGIS 3.22, later QGIS 3 and builds on Qt 6."""
from qgis.core import Qgis, QgsMapLayer
from qgis.PyQt.QtCore import NULL


def is_null(value):
    """Return whether an attribute's value is empty: NULL is a QVariant on Qt 5, None on Qt 6."""
    return value is None or value == NULL


def make_tab(container):
    """Make a page of a form out of a QgsAttributeEditorContainer: newer QGIS has kinds of them."""
    if hasattr(Qgis, "AttributeEditorContainerType"):
        container.setType(Qgis.AttributeEditorContainerType.Tab)
    else:
        container.setIsGroupBox(False)


def store_default_style(layer, name, description):
    """Store a layer's style in its database as the default; return what went wrong, or ""."""
    if not hasattr(layer, "saveStyleToDatabaseV2"):
        return layer.saveStyleToDatabase(name, description, True, "")
    result, problem = layer.saveStyleToDatabaseV2(name, description, True, "")
    kinds = QgsMapLayer.SaveStyleResult  # a style without SLD, which nothing here reads, is stored
    lost = result & (kinds.QmlGenerationFailed | kinds.DatabaseWriteFailed)
    return (problem or "no reason given") if lost else ""
