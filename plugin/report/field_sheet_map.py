"""The map of a field sheet: field, stops with their numbers, and the way between them."""
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsFeature,
    QgsGeometry,
    QgsLineSymbol,
    QgsPalLayerSettings,
    QgsPointXY,
    QgsSingleSymbolRenderer,
    QgsTextBufferSettings,
    QgsUnitTypes,
    QgsVectorLayer,
    QgsVectorLayerSimpleLabeling,
)
from qgis.PyQt.QtGui import QColor

from . import look
from .layers_of_folder import boundary_layer
from .maps import LegendEntry, MapBlock
from .point_style import mark_symbol
from .polygon_style import boundary_symbol, paint
from .type_setting import format_of
from .words import tr

_MM = QgsUnitTypes.RenderUnit.RenderMillimeters


def map_of_stops(project, stops, boundary_wkb, ground_wkb, crs_wkt, units):
    """Return the MapBlock of a SheetStops; its layers belong to `project`."""
    crs = QgsCoordinateReferenceSystem.fromWkt(crs_wkt)
    project.setCrs(crs)
    outline, ground = (boundary_layer(wkb, crs) for wkb in (boundary_wkb, ground_wkb))
    paint(outline, boundary_symbol())
    kept = boundary_symbol()
    kept.symbolLayer(0).setStrokeColor(QColor(look.QUIET))
    kept.symbolLayer(0).setStrokeWidth(0.2)
    paint(ground, kept)
    points = _points(stops.stops_m, crs)
    way = list(map(tuple, stops.stops_m))
    if stops.start_m is not None:
        way.insert(0, stops.start_m)
    if stops.back:
        way.append(way[0])
    layers = [points, _line(way, crs), outline, ground]
    entries = [LegendEntry(mark_symbol("met"), tr("stop, with its number"))]
    if stops.start_m is not None:
        begin = _points([stops.start_m], crs, mark="refused", named=False)
        layers.insert(0, begin)
        entries.append(LegendEntry(mark_symbol("refused"), tr("start of the walk")))
    for layer in layers:
        project.addMapLayer(layer, False)
    caption = tr("{count} stops. The dashed line is the way, {length:,.0f} {unit} straight from "
                 "stop to stop; go round what is in the way. The thin line bounds the ground in "
                 "which stops may lie.").format(
        count=len(stops.stops_m), length=stops.length, unit=units.length)
    extent = outline.extent()
    for layer in layers:
        extent.combineExtentWith(layer.extent())
    return MapBlock(identifier="stops", layers=layers, extent=extent, crs=crs,
                    length=units.length, entries=entries, caption=caption)


def _points(places, crs, *, mark="met", named=True):
    layer = QgsVectorLayer("Point?field=stop:string", "stops", "memory")
    layer.setCrs(crs)
    features = []
    for number, place in enumerate(places, 1):
        feature = QgsFeature(layer.fields())
        feature.setGeometry(QgsGeometry.fromPointXY(QgsPointXY(*map(float, place))))
        feature.setAttributes([str(number)])
        features.append(feature)
    layer.dataProvider().addFeatures(features)
    layer.updateExtents()
    layer.setRenderer(QgsSingleSymbolRenderer(mark_symbol(mark)))
    if named:
        _label(layer)
    return layer


def _label(layer):
    words = format_of(look.Type(8, bold=True))
    halo = QgsTextBufferSettings()
    halo.setEnabled(True)
    halo.setSize(0.8)
    halo.setSizeUnit(_MM)
    halo.setColor(QColor(look.PAPER))
    words.setBuffer(halo)
    settings = QgsPalLayerSettings()
    settings.fieldName = "stop"
    settings.setFormat(words)
    settings.placement = QgsPalLayerSettings.Placement.OrderedPositionsAroundPoint
    settings.dist = 1.0
    settings.distUnits = _MM
    settings.displayAll = True
    layer.setLabeling(QgsVectorLayerSimpleLabeling(settings))
    layer.setLabelsEnabled(True)


def _line(places, crs):
    layer = QgsVectorLayer("LineString", "way", "memory")
    layer.setCrs(crs)
    if len(places) > 1:
        feature = QgsFeature()
        feature.setGeometry(QgsGeometry.fromPolylineXY(
            [QgsPointXY(*map(float, place)) for place in places]))
        layer.dataProvider().addFeatures([feature])
        layer.updateExtents()
    layer.setRenderer(QgsSingleSymbolRenderer(QgsLineSymbol.createSimple(
        {"line_color": look.ACCENT, "line_width": "0.3", "line_style": "dash"})))
    return layer
