"""Colours of zones as they come into a project, told apart by colour-blind readers too."""
from qgis.core import QgsProcessingLayerPostProcessorInterface

from .polygon_style import label_zones, paint, paint_plan, unsure_symbol, zone_symbols


class _Painter(QgsProcessingLayerPostProcessorInterface):
    """Paints a layer once Processing has loaded it."""
    kept = []  # QGIS owns none of them: the last few must outlive their algorithm

    def __init__(self, dress):
        super().__init__()
        self._dress = dress

    def postProcessLayer(self, layer, context, feedback):
        """Give the layer its style."""
        self._dress(layer)


def paint_zones(layer):
    """Paint zones by their title, from the lowest zone to the highest, and print their numbers."""
    titles = [feature["title"] for feature in sorted(layer.getFeatures(),
                                                     key=lambda one: one["zone"])]
    paint_plan(layer, zone_symbols(titles), "title")
    label_zones(layer, "zone")


def paint_unsure(layer):
    """Hatch the places where zones are not sure."""
    paint(layer, unsure_symbol())


def paint_when_loaded(context, path, dress):
    """Have an output painted by dress(layer) if Processing is to load it."""
    if context.willLoadLayerOnCompletion(path):
        painter = _Painter(dress)
        _Painter.kept = [*_Painter.kept[-7:], painter]
        context.layerToLoadOnCompletionDetails(path).setPostProcessor(painter)
