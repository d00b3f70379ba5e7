"""The project a field call leaves: its surfaces, zones, plans and stops, styled and in order."""
from pathlib import Path

from osgeo import gdal
from qgis.core import (
    QgsCategorizedSymbolRenderer,
    QgsColorRampShader,
    QgsCoordinateReferenceSystem,
    QgsEditorWidgetSetup,
    QgsFillSymbol,
    QgsProject,
    QgsRasterShader,
    QgsReferencedRectangle,
    QgsRendererCategory,
    QgsSingleBandPseudoColorRenderer,
    QgsVectorLayer,
)

from ..core.deliver.figures import figure
from ..core.problems import InputProblem
from .layers_of_folder import (
    DECIDED_BY,
    FIELD_LAYER,
    boundary_layer,
    class_layer,
    layer_names,
    read_raster,
)
from .point_style import paint_marks
from .polygon_style import (
    boundary_symbol,
    label_zones,
    paint,
    paint_outside,
    paint_plan,
    plan_symbols,
    unsure_symbol,
)
from .surface_style import classes_of_surface, colours
from .words import capital, tr

_TITLES = {"stand": tr("Stand"), "pan_top": tr("Top of the pan"),
           "pan_bottom": tr("Bottom of the pan"), "pan_chance": tr("Chance of a pan within reach"),
           "stand_zones": tr("Stand zones"), "replant_plan": tr("Replant plan"),
           "tillage_plan": tr("Tillage plan"), "sidedress_plan": tr("Sidedress plan"),
           "lime_plan": tr("Lime plan"), "nitrate": tr("Nitrate nitrogen (ppm)"),
           "ph": tr("pH"), "buffer_ph": tr("Buffer pH")}
# columns whose names are not their words
_COLUMNS = {
    "rate_unit": tr("Unit of rate"), "rate_of": tr("Rate is of"), "area_unit": tr("Unit of area"),
    "gain_area": tr("Gain per area"), "gain_low": tr("Gain, low end"),
    "gain_high": tr("Gain, high end"), "area_m2": tr("Area (m²)"),
    "chance": tr("Chance (0 to 1)"), "deviation": tr("Standard deviation"),
    "top_censor": tr("Top known as"), "bottom_censor": tr("Bottom known as"),
    "peak_unit": tr("Unit of peak"), "error": tr("Standard error"),
    "explained": tr("Share of variance explained")}
_LARGE = 1e12  # an end that a spin box must have and no figure reaches
REAL_COLUMN = "Real"  # what a GeoPackage calls a column of fractions
FIELD = tr("Field")  # the group of the field's outline and cover
_UNSURE = "_unsure"  # how the layers of a surface's hatch end
_MARK_OF_STOP = "'stop'"
_MARK_OF_PAN = ("CASE WHEN \"kind\" = 'stone' THEN 'refused' WHEN \"kind\" = 'none' THEN 'none' "
                "ELSE 'met' END")
# a rate as a whole number of thousandths: QGIS and Python write fractions differently
_WORK_EXPRESSION = "concat(\"action\", ' ', round(1000 * \"rate\"))"
_SURFACE_ORDER = ("stand", "pan_chance", "pan_top", "pan_bottom")  # any other, by name, follow


def write_project(folder, *, title, boundary_wkb, crs_wkt, tick=None):
    """Write project.qgz into a field call's folder: every layer it holds, by relative path.

    Stops lie on top, then the field: its outline, and paper over all that lies outside it, since
    the cells of a surface reach over the field's edge. Below it the hatch of places where the maps
    know little lies above the plans, these above zones, these above surfaces; of each of these only
    the first layer is switched on, the stand's where there is one, and the hatch that belongs to
    the plan that is on.

    `tick` is called with the fraction done after each group; it may raise Stopped.

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
    groups = ((tr("Stops"), lambda: _first_on(_stops(folder))),
              (FIELD, lambda: [(layer, True) for layer in _field(folder)]),
              (tr("Where the maps know little"), lambda: _unsure(folder)),
              (tr("Plans"), lambda: _first_on(_plans(folder))),
              (tr("Zones"), lambda: _first_on(_zones(folder))),
              (tr("Surfaces"), lambda: _first_on(_surfaces(folder))))
    try:
        for done, (group_title, layers_of) in enumerate(groups, start=1):
            layers = layers_of()
            if layers:
                _add(project, group_title, layers)
            if tick is not None:
                tick(done / len(groups))
        if not project.write():
            raise InputProblem(tr("The project could not be written: {reason}").format(
                reason=project.error()))
    finally:
        project.clear()


def _add(project, title, layers):
    """Add a group of (layer, whether it is switched on)."""
    group = project.layerTreeRoot().addGroup(title)
    for layer, is_on in layers:
        project.addMapLayer(layer, False)
        node = group.addLayer(layer)
        node.setExpanded(False)
        node.setItemVisibilityChecked(is_on)


def _first_on(layers):
    return [(layer, number == 0) for number, layer in enumerate(layers)]


def _stops(folder):
    path, layers = folder / "observations.gpkg", []
    for name, words, mark in (("stand", tr("Stand at the stops"), _MARK_OF_STOP),
                              ("pan", tr("Pan at the stops"), _MARK_OF_PAN)):
        if name in layer_names(path):
            layer = _vector(path, name, words)
            paint_marks(layer, mark)
            layers.append(layer)
    return layers


def _field(folder):
    path = folder / "zones.gpkg"
    if FIELD_LAYER not in layer_names(path):
        return []
    outline = _vector(path, FIELD_LAYER, tr("Outline of the field"))
    paint(outline, boundary_symbol())
    cover = _vector(path, FIELD_LAYER, tr("Paper outside the field"))
    paint_outside(cover)
    return [outline, cover]


def _plans(folder):
    path, layers = folder / "zones.gpkg", []
    for name in layer_names(path):
        if name.endswith("_plan"):
            layers.append(_vector(path, name, _surface_title(name)))
            _paint_plan(layers[-1])
    return layers


def _zones(folder):
    path, layers = folder / "zones.gpkg", []
    for name in layer_names(path):
        if name != FIELD_LAYER and not name.endswith(("_plan", _UNSURE)):
            layers.append(_vector(path, name, _surface_title(name)))
            _paint_zones(layers[-1])
    return layers


def _unsure(folder):
    path, layers = folder / "zones.gpkg", []
    plan = next((name for name in layer_names(path) if name.endswith("_plan")), None)
    shown = DECIDED_BY.get(plan, ("stand",))
    surfaces = [name.removesuffix(_UNSURE) for name in layer_names(path) if name.endswith(_UNSURE)]
    for surface in sorted(surfaces, key=_place):
        hatch = _vector(path, surface + _UNSURE, tr(
            "{surface}: here the map knows little").format(surface=_surface_title(surface)))
        paint(hatch, unsure_symbol())
        layers.append((hatch, surface in shown))
    return layers


def _decimals(layer):
    """Show fractions with two decimals in tables and forms; what is stored stays as it is."""
    for place, field in enumerate(layer.fields()):
        if field.typeName() == REAL_COLUMN:
            layer.setEditorWidgetSetup(place, QgsEditorWidgetSetup("Range", {
                "AllowNull": True, "Min": -_LARGE, "Max": _LARGE, "Precision": 2, "Step": 1.0,
                "Style": "SpinBox"}))


def _columns_in_words(layer):
    for place, field in enumerate(layer.fields()):
        name = field.name()
        layer.setFieldAlias(place, _COLUMNS.get(name) or capital(name.replace("_", " ")))


def _paint_plan(layer):
    works = {(str(row["action"]), float(row["rate"])): str(row["rate_unit"])
             for row in layer.getFeatures()}
    ordered = sorted(works, key=lambda work: (work[1], work[0]))
    symbols = plan_symbols(ordered)
    keys = {f"{action} {round(1000 * rate)}": symbols[action, rate].clone()
            for action, rate in ordered}
    texts = {work: figure(work[1], works[work])["text"] for work in ordered}
    paint_plan(layer, keys, _WORK_EXPRESSION, [
        capital(action) + (f": {texts[action, rate]}" if rate else "") for action, rate in ordered])
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
    for path in sorted((folder / "surfaces").glob("*.tif"),
                       key=lambda path: _place(path.stem)):
        raster = read_raster(path)
        if raster is None:
            continue
        layers.append(_surface(path, raster))
    return layers


def _place(name):
    known = name in _SURFACE_ORDER
    return (_SURFACE_ORDER.index(name) if known else len(_SURFACE_ORDER)), name


def _surface(path, raster):
    """Return the painted layer of a surface, opened in the place of one in memory.

    A raster layer that QGIS opens by itself gets a histogram for its first colours; GDAL keeps
    that in a file beside the raster and reports an error where all values are alike. A layer that
    is painted already keeps its colours, and none is made.
    """
    classes = classes_of_surface(path.stem, raster.values)
    layer, in_memory = class_layer(raster, [one.upper for one in classes],
                                   [one.colour for one in classes], path.stem)
    layer.setDataSource(str(path), _surface_title(path.stem), "gdal", False)
    gdal.Unlink(in_memory)
    _paint_surface(layer, raster, classes)
    return layer


def _paint_surface(layer, raster, classes):
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
    layer = QgsVectorLayer(f"{path}|layername={name}", title, "ogr")
    _columns_in_words(layer)
    _decimals(layer)
    return layer
