"""The project of a field call, opened again as the desktop opens it."""
import shutil

import numpy as np
import pytest
from osgeo import gdal, ogr

from plugin.core.problems import Stopped
from tests.report.field_call_folder import (
    boundary_wkb,
    crs_wkt,
    rectangle,
    write_layer,
    write_raster,
)


@pytest.fixture
def folder(call_folder, tmp_path):
    """A copy of the made-up field call's folder, to write to."""
    return shutil.copytree(call_folder, tmp_path / "call")


@pytest.fixture
def opened(qgis_app, folder):
    """Return opened(): write the project, read it again, return the QgsProject."""
    from qgis.core import QgsProject

    from plugin.report.result_project import write_project
    made = []

    def write_and_read():
        write_project(folder, title="Home quarter", boundary_wkb=boundary_wkb(), crs_wkt=crs_wkt())
        made.append(QgsProject())
        assert made[-1].read(str(folder / "project.qgz"))
        return made[-1]
    yield write_and_read
    for project in made:
        project.clear()


def layer_of(project, table):
    return next(layer for layer in project.mapLayers().values()
                if layer.source().endswith(f"layername={table}"))


def test_stops_lie_on_top_then_the_field_the_hatch_plans_and_surfaces(opened):
    project = opened()
    groups = project.layerTreeRoot().children()
    assert [group.name() for group in groups] == [
        "Stops", "Field", "Where the maps know little", "Plans", "Surfaces"]
    assert all(layer.isValid() for layer in project.mapLayers().values())
    field = groups[1].children()
    assert [node.itemVisibilityChecked() for node in field] == [True, True]
    assert [node.name() for node in field] == ["Outline of the field", "Paper outside the field"]
    assert groups[4].children()[0].name() == "Stand"
    for group in (groups[2], groups[3], groups[4]):
        assert [node.itemVisibilityChecked() for node in group.children()] == [
            number == 0 for number in range(len(group.children()))]


def test_each_group_is_told_of_and_a_stop_leaves_no_project(qgis_app, folder):
    from plugin.report.result_project import write_project
    given = {"title": "Home quarter", "boundary_wkb": boundary_wkb(), "crs_wkt": crs_wkt()}
    told = []
    write_project(folder, **given, tick=told.append)
    assert len(told) == 6 and told == sorted(told) and told[-1] == 1.0
    (folder / "project.qgz").unlink()
    before = set(folder.rglob("*"))

    def stop(fraction):
        if fraction > 0.4:
            raise Stopped
    with pytest.raises(Stopped):
        write_project(folder, **given, tick=stop)
    assert set(folder.rglob("*")) == before


def test_the_field_is_no_zone(opened):
    groups = {group.name(): [node.layer().source().split("layername=")[1]
                             for node in group.children()]
              for group in opened().layerTreeRoot().children() if group.name() in (
                  "Where the maps know little", "Plans", "Zones")}
    assert groups == {"Where the maps know little": ["stand_unsure", "pan_bottom_unsure"],
                      "Plans": ["replant_plan", "tillage_plan"]}


def test_only_the_hatch_of_the_plan_that_is_shown_is_on(opened, folder):
    gpkg = ogr.Open(str(folder / "zones.gpkg"), 1)
    gpkg.DeleteLayer("replant_plan")
    gpkg = None
    group = next(group for group in opened().layerTreeRoot().children()
                 if group.name() == "Where the maps know little")
    assert [node.itemVisibilityChecked() for node in group.children()] == [False, True]


def test_columns_of_a_plan_have_words_and_fractions_two_decimals(opened):
    from qgis.core import QgsApplication
    layer = layer_of(opened(), "replant_plan")
    fields = layer.fields()
    assert [layer.attributeDisplayName(fields.indexOf(name)) for name in (
        "zone", "rate", "rate_unit")] == ["Zone", "Rate", "Unit of rate"]
    place = fields.indexOf("rate")
    setup = fields.at(place).editorWidgetSetup()
    shown = QgsApplication.fieldFormatterRegistry().fieldFormatter(
        setup.type()).representValue(layer, place, setup.config(), None, 32.123456)
    assert shown == "32.12"


def test_a_folder_of_an_earlier_version_without_the_field_opens_too(opened, folder):
    gpkg = ogr.Open(str(folder / "zones.gpkg"), 1)
    gpkg.DeleteLayer("field")
    gpkg = None
    names = [group.name() for group in opened().layerTreeRoot().children()]
    assert names == ["Stops", "Where the maps know little", "Plans", "Surfaces"]


def test_paper_covers_the_cells_that_reach_over_the_edge_of_the_field(opened):
    from qgis.core import QgsMapRendererParallelJob, QgsMapSettings, QgsRectangle
    from qgis.PyQt.QtCore import QSize
    from qgis.PyQt.QtGui import QColor
    project = opened()
    (group,) = [one for one in project.layerTreeRoot().children() if one.name() == "Field"]
    cover = group.children()[1].layer()
    stand = next(layer for layer in project.mapLayers().values() if layer.name() == "Stand")

    def corner(layers):
        # the corner that is cut off the field, which the raster fills
        settings = QgsMapSettings()
        settings.setLayers(layers)
        settings.setDestinationCrs(project.crs())
        settings.setExtent(QgsRectangle(500_740, 4_500_540, 500_795, 4_500_595))
        settings.setOutputSize(QSize(20, 20))
        settings.setBackgroundColor(QColor("#ff00ff"))
        job = QgsMapRendererParallelJob(settings)
        job.start()
        job.waitForFinished()
        image = job.renderedImage()
        return {image.pixelColor(x, y).name() for x in range(20) for y in range(20)}
    assert corner([cover, stand]) == {"#ffffff"}
    assert "#ffffff" not in corner([stand]) and "#ff00ff" not in corner([stand])


def test_every_zone_of_a_plan_has_a_symbol_whatever_its_rate(opened, folder):
    from qgis.core import QgsRenderContext
    # 32,000 / 0.95: a rate whose digits never end
    gpkg = ogr.Open(str(folder / "zones.gpkg"), 1)
    gpkg.DeleteLayer("replant_plan")
    gpkg = None
    write_layer(folder / "zones.gpkg", "replant_plan", ogr.wkbMultiPolygon, [
        ("zone", ogr.OFTInteger), ("action", ogr.OFTString), ("rate", ogr.OFTReal),
        ("rate_unit", ogr.OFTString)], [
            (rectangle(0, 0, 1, .3), (1, "keep", 0.0, "seeds/ac")),
            (rectangle(0, .3, 1, 1), (2, "replant", 32_000 / 0.95, "seeds/ac"))])
    project = opened()
    for table in ("replant_plan", "tillage_plan"):
        layer = layer_of(project, table)
        renderer, context = layer.renderer(), QgsRenderContext()
        renderer.startRender(context, layer.fields())
        for feature in layer.getFeatures():
            context.expressionContext().setFeature(feature)
            assert renderer.symbolForFeature(feature, context) is not None, feature["zone"]
        renderer.stopRender(context)
    assert [one.label() for one in layer_of(project, "replant_plan").renderer().categories()] == [
        "Keep", "Replant: 33,700 seeds/ac"]


def test_a_surface_that_is_the_same_everywhere_makes_gdal_say_nothing_and_leave_no_file(
        opened, folder):
    flat = np.full((60, 80), 0.62)
    write_raster(folder / "surfaces" / "pan_chance.tif", flat, flat)
    before = {path.name for path in (folder / "surfaces").iterdir()}
    said = []
    gdal.PushErrorHandler(lambda _kind, number, words: said.append((number, words)))
    try:
        project = opened()
    finally:
        gdal.PopErrorHandler()
    assert said == []
    assert {path.name for path in (folder / "surfaces").iterdir()} == before
    layer = next(one for one in project.mapLayers().values() if "Chance" in one.name())
    assert layer.source() == str(folder / "surfaces" / "pan_chance.tif")
    value, known = layer.dataProvider().sample(layer.extent().center(), 1)
    assert known and value == pytest.approx(0.62, abs=1e-12)  # the file's, no class number


def test_report_and_project_paint_a_surface_alike(opened, folder, qgis_app):
    from plugin.report.layers_of_folder import read_raster
    from plugin.report.surface_style import classes_of_surface
    project = opened()
    for layer in project.mapLayers().values():
        if layer.source().endswith(".tif"):
            name = layer.source().rsplit("/", 1)[1].removesuffix(".tif")
            values = read_raster(folder / "surfaces" / f"{name}.tif").values
            items = layer.renderer().shader().rasterShaderFunction().colorRampItemList()
            assert [item.color.name() for item in items] == [
                one.colour.name() for one in classes_of_surface(name, values)]


@pytest.mark.parametrize(("name", "sequence"), [
    ("stand", "viridis"), ("pan_chance", "Blues"), ("pan_top", "YlOrBr"),
    ("pan_bottom", "YlOrBr"), ("yield_2025", "cividis"), ("moisture", "viridis")])
def test_each_kind_of_surface_has_its_colours(name, sequence):
    from plugin.report.surface_style import sequence_of
    assert sequence_of(name) == sequence
