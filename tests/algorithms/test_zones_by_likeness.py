"""zonesbylikeness and the further roads of zonesbylimits, through Processing."""
import csv
import json

import numpy as np
import pytest
import shapely
from osgeo import gdal

from plugin.layers.strict_ogr import spatial_reference
from tests.algorithms.small_calls import FIELD_WKT, SOUTH, WEST
from tests.algorithms.small_surfaces import FIELD, grid_of, write_by_hand

AREA_M2 = FIELD.area


def noise(x, y):
    return np.sin(x * 12.9898 + y * 78.233)


@pytest.fixture
def stand(tmp_path):
    return write_by_hand(tmp_path / "stand.tif", unit="plants/m2", error=2.0, value=lambda x, y: (
        10.0 if x < WEST + 100 else 30.0) + noise(x, y))


@pytest.fixture
def pan(tmp_path):
    return write_by_hand(tmp_path / "pan.tif", unit="in", value=lambda x, y: (
        14.0 if x < WEST + 100 else 8.0) + noise(y, x), sites=False)


def plain(path, *, cell_m=20.0, epsg=32615, value=None, fill=-9999.0, tall=1.0, shift_m=0.0):
    """A raster that this program did not make, over the field; value(x, y) or columns counted."""
    grid = grid_of(cell_m, epsg)
    made = gdal.GetDriverByName("GTiff").Create(str(path), grid.columns, grid.rows, 1,
                                                gdal.GDT_Float32)
    made.SetGeoTransform((grid.west_m + shift_m, cell_m, 0, grid.north_m, 0, -cell_m * tall))
    made.SetProjection(spatial_reference(f"EPSG:{epsg}").ExportToWkt())
    value = value or (lambda x, y: x - WEST + noise(x, y))
    values = np.array([value(x, y) for x, y in grid.centres()]).reshape(grid.shape)
    made.GetRasterBand(1).SetNoDataValue(fill)
    made.GetRasterBand(1).WriteArray(values)
    made = None
    return path


def rows_of(path):
    data = gdal.OpenEx(str(path))
    return [(row.items(), shapely.from_wkb(bytes(row.GetGeometryRef().ExportToWkb())))
            for row in data.GetLayer(0)]


def bands(path):
    return gdal.Open(str(path)).ReadAsArray()


def test_two_halves_are_found_and_all_that_was_weighed_is_shown(run, provider, stand, pan, field,
                                                                out):
    outputs = {"ZONES": out / "z.gpkg", "INDICES": out / "i.csv", "ACCOUNT": out / "a.json",
               "MEMBERSHIPS": out / "m.tif", "CONFUSION": out / "c.tif"}
    found = run("zonesbylikeness", LAYERS=[str(stand), str(pan)], BOUNDARY=field, MOST=4, STARTS=3,
                **outputs)
    assert set(found) == {one.name() for one in
                          provider.algorithm("zonesbylikeness").outputDefinitions()}
    assert found["CHOSEN"] == 2 and found["LEFT_OUT"] == 0 and found["EXPLAINED"] > 0.9
    (low, west), (high, east) = rows_of(out / "z.gpkg")
    assert west.area == pytest.approx(97 * 200, rel=1e-9)  # as in test_surfaces
    assert shapely.union(west, east).symmetric_difference(FIELD).area < 1e-5
    assert bool(shapely.coverage_is_valid([west, east]))
    assert (low["title"], high["title"]) == ("class 1", "class 2")
    assert low["stand_mean"] == pytest.approx(10, abs=0.5)
    assert low["stand_error"] == pytest.approx(2)
    assert low["pan_mean"] == pytest.approx(14, abs=0.5)
    assert low["stand_readings"] + high["stand_readings"] == 24 and "pan_readings" not in low
    with open(out / "i.csv", encoding="utf-8") as file:
        told = list(csv.DictReader(file))
    assert [row["zones"] for row in told] == ["2", "3", "4"]
    assert [row["chosen"] for row in told] == ["1", "0", "0"]
    assert all(0 <= float(row["fuzziness_performance_index"]) <= 1 for row in told)
    account = json.loads((out / "a.json").read_text("utf-8"))
    assert account["chosen"] == 2 and account["reason"] == found["REASON"]
    assert account["settings"]["algorithm"] == "zonesbylikeness"
    shares = bands(out / "m.tif")
    assert np.nansum(shares, axis=0)[~np.isnan(shares[0])] == pytest.approx(1)
    first, second = np.sort(shares, axis=0)[::-1]
    assert np.allclose(bands(out / "c.tif"), 1 - (first - second), equal_nan=True)


@pytest.mark.parametrize("options,words", [
    ({"COUNT": 1}, "Zones: 1 was entered; enter 2 to 12"),
    ({"COUNT": 2, "SMALLEST_WIDTH": float("nan")}, "Smallest width: nan was entered; enter 0 or"),
    ({"COUNT": 2, "HEADING": float("nan")}, "Heading of the rows: nan was entered; enter 0 to 180"),
    ({"COUNT": 2, "LAYERS": []}, "Layers: no raster was given")])
def test_what_makes_no_zones_is_refused_in_words(refused, stand, out, options, words):
    refused(words, "zonesbylikeness", **{"LAYERS": [str(stand)], "ZONES": out / "z.gpkg",
                                         **options})
    assert list(out.iterdir()) == []


def test_more_zones_than_cells_are_refused(refused, tmp_path, out):
    few = plain(tmp_path / "few.tif", value=lambda x, y: x if y > SOUTH + 195 and x < WEST + 60
                else -9999.0)
    refused("a value in every layer: [0-9]. They cannot make 12 zones", "zonesbylikeness",
            LAYERS=[str(few)], COUNT=12, ZONES=out / "z.gpkg")


def test_the_number_can_be_entered_and_k_means_chosen(run, stand, pan, out):
    found = run("zonesbylikeness", LAYERS=[str(stand), str(pan)], COUNT=3, GATHERING=1, STARTS=2,
                ZONES=out / "z.gpkg", INDICES="")
    assert (found["CHOSEN"], found["REASON"]) == (3, "3 zones, as asked for.")
    assert len(rows_of(out / "z.gpkg")) == 3


def test_cells_without_a_value_are_counted_and_the_zones_still_fill_the_field(run, stand, field,
                                                                              tmp_path, out):
    holes = plain(tmp_path / "ph.tif", value=lambda x, y: (
        -9999.0 if x < WEST + 40 and y < SOUTH + 60 else x - WEST + noise(x, y)))
    found = run("zonesbylikeness", LAYERS=[str(stand), str(holes)], COUNT=2, BOUNDARY=field,
                ZONES=out / "z.gpkg", INDICES="")
    assert found["LEFT_OUT"] == 6
    assert any("6 cells of the field have no value" in words for words in run.warnings)
    assert sum(shape.area for _, shape in rows_of(out / "z.gpkg")) == pytest.approx(AREA_M2)


@pytest.mark.parametrize(("changed", "words"), [
    ({"cell_m": 10.0}, "other lies on another grid than stand: .*21 by 21 cells of 10 m.*Name the"),
    ({"shift_m": 3.0}, "other lies on another grid than stand"),
    ({"epsg": 32616}, "other is in EPSG:32616, stand in EPSG:32615. Warp one"),
    ({"epsg": 2236}, "other is in EPSG:2236, which does not count in metres"),
    ({"tall": 1.5}, "other has cells of 20 by 30 m"),
    ({"value": lambda x, y: -9999.0}, "other has no value in any cell"),
    ({"value": lambda x, y: 6.5}, "other has the value 6.5 in all cells used")])
def test_layers_that_do_not_go_together_are_refused(refused, stand, tmp_path, out, changed, words):
    other = plain(tmp_path / "other.tif", **changed)
    refused(words, "zonesbylikeness", LAYERS=[str(stand), str(other)], COUNT=2,
            ZONES=out / "z.gpkg", INDICES=out / "i.csv")
    assert list(out.iterdir()) == []


def test_layers_on_different_grids_are_brought_onto_the_one_named(run, stand, field, tmp_path, out):
    fine = plain(tmp_path / "fine.tif", cell_m=10.0, value=lambda x, y: x - WEST)
    run("zonesbylikeness", LAYERS=[str(fine), str(stand)], GRID=str(stand), COUNT=2,
        BOUNDARY=field, ZONES=out / "z.gpkg", INDICES="")
    low, high = (row for row, _ in rows_of(out / "z.gpkg"))
    assert low["fine_mean"] == pytest.approx(50, abs=3)  # between 0 and 100 m


@pytest.mark.parametrize(("changed", "words"), [
    ({"COUNT": 1}, "COUNT|Zones"), ({"SMOOTHING": 1.0, "GATHERING": 1}, "no weight in k-means"),
    ({"ZONES": "z.doc"}, "ends in .gpkg"), ({"HEADLAND": 500.0}, "leave nothing of the field"),
    ({"CONFUSION": "c.gif"}, "ends in .tif")])
def test_settings_that_cannot_be_are_refused(refused, stand, pan, out, changed, words):
    given = {"COUNT": 2, "ZONES": "z.gpkg", "INDICES": "", **changed}
    given |= {name: out / given[name] for name in ("ZONES", "CONFUSION") if name in given}
    refused(words, "zonesbylikeness", LAYERS=[str(stand), str(pan)], **given)
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:2236", "EPSG:32616"])
def test_a_boundary_in_another_crs_is_refused(refused, layer, stand, out, crs):
    refused(crs, "zonesbylikeness", LAYERS=[str(stand)], COUNT=2, ZONES=out / "z.gpkg",
            BOUNDARY=layer("Polygon", [(FIELD_WKT,)], crs), INDICES="")
    assert list(out.iterdir()) == []


def test_cancelled_nothing_is_left(run, cancelling, stand, pan, field, out):
    for percent in (-1, 20, 60, 90):
        feedback = cancelling(percent)
        feedback.setProgress(0)  # below 0 a bar is at rest
        assert run("zonesbylikeness", feedback, LAYERS=[str(stand), str(pan)], BOUNDARY=field,
                   ZONES=out / "z.gpkg", INDICES=out / "i.csv", CONFUSION=out / "c.tif") == {}
    assert list(out.iterdir()) == []


@pytest.mark.parametrize(("division", "classes"), [(1, 4), (2, 3)])
def test_limits_are_found_by_area_or_natural_breaks(run, tmp_path, field, out, division, classes):
    slope = write_by_hand(tmp_path / "slope.tif", unit="in",
                          value=lambda x, y: x + y - WEST - SOUTH)
    found = run("zonesbylimits", SURFACE=slope, DIVISION=division, CLASSES=classes, BOUNDARY=field,
                ZONES=out / "z.gpkg")
    made = rows_of(out / "z.gpkg")
    assert found["COUNT"] == len(made) == classes and found["EXPLAINED"] > 0.8
    if division == 1:  # a band of the slope is as much as a tenth of the field
        assert np.ptp([row["area_m2"] for row, _ in made]) < 0.15 * AREA_M2
    assert all(row["explained"] == pytest.approx(found["EXPLAINED"]) for row, _ in made)
    assert sum(row["readings"] for row, _ in made) == 24


def test_where_the_neighbouring_class_is_likely_the_zone_is_hatched(run, stand, field, out):
    # limit 20 lies 10 from the halves, give or take 1: with an error of 2 nobody doubts it
    sure = run("zonesbylimits", SURFACE=stand, LIMITS="20", BOUNDARY=field, ZONES=out / "z.gpkg",
               UNSURE=out / "u.gpkg")
    assert rows_of(sure["UNSURE"]) == []
    run("zonesbylimits", SURFACE=stand, LIMITS="12", BOUNDARY=field, NEIGHBOUR_CHANCE=0.01,
        ZONES=out / "z.gpkg", UNSURE=out / "u.gpkg")
    (words, hatched), = rows_of(out / "u.gpkg")
    assert words["about"].startswith("Hatched: the zone is not sure")
    assert hatched.area == pytest.approx(97 * 200, rel=1e-9)  # the western half, all of it


def test_zones_follow_the_shape_asked_for(run, stand, field, out):
    run("zonesbylimits", SURFACE=stand, LIMITS="20", BOUNDARY=field, HEADLAND=25.0, HEADING=0.0,
        MACHINE_WIDTH=40.0, SMALLEST_WIDTH=40.0, SMALLEST_LENGTH=60.0, SMALLEST_AREA=0.1,
        ORDERED=True, DEVIATION=15.0, ZONES=out / "z.gpkg")
    made = rows_of(out / "z.gpkg")
    assert {row["title"] for row, _ in made} == {"headland", "below 20 plants/m2",
                                                 "20 plants/m2 or more"}
    assert bool(shapely.coverage_is_valid([shape for _, shape in made]))
    assert sum(shape.area for _, shape in made) == pytest.approx(AREA_M2, rel=1e-6)


def test_a_field_of_parts_with_a_hole_is_filled(run, layer, stand, out):
    parts = (f"MultiPolygon ((({WEST + 5} {SOUTH + 5}, {WEST + 120} {SOUTH + 5}, {WEST + 120} "
             f"{SOUTH + 140}, {WEST + 5} {SOUTH + 140}, {WEST + 5} {SOUTH + 5}), ({WEST + 30} "
             f"{SOUTH + 30}, {WEST + 60} {SOUTH + 30}, {WEST + 60} {SOUTH + 70}, {WEST + 30} "
             f"{SOUTH + 30})), (({WEST + 150} {SOUTH + 10}, {WEST + 190} {SOUTH + 10}, {WEST + 190}"
             f" {SOUTH + 90}, {WEST + 150} {SOUTH + 10})))")
    run("zonesbylimits", SURFACE=stand, LIMITS="20", SMALLEST_WIDTH=45.0, DEVIATION=10.0,
        BOUNDARY=layer("MultiPolygon", [(parts,)]), ZONES=out / "z.gpkg")
    made = [shape for _, shape in rows_of(out / "z.gpkg")]
    # 115 x 135 less half of 30 x 40, and half of 40 x 80
    assert sum(shape.area for shape in made) == pytest.approx(115 * 135 - 600 + 1600, rel=1e-6)
    assert bool(shapely.coverage_is_valid(made)) and all(shape.is_valid for shape in made)


def test_a_boundary_that_touches_itself_is_refused(refused, layer, stand, out):
    corners = ((0, 0), (50, 50), (100, 0), (100, 100), (50, 50), (0, 100), (0, 0))
    bow = f"Polygon (({', '.join(f'{WEST + x} {SOUTH + y}' for x, y in corners)}))"
    refused("row 1: the boundary crosses or touches itself. Mend it with Fix", "zonesbylimits",
            SURFACE=stand, LIMITS="20", BOUNDARY=layer("Polygon", [(bow,)]), ZONES=out / "z.gpkg")
    assert list(out.iterdir()) == []


def test_loaded_zones_are_painted_by_title_and_the_unsure_hatched(provider, empty_project):
    from qgis.core import QgsFillSymbol, QgsVectorLayer

    from plugin.report.zone_style import paint_unsure, paint_zones
    made = QgsVectorLayer("Polygon?field=zone:integer&field=title:string", "z", "memory")
    from qgis.core import QgsFeature
    for zone, title in enumerate(("low", "mid", "headland", "high")):
        feature = QgsFeature(made.fields())
        feature.setAttributes([zone, title])
        made.dataProvider().addFeatures([feature])
    paint_zones(made)
    colours = {one.value(): one.symbol().color().name() for one in made.renderer().categories()}
    assert list(colours) == ["low", "mid", "headland", "high"]
    assert len(set(colours.values())) == 4 and colours["low"] == "#440154"  # viridis begins dark
    paint_unsure(made)
    assert isinstance(made.renderer().symbol(), QgsFillSymbol)
