"""The maps on the pages: painted, in their place, and told apart without colour."""
from collections import Counter

import numpy as np
import pytest

from tests.report.field_call_folder import boundary_wkb, crs_wkt, summary


@pytest.fixture(scope="module")
def composed(qgis_app, call_folder):
    """The composed sheet of the whole report."""
    from qgis.core import QgsProject

    from plugin.report.grower_pdf import compose
    from plugin.report.map_layers import FolderMaps
    project = QgsProject()
    maps = FolderMaps(project, folder=call_folder, boundary_wkb=boundary_wkb(),
                      crs_wkt=crs_wkt(), units="us")
    sheet = compose(project, summary(), maps)
    yield sheet
    maps.close()


def map_items(sheet):
    from qgis.core import QgsLayoutItemMap
    return {item.id(): item for item in sheet.layout.items() if isinstance(item, QgsLayoutItemMap)}


def pixels_of(sheet, item):
    """Return the colours inside a map's frame, (n, 3), at 50 dots per inch."""
    from qgis.core import QgsLayoutExporter
    from qgis.PyQt.QtGui import QImage
    image = QgsLayoutExporter(sheet.layout).renderRegionToImage(
        item.mapRectToScene(item.rect()), dpi=50).convertToFormat(QImage.Format.Format_RGB32)
    bits = image.constBits()
    bits.setsize(image.sizeInBytes())
    return np.frombuffer(bytes(bits), np.uint8).reshape(-1, 4)[:, 2::-1]


def test_every_surface_and_plan_has_its_map(composed):
    assert set(map_items(composed)) == {"stand", "pan_chance", "pan_top", "pan_bottom",
                                        "yield_2025", "replant_plan", "tillage_plan"}


@pytest.mark.parametrize("name", ["stand", "pan_chance", "pan_top", "pan_bottom", "yield_2025",
                                  "replant_plan", "tillage_plan"])
def test_no_map_is_blank(composed, name):
    colours = Counter(map(tuple, pixels_of(composed, map_items(composed)[name])))
    whole = sum(colours.values())
    # the field takes well over a third of its frame, less what marks and hatches cover
    assert colours[255, 255, 255] < 0.6 * whole
    assert len([colour for colour, count in colours.items() if count > 0.01 * whole]) >= 3


def test_the_stand_is_painted_in_viridis(composed):
    # Four classes, and no cell below 22,400: the eight steps of viridis at 5 1/3 and at 8. The
    # first one's red is 0x28 + 1/3 (0x5e - 0x28) = 58.
    seen = set(map(tuple, pixels_of(composed, map_items(composed)["stand"])))
    assert {(58, 183, 118), (0xFD, 0xE7, 0x25)} <= seen


@pytest.mark.parametrize(("name", "surfaces"), [
    ("replant_plan", ("stand",)), ("tillage_plan", ("pan_chance", "pan_bottom"))])
def test_a_plan_is_hatched_where_what_it_rests_on_knows_little(qgis_app, call_folder, name,
                                                               surfaces):
    from qgis.core import QgsProject

    from plugin.report.map_layers import FolderMaps
    maps = FolderMaps(QgsProject(), folder=call_folder, boundary_wkb=boundary_wkb(),
                      crs_wkt=crs_wkt(), units="us")
    plan = summary()[name.removesuffix("_plan")]
    hatched = maps.plan(name, plan, caption="", decided_by=surfaces)
    bare = maps.plan(name, plan, caption="", decided_by=("pan_top",))  # which has no such place
    assert hatched.entries[-1].text == "here the map knows little"
    assert len(hatched.entries) == len(bare.entries) + 1
    assert len(hatched.layers) == len(bare.layers) + 1
    # 30 % of 800 m by 25 % of 600 m
    (shape,) = [feature.geometry() for feature in hatched.layers[-2].getFeatures()]
    assert shape.area() == pytest.approx(240 * 150, rel=1e-9)  # rounding only
    maps.close()


def test_nothing_is_painted_outside_the_boundary(composed):
    # The corner that is cut off the field lies at the top right of the raster.
    item = map_items(composed)["stand"]
    whole = pixels_of(composed, item)
    columns = round(item.rect().width() / 25.4 * 50)
    rows = len(whole) // columns
    corner = whole[:rows * columns].reshape(rows, columns, 3)[
        round(rows * .08):round(rows * .15), round(columns * .88):round(columns * .94)]
    assert corner.size > 0
    assert (corner == 255).all()


def test_the_whole_field_lies_in_every_frame(composed):
    for item in map_items(composed).values():
        extent = item.extent()
        assert extent.isFinite()
        assert extent.xMinimum() < 500_000 and extent.xMaximum() > 500_800
        assert extent.yMinimum() < 4_500_000 and extent.yMaximum() > 4_500_600
        # a frame as wide as 800 m of field has at most half of it empty
        assert extent.width() < 1700


def test_no_text_leaves_its_page_and_none_overlaps_another_or_a_map(composed):
    from qgis.core import QgsLayoutItemScaleBar
    from qgis.PyQt.QtCore import QRectF
    pages = composed.layout.pageCollection()
    boxes = {number: [(text, QRectF(x, y, width, style.line_mm))
                      for text, style, x, y, width in ink.lines]
             for number, ink in enumerate(composed.inks)}
    for item in (*map_items(composed).values(), *(
            one for one in composed.layout.items() if isinstance(one, QgsLayoutItemScaleBar))):
        page = pages.page(item.page())
        boxes[item.page()].append((item.id(), page.mapRectFromScene(
            item.mapRectToScene(item.rect()))))
    assert len(boxes) == pages.pageCount()
    for placed in boxes.values():
        for number, (one, box) in enumerate(placed):
            assert QRectF(15.9, 15.9, 210 - 31.8, 297 - 31.8).contains(box), one  # the margins
            for other, beside in placed[number + 1:]:
                shared = box.intersected(beside)
                # a scale bar keeps a little air of its own; 0.05 mm cannot be seen
                assert shared.width() < 0.05 or shared.height() < 0.05, (one, other)


def test_the_scale_bar_is_in_feet_and_as_long_as_it_says(composed):
    from qgis.core import QgsLayoutItemScaleBar, QgsUnitTypes
    bars = [item for item in composed.layout.items() if isinstance(item, QgsLayoutItemScaleBar)]
    assert len(bars) == 7
    for bar in bars:
        assert bar.units() == QgsUnitTypes.DistanceUnit.DistanceFeet
        item = bar.linkedMap()
        mm = bar.unitsPerSegment() * bar.numberOfSegments() * 0.3048 / (
            item.extent().width() / item.rect().width())
        assert 8 < mm <= 26.1
        # the bar, its text of some mm, and nothing more
        assert mm <= bar.rect().width() < mm + 16


def test_a_record_in_metric_units_has_a_scale_bar_in_metres(qgis_app, call_folder):
    from qgis.core import QgsLayoutItemScaleBar, QgsProject, QgsUnitTypes

    from plugin.report.grower_pdf import compose
    from plugin.report.map_layers import FolderMaps
    project = QgsProject()
    maps = FolderMaps(project, folder=call_folder, boundary_wkb=boundary_wkb(),
                      crs_wkt=crs_wkt(), units="metric")
    sheet = compose(project, {**summary(), "units": "metric"}, maps)
    found = {bar.units() for bar in sheet.layout.items() if isinstance(bar, QgsLayoutItemScaleBar)}
    maps.close()
    assert found == {QgsUnitTypes.DistanceUnit.DistanceMeters}


@pytest.mark.parametrize(("kind", "refusal", "bottom", "mark"), [
    ("pan", "no", True, "met"), ("open", "layer", False, "met"), ("surface", "", True, "met"),
    ("felt", "", False, "met"), ("none", "no", False, "none"), ("stone", "stone", False, "refused"),
    ("none", "layer", False, "refused"), ("", "", True, "met"), ("", "", False, "none"),
    ("", "stone", False, "refused")])
def test_each_finding_has_its_mark(qgis_app, kind, refusal, bottom, mark):
    from plugin.report.point_style import pan_mark
    assert pan_mark(kind, refusal, bottom) == mark


def test_the_three_marks_differ_in_shape_or_filling(qgis_app):
    from plugin.report.point_style import mark_symbol
    symbols = [mark_symbol(mark) for mark in ("met", "none", "refused")]  # they own their layers
    drawn = [symbol.symbolLayer(0) for symbol in symbols]
    assert len({(one.shape(), one.fillColor().name()) for one in drawn}) == 3


def test_works_of_a_plan_differ_in_grey(qgis_app):
    from plugin.report.polygon_style import plan_symbols
    works = [("keep", 0.0), ("cannot reach", 0.0), *(("till", depth) for depth in
                                                     (10.0, 12.0, 14.0, 16.0))]
    symbols = plan_symbols(works)
    hatches, greys = set(), []
    for work in works:
        ground, *hatch = symbols[work].symbolLayers()
        hatches.add(tuple((one.layerType(), one.lineAngle(), one.distance())
                          if hasattr(one, "lineAngle") else (one.layerType(),) for one in hatch))
        if work[0] == "till":
            greys.append(ground.fillColor().lightness())
    assert len(hatches) == len(works)
    assert greys == sorted(greys, reverse=True)
    assert min(np.diff(sorted(greys))) >= 10  # of 255: steps that a printer still shows
