"""Fills of plan zones, unsure places and the boundary; told apart in grey print by their hatch."""
from qgis.core import (
    QgsCategorizedSymbolRenderer,
    QgsFillSymbol,
    QgsInvertedPolygonRenderer,
    QgsLinePatternFillSymbolLayer,
    QgsLineSymbol,
    QgsMarkerSymbol,
    QgsPalLayerSettings,
    QgsPointPatternFillSymbolLayer,
    QgsRendererCategory,
    QgsSingleSymbolRenderer,
    QgsTextBufferSettings,
    QgsUnitTypes,
    QgsVectorLayerSimpleLabeling,
    QgsWkbTypes,
)
from qgis.PyQt.QtGui import QColor

from ..core.zone.workable import HEADLAND
from . import look
from .surface_style import colours
from .type_setting import format_of

_MM = QgsUnitTypes.RenderUnit.RenderMillimeters
_EDGE = {"outline_color": "#1c2830", "outline_width": "0.35"}
IDLE = ("keep", "leave", "none")  # actions that change nothing
BEYOND = "cannot reach"
DOUBTFUL = "look again"
# angle and spacing (mm) of the hatch of the first, second ... class of work
_HATCHES = ((45.0, 3.2), (135.0, 2.6), (0.0, 2.2), (90.0, 1.9), (45.0, 1.5), (135.0, 1.2))
_UNSURE_ANGLE = 112.5  # none of those: it lies over them, and one direction would hide the other


def _fill(colour, *layers, edge=True):
    symbol = QgsFillSymbol.createSimple(
        {"color": colour, **(_EDGE if edge else {"outline_style": "no"})})
    for layer in layers:
        symbol.appendSymbolLayer(layer)
    return symbol


def _hatch(angle, spacing, colour="#1c2830", width="0.22"):
    layer = QgsLinePatternFillSymbolLayer()
    layer.setLineAngle(angle)
    layer.setDistance(spacing)
    layer.setDistanceUnit(_MM)
    layer.setSubSymbol(QgsLineSymbol.createSimple({"line_color": colour, "line_width": width}))
    return layer


def _dots(spacing, colour):
    layer = QgsPointPatternFillSymbolLayer()
    layer.setDistanceX(spacing)
    layer.setDistanceY(spacing)
    layer.setSubSymbol(QgsMarkerSymbol.createSimple(
        {"name": "circle", "color": colour, "outline_style": "no", "size": "0.5"}))
    return layer


def unsure_symbol():
    """Return the hatch that lies over places where a map knows little."""
    symbol = QgsFillSymbol.createSimple({"style": "no", "outline_color": "#1c2830",
                                         "outline_width": "0.2"})
    symbol.appendSymbolLayer(_hatch(_UNSURE_ANGLE, 2.4, colour="#ffffff", width="0.55"))
    symbol.appendSymbolLayer(_hatch(_UNSURE_ANGLE, 2.4, width="0.25"))
    return symbol


def boundary_symbol():
    """Return the outline of the field."""
    return QgsFillSymbol.createSimple({"style": "no", "outline_color": "#000000",
                                       "outline_width": "0.5"})


def outside_symbol():
    """Return the paper colour that covers what lies outside the field."""
    return _fill(look.PAPER, edge=False)


def paint_outside(layer):
    """Cover everything outside the layer's polygons with paper."""
    layer.setRenderer(QgsInvertedPolygonRenderer(QgsSingleSymbolRenderer(outside_symbol())))


def paint(layer, symbol):
    """Give every polygon of the layer one symbol."""
    layer.setRenderer(QgsSingleSymbolRenderer(symbol))


def plan_symbols(works):
    """Return a fill for each (action, rate) of a plan, in the order given.

    What changes nothing is light with dots, what cannot be done is crossed, what is to be looked
    at again is white with wide lines; the rest get a sequence from light to dark with a hatch of
    their own.

    Parameters
        works  (action, rate) pairs, sorted by rate
    """
    busy = [work for work in works if work[0] not in (*IDLE, BEYOND, DOUBTFUL)]
    paints = colours("Blues", len(busy) + 2)[1:-1] if len(busy) > 1 else [QColor("#6baed6")]
    made = {}
    for number, work in enumerate(busy):
        angle, spacing = _HATCHES[number % len(_HATCHES)]
        made[work] = _fill(paints[number].name(), _hatch(angle, spacing))
    for work in works:
        if work[0] == BEYOND:
            made[work] = _fill("#d9d9d9", _hatch(45.0, 2.0), _hatch(135.0, 2.0))
        elif work[0] == DOUBTFUL:
            made[work] = _fill("#ffffff", _hatch(135.0, 3.6, width="0.5"))
        elif work[0] in IDLE:
            made[work] = _fill("#f7f5ec", _dots(2.6, "#8a8678"))
    return made


def zone_symbols(titles):
    """Return a fill for each title of zones, from the first, dark, to the last, light.

    A headland stands apart, light with dots.
    """
    ranked = [title for title in titles if title != HEADLAND]
    paints = colours("viridis", len(ranked) + 1)[:-1] if len(ranked) > 1 else [QColor("#21918c")]
    made = {title: _fill(paint.name()) for title, paint in zip(ranked, paints)}
    return {title: made.get(title) or _fill("#f7f5ec", _dots(2.6, "#8a8678")) for title in titles}


def paint_plan(layer, symbols, key_field, texts=None):
    """Give the polygons of a plan the symbol of the work named in `key_field`.

    Parameters
        symbols    symbol of each key, in the order of the legend
        key_field  column or expression that gives a polygon's key
        texts      what the legend says of each; the keys when None
    """
    layer.setRenderer(QgsCategorizedSymbolRenderer(key_field, [
        QgsRendererCategory(key, symbol, text) for (key, symbol), text in zip(
            symbols.items(), texts or symbols)]))


def label_zones(layer, column):
    """Print the zone's number on each polygon."""
    words = format_of(look.Type(9, bold=True))
    halo = QgsTextBufferSettings()
    halo.setEnabled(True)
    halo.setSize(0.9)
    halo.setSizeUnit(_MM)
    halo.setColor(QColor(look.PAPER))
    words.setBuffer(halo)
    settings = QgsPalLayerSettings()
    settings.fieldName = column
    settings.setFormat(words)
    settings.geometryGeneratorEnabled = True  # at the widest place: a number in every zone
    settings.geometryGenerator = "pole_of_inaccessibility($geometry, 2)"
    settings.geometryGeneratorType = QgsWkbTypes.GeometryType.PointGeometry
    settings.placement = QgsPalLayerSettings.Placement.OverPoint
    settings.displayAll = True
    layer.setLabeling(QgsVectorLayerSimpleLabeling(settings))
    layer.setLabelsEnabled(True)
