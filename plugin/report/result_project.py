"""The project a field call leaves: its surfaces, zones, plans and stops, styled and in order."""
from pathlib import Path

from qgis.core import (
    QgsCategorizedSymbolRenderer,
    QgsColorRampShader,
    QgsCoordinateReferenceSystem,
    QgsFillSymbol,
    QgsProject,
    QgsRasterLayer,
    QgsRasterShader,
    QgsReferencedRectangle,
    QgsRendererCategory,
    QgsSingleBandPseudoColorRenderer,
    QgsVectorLayer,
)

from ..core.problems import InputProblem
from .layers_of_folder import boundary_layer, layer_names, read_raster
from .point_style import paint_marks
from .polygon_style import label_zones, paint, paint_plan, plan_symbols, unsure_symbol
from .surface_style import CHANCE_LIMITS, colours, round_limits, surface_classes
from .words import capital, tr

_TITLES = {"stand": tr("Stand"), "pan_top": tr("Top of the pan"),
           "pan_bottom": tr("Bottom of the pan"), "pan_chance": tr("Chance of a pan within reach"),
           "stand_zones": tr("Stand zones"), "replant_plan": tr("Replant plan"),
           "tillage_plan": tr("Tillage plan")}
# Colours by how a surface's name starts; the first that fits counts.
_LOOKS = {"stand": "viridis", "pan_chance": "Blues", "pan": "YlOrBr", "yield": "cividis"}
_MARK_OF_STOP = "'stop'"
_MARK_OF_PAN = ("CASE WHEN \"kind\" = 'stone' THEN 'refused' WHEN \"kind\" = 'none' THEN 'none' "
                "ELSE 'met' END")
_WORK_EXPRESSION = "concat(\"action\", ' ', \"rate\")"


def write_project(folder, *, title, boundary_wkb, crs_wkt):
    """Write project.qgz into a field call's folder: every layer it holds, by relative path.

    Plans lie above zones, these above surfaces; only the first plan is switched on at first,
    with the stand below it.

    Raises   InputProblem: the project cannot be written
    """
    folder = Path(folder)
    crs = QgsCoordinateReferenceSystem()
    crs.createFromUserInput(crs_wkt)
    project = QgsProject()
    project.setFileName(str(folder / "project.qgz"))
    project.setTitle(title)
    project.setCrs(crs)
    extent = boundary_layer(boundary_wkb, crs).extent().buffered(50)
    project.viewSettings().setDefaultViewExtent(QgsReferencedRectangle(extent, crs))
    for group_title, layers in (
            (tr("Stops"), _stops(folder)), (tr("Plans"), _polygons(folder, plans=True)),
            (tr("Zones"), _polygons(folder, plans=False)), (tr("Surfaces"), _surfaces(folder))):
        if layers:
            _add(project, group_title, layers)
    if not project.write():
        raise InputProblem(tr("The project could not be written: {reason}").format(
            reason=project.error()))
    project.clear()


def _add(project, title, layers):
    group = project.layerTreeRoot().addGroup(title)
    for number, layer in enumerate(layers):
        project.addMapLayer(layer, False)
        node = group.addLayer(layer)
        node.setExpanded(False)
        node.setItemVisibilityChecked(number == 0)


def _stops(folder):
    path, layers = folder / "observations.gpkg", []
    for name, words, mark in (("stand", tr("Stand at the stops"), _MARK_OF_STOP),
                              ("pan", tr("Pan at the stops"), _MARK_OF_PAN)):
        if name in layer_names(path):
            layer = _vector(path, name, words)
            paint_marks(layer, mark)
            layers.append(layer)
    return layers


def _polygons(folder, *, plans):
    path, layers = folder / "zones.gpkg", []
    for name in layer_names(path):
        if name.endswith("_plan") != plans:
            continue
        surface = name.removesuffix("_unsure")
        layer = _vector(path, name, _TITLES[name] if name in _TITLES else tr(
            "{surface}: here the map knows little").format(surface=_surface_title(surface)))
        if plans:
            _paint_plan(layer)
        elif name.endswith("_unsure"):
            paint(layer, unsure_symbol())
        else:
            _paint_zones(layer)
        layers.append(layer)
    return layers


def _paint_plan(layer):
    works = sorted({(str(row["action"]), float(row["rate"])) for row in layer.getFeatures()},
                   key=lambda work: (work[1], work[0]))
    symbols = plan_symbols(works)
    keys = {f"{action} {rate:.15g}": symbols[action, rate].clone() for action, rate in works}
    paint_plan(layer, keys, _WORK_EXPRESSION)
    label_zones(layer, "zone")


def _paint_zones(layer):
    titles = [str(row["title"]) for row in
              sorted(layer.getFeatures(), key=lambda row: row["mean"])]
    layer.setRenderer(QgsCategorizedSymbolRenderer("title", [
        QgsRendererCategory(title, QgsFillSymbol.createSimple(
            {"color": colour.name(), "outline_color": "#1c2830", "outline_width": "0.35"}), title)
        for title, colour in zip(titles, colours("viridis", len(titles)))]))


def _surfaces(folder):
    layers = []
    for path in sorted((folder / "surfaces").glob("*.tif")):
        raster = read_raster(path)
        if raster is None:
            continue
        options = QgsRasterLayer.LayerOptions()
        options.loadDefaultStyle = False
        layer = QgsRasterLayer(str(path), _surface_title(path.stem), "gdal", options)
        _paint_surface(layer, path.stem, raster)
        layers.append(layer)
    return layers


def _paint_surface(layer, name, raster):
    sequence = next(look for start, look in _LOOKS.items() if name.startswith(start))
    chance = name == "pan_chance"
    limits = CHANCE_LIMITS if chance else round_limits(raster.values)
    classes = surface_classes(limits, sequence=sequence, unit="%" if chance else "",
                              scale=100.0 if chance else 1.0)
    ramp = QgsColorRampShader()
    ramp.setColorRampType(QgsColorRampShader.Type.Discrete)
    ramp.setColorRampItemList([QgsColorRampShader.ColorRampItem(one.upper, one.colour, one.text)
                               for one in classes])
    shader = QgsRasterShader()
    shader.setRasterShaderFunction(ramp)
    renderer = QgsSingleBandPseudoColorRenderer(layer.dataProvider(), 1, shader)
    renderer.setClassificationMin(float(raster.values.min()))
    renderer.setClassificationMax(float(raster.values.max()))
    layer.setRenderer(renderer)


def _surface_title(name):
    return _TITLES.get(name) or capital(name.replace("_", " "))


def _vector(path, name, title):
    return QgsVectorLayer(f"{path}|layername={name}", title, "ogr")
