"""surface, chancemap and zonesbylimits, through Processing."""
import json
import math
from statistics import NormalDist

import numpy as np
import pytest
import shapely
from osgeo import gdal
from qgis.core import QgsCoordinateTransformContext, QgsVectorFileWriter

from tests.algorithms.small_calls import AREA_M2, FIELD_WKT, SOUTH, WEST, stops
from tests.algorithms.small_surfaces import FIELD, grid_of, write_by_hand

FIELDS = "&field=value:double&field=error:double&field=limit:string&field=words:string"
VALUES = [10 + 3 * math.sin(number) + number % 5 for number in range(24)]


@pytest.fixture
def readings(layer):
    """Return readings(crs): the stops with VALUES, in a CRS, or in UTM where none is named."""
    def made(crs="EPSG:32615", values=None, errors=None):
        values = VALUES if values is None else values
        errors = [None] * len(values) if errors is None else errors
        return layer("Point", [(f"Point ({x} {y})", value, error, None, None)
                               for (x, y), value, error in zip(stops(), values, errors)],
                     crs, FIELDS)
    return made


def bands(path):
    raster = gdal.Open(str(path))
    return raster.ReadAsArray()


def test_the_mean_of_the_readings_with_the_error_of_one_more(run, provider, readings, field, out):
    found = run("surface", INPUT=readings(), FIELD="value", BOUNDARY=field, CELL=20, METHOD=1,
                TITLE="Stand", UNIT="plants/m2", SURFACE=out / "s.tif", DIAGNOSTICS=out / "s.json",
                UNSURE=out / "u.gpkg")
    declared = {one.name() for one in provider.algorithm("surface").outputDefinitions()}
    assert set(found) == declared - {"FIGURES"}  # drawn only where matplotlib is
    assert (found["USED"], found["LEFT_OUT"]) == (24, 0)
    estimate, error = bands(out / "s.tif")
    inside = np.isfinite(estimate)
    assert estimate[inside] == pytest.approx(np.mean(VALUES), rel=1e-9)  # rounding
    # s sqrt(1 + 1/n) is the textbook error of a further reading; with s itself not known, uniform
    # beforehand, the variance to expect is (n - 1) / (n - 4) of it. Averaged on a grid: 1 %.
    expected = np.std(VALUES, ddof=1) * math.sqrt(25 / 24 * 23 / 20)
    assert error[inside] == pytest.approx(expected, rel=1e-2)
    account = json.loads((out / "s.json").read_text())
    assert (account["name"], account["unit"], account["observations"]) == ("Stand", "plants/m2", 24)
    assert account["mean"] == pytest.approx(np.mean(VALUES)) and account["mean_error"] > 0
    assert found["VERDICT"] == account["verdict"]
    # The mean says nothing of places: all of the field is hatched.
    (row, hatched), = zones_in(out / "u.gpkg")
    assert hatched.area == pytest.approx(AREA_M2, rel=1e-9) and "Hatched" in row["about"]
    raster = gdal.Open(str(out / "s.tif"))
    grid = grid_of()
    assert raster.GetGeoTransform() == (grid.west_m, 20, 0, grid.north_m, 0, -20)
    assert raster.GetSpatialRef().GetAuthorityCode(None) == "32615"


def test_a_model_that_is_given_makes_the_surface_of_the_kriging_equations(
        run, readings, field, out):
    model = {"family": "exponential", "nugget": 0, "partial_sill": 9, "range_m": 60}
    found = run("surface", INPUT=readings(), FIELD="value", BOUNDARY=field, CELL=20,
                MODEL=json.dumps(model), SURFACE=out / "s.tif")
    estimate, error = bands(out / "s.tif")
    places, centres = np.array(stops()), grid_of().centres()
    # The ordinary kriging system written out, covariance 9 exp(-h / 60 m).
    apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    matrix = np.block([[9 * np.exp(-apart / 60), np.ones((24, 1))],
                       [np.ones((1, 24)), np.zeros((1, 1))]])
    near = np.hypot(*(places[:, None] - centres[None]).transpose(2, 0, 1))
    right = np.vstack([9 * np.exp(-near / 60), np.ones((1, len(centres)))])
    weights = np.linalg.solve(matrix, right)
    inside = np.isfinite(estimate).ravel()
    assert estimate.ravel()[inside] == pytest.approx((weights[:24].T @ VALUES)[inside], rel=1e-8)
    variance = 9 - (weights * right).sum(axis=0)
    assert error.ravel()[inside] ** 2 == pytest.approx(variance[inside], abs=1e-7)
    assert found["VERDICT"] == "The model was given, not fitted."


def test_readings_errors_are_filtered_out_and_those_without_are_left_out(run, readings, field, out):
    errors = [1.0] * 24
    errors[3], errors[7] = None, -1.0
    found = run("surface", INPUT=readings(errors=errors), FIELD="value", ERROR_FIELD="error",
                BOUNDARY=field, CELL=20, METHOD=1, SURFACE=out / "s.tif")
    assert (found["USED"], found["LEFT_OUT"]) == (22, 2)
    assert run.warnings == ["readings: no point, no value or no error in 2 rows (4, 8); left out."]
    kept = [value for number, value in enumerate(VALUES) if number not in (3, 7)]
    assert np.nanmax(bands(out / "s.tif")[0]) == pytest.approx(np.mean(kept), rel=1e-9)


def test_the_chance_of_a_yes_stays_between_0_and_1(run, readings, field, out):
    values = [float(y > SOUTH + 90) for _, y in stops()]
    run("surface", INPUT=readings(values=values), FIELD="value", BOUNDARY=field, CELL=20, METHOD=2,
        SURFACE=out / "c.tif")
    estimate = bands(out / "c.tif")[0]
    assert np.nanmin(estimate) >= 0 and np.nanmax(estimate) <= 1
    assert np.nanmean(estimate[:3]) > 0.9 and np.nanmean(estimate[-3:]) < 0.1  # north, south


BAD_MODELS = {
    "words": ("kriging", "is neither the word automatic nor JSON"),
    "no family": ('{"nugget": 1}', "must name family and nugget, and may name"),
    "a key too many": ('{"family": "nugget", "nugget": 1, "sill": 2}', "must name family and"),
    "a list": ("[1]", "must name family and nugget"),
    "no number": ('{"family": "exponential", "nugget": "a", "partial_sill": 1, "range_m": 9}',
                  "no number|nugget"),
    "unknown": ('{"family": "cubic", "nugget": 1, "partial_sill": 1, "range_m": 9}', "cubic"),
    "negative": ('{"family": "exponential", "nugget": -1, "partial_sill": 1, "range_m": 9}', "-1"),
    "no range": ('{"family": "exponential", "nugget": 1, "partial_sill": 1, "range_m": 0}',
                 "range")}


@pytest.mark.parametrize("model,words", BAD_MODELS.values(), ids=BAD_MODELS)
def test_a_model_that_is_none_is_refused(refused, readings, field, out, model, words):
    refused(words, "surface", INPUT=readings(), FIELD="value", BOUNDARY=field, MODEL=model,
            SURFACE=out / "s.tif")
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:2236"])  # degrees; US survey feet
def test_layers_not_in_metres_are_refused(refused, layer, readings, field, out, crs):
    for given in ({"INPUT": readings(crs), "BOUNDARY": field},
                  {"INPUT": readings(), "BOUNDARY": layer("Polygon", [(FIELD_WKT,)], crs)}):
        refused(f"readings is in {crs}, which does not count in metres. Reproject", "surface",
                FIELD="value", SURFACE=out / "s.tif", **given)
    assert list(out.iterdir()) == []


def test_layers_in_two_crs_are_refused(refused, layer, readings, out):
    refused("readings is in EPSG:32615, readings in EPSG:32616. Reproject one", "surface",
            INPUT=readings(), FIELD="value", SURFACE=out / "s.tif",
            BOUNDARY=layer("Polygon", [(FIELD_WKT,)], "EPSG:32616"))
    refused("readings is in no CRS, which does not count", "surface", INPUT=readings(""),
            FIELD="value", SURFACE=out / "s.tif", BOUNDARY=layer("Polygon", [(FIELD_WKT,)], ""))
    assert list(out.iterdir()) == []


def test_the_column_that_numbers_the_rows_is_refused(refused, run, readings, field, out, tmp_path):
    path = str(tmp_path / "readings.gpkg")
    options = QgsVectorFileWriter.SaveVectorOptions()
    QgsVectorFileWriter.writeAsVectorFormatV3(readings(), path, QgsCoordinateTransformContext(),
                                              options)
    refused("readings, fid: this column numbers the rows. Choose the column", "surface",
            INPUT=path, FIELD="fid", BOUNDARY=field, SURFACE=out / "s.tif")
    assert list(out.iterdir()) == []
    run("surface", INPUT=path, FIELD="value", BOUNDARY=field, SURFACE=out / "s.tif")


def test_too_few_readings_and_none_are_refused(refused, readings, field, out):
    for values, words in (([], "readings, value: none of 0 rows has a point and a value"),
                          ([3.0], "needs at least 2"), ([None] * 24, "none of 24 rows has a")):
        refused(words, "surface", INPUT=readings(values=values), FIELD="value", BOUNDARY=field,
                SURFACE=out / "s.tif")
    assert list(out.iterdir()) == []


def test_a_boundary_that_crosses_itself_is_refused_and_qgis_lives_on(refused, layer, readings, out):
    crossing = ("Polygon ((500000 4400000, 500100 4400100, 500100 4400000, 500000 4400100, "
                "500000 4400000))")
    for _ in range(3):
        refused("row 1: the boundary crosses or touches itself. Mend it with Fix", "surface",
                INPUT=readings(), FIELD="value", BOUNDARY=layer("Polygon", [(crossing,)]),
                SURFACE=out / "s.tif")
    refused("holds no polygon with an area", "surface", INPUT=readings(), FIELD="value",
            BOUNDARY=layer("Polygon", []), SURFACE=out / "s.tif")
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("change,words", [
    ({"FIELD": "depth"}, "readings has no column depth; it has value, error, limit, words"),
    ({"SURFACE": "s.png"}, r"s\.png: give the output a file name that ends in \.tif"),
    ({"SURFACE": "gone/s.tif"}, r"s\.tif cannot be written to .*gone"),
    ({"CELL": 0.0}, "A cell of 0.0 m was asked for; it must be above 0 m"),
    ({"CELL": 0.01}, "A cell of 0.01 m makes .* Choose a cell of"),
    ({"NEIGHBOURS": 1}, r"Neighbours: 1 was entered; enter 3 or more\.")])
def test_what_cannot_be_is_refused_and_nothing_is_written(
        refused, readings, field, out, change, words):
    given = {"FIELD": "value", "SURFACE": "s.tif", "CELL": 20.0, **change}
    refused(words, "surface", INPUT=readings(), BOUNDARY=field,
            **{**given, "SURFACE": out / given["SURFACE"]})
    assert list(out.iterdir()) == []


def test_a_run_cancelled_half_way_leaves_nothing(run, cancelling, readings, field, out):
    for percent in (-1, 30, 95.5):  # from 95 on it looks at how well the map predicts
        feedback = cancelling(percent)
        assert run("surface", feedback, INPUT=readings(), FIELD="value", BOUNDARY=field, CELL=2,
                   SURFACE=out / "s.tif", DIAGNOSTICS=out / "s.json", UNSURE=out / "u.gpkg") == {}
        assert feedback.isCanceled() and list(out.iterdir()) == []


def test_a_second_run_replaces_the_first_to_the_same_values(run, readings, field, out):
    found = []
    for _ in range(2):
        run("surface", INPUT=readings(), FIELD="value", BOUNDARY=field, CELL=20,
            SURFACE=out / "s.tif")
        found.append(bands(out / "s.tif"))
    np.testing.assert_array_equal(*found)
    assert [path.name for path in out.iterdir()] == ["s.tif"]


@pytest.fixture
def step(tmp_path):
    """A surface of 10 in the west and 30 in the east of the field, standard error 4."""
    return write_by_hand(tmp_path / "step.tif", lambda x, y: 10.0 if x < 500_100 else 30.0,
                         unit="plants/m2", error=4.0)


def test_the_chance_on_either_side_of_a_limit(run, provider, step, out):
    assert set(run("chancemap", SURFACE=step, LIMIT=16.0, CHANCE=out / "c.tif")) == {
        one.name() for one in provider.algorithm("chancemap").outputDefinitions()} == {"CHANCE"}
    run("chancemap", SURFACE=step, LIMIT=16.0, SIDE=1, CHANCE=out / "d.tif")
    below, above = bands(out / "c.tif"), bands(out / "d.tif")
    # (16 - 10) / 4 and (16 - 30) / 4 standard errors.
    normal = NormalDist()
    assert set(np.round(below[0][np.isfinite(below[0])], 9)) == {
        round(normal.cdf(1.5), 9), round(normal.cdf(-3.5), 9)}
    assert np.nansum(below[0] + above[0] - 1) == pytest.approx(0, abs=1e-9)
    assert set(below[1][np.isfinite(below[1])]) == {0.0}
    metadata = gdal.Open(str(out / "c.tif")).GetMetadata("SPADEWORK")
    assert metadata["NAME"] == "Chance: Stand below 16 plants/m2" and "UNIT" not in metadata
    assert json.loads(metadata["MADE"])["settings"]["LIMIT"] == 16


def test_what_is_no_surface_is_refused(refused, tmp_path, out):
    gdal.GetDriverByName("GTiff").Create(str(tmp_path / "photo.tif"), 4, 4, 3)
    refused("photo.tif is no surface made by Spadework", "chancemap",
            SURFACE=tmp_path / "photo.tif", LIMIT=1.0, CHANCE=out / "c.tif")
    refused("photo.tif is no surface made by Spadework", "zonesbylimits",
            SURFACE=tmp_path / "photo.tif", LIMITS="1", ZONES=out / "z.gpkg")
    refused("SURFACE", "chancemap", SURFACE=tmp_path / "gone.tif", LIMIT=1.0, CHANCE=out / "c.tif")
    assert list(out.iterdir()) == []


def zones_in(path):
    data = gdal.OpenEx(str(path))
    return [(row.items(), shapely.from_wkb(bytes(row.GetGeometryRef().ExportToWkb())))
            for row in data.GetLayer(0)]


def test_zones_part_at_the_limit_and_end_at_the_boundary(run, provider, step, field, out):
    found = run("zonesbylimits", SURFACE=step, LIMITS="20", BOUNDARY=field, ZONES=out / "z.gpkg")
    assert set(found) == {one.name() for one in provider.algorithm("zonesbylimits")
                          .outputDefinitions()} - {"UNSURE"} == {"ZONES", "COUNT", "EXPLAINED"}
    (low, west), (high, east) = zones_in(out / "z.gpkg")
    assert found["COUNT"] == 2
    # Cells of 20 m from 500000 on part at 500100.
    assert west.area == pytest.approx(97 * 200, rel=1e-9) == pytest.approx(low["area_m2"], rel=1e-9)
    assert east.area == pytest.approx(AREA_M2 - 97 * 200, rel=1e-9)
    assert shapely.union(west, east).symmetric_difference(FIELD).area < 1e-5  # rounding
    assert (low["title"], high["title"]) == ("below 20 plants/m2", "20 plants/m2 or more")
    assert (low["mean"], low["deviation"], high["mean"]) == pytest.approx((10, 0, 30), abs=1e-9)
    assert west.boundary.intersection(east.boundary).length == pytest.approx(200, rel=1e-9)


def test_without_a_boundary_zones_are_the_cells_as_they_are(run, step, out):
    run("zonesbylimits", SURFACE=step, LIMITS="20", ZONES=out / "z.gpkg")
    # 11 by 11 cells of 20 m touch the field of 200 m; in the cut corner 3 are wholly outside.
    cells = np.count_nonzero(np.isfinite(bands(step)[0]))
    assert sum(shape.area for _, shape in zones_in(out / "z.gpkg")) == cells * 400


def test_small_patches_join_their_neighbour(run, tmp_path, field, out):
    spot = write_by_hand(tmp_path / "spot.tif", unit="in", value=lambda x, y: 30.0 if (
        x, y) == (500_070.0, 4_400_070.0) else 10.0)  # one cell of 400 m2
    for smallest_ha, zones in ((0.0, 2), (0.03, 2), (0.05, 1)):
        assert run("zonesbylimits", SURFACE=spot, LIMITS="20", BOUNDARY=field,
                   SMALLEST_AREA=smallest_ha, ZONES=out / "z.gpkg")["COUNT"] == zones
    assert run("zonesbylimits", SURFACE=spot, LIMITS="20", BOUNDARY=field, MACHINE_WIDTH=60.0,
               ZONES=out / "z.gpkg")["COUNT"] == 1  # narrower than the machine


@pytest.mark.parametrize("limits,words", [
    ("", "LIMITS|Limits: enter numbers"), ("high", "Limits: enter numbers parted by semicolons"),
    ("18000,5; 26000", "Limits: enter numbers"), ("nan", "Limits: enter numbers"),
    ("inf; 3", "Limits: enter numbers"), ("20; 10", "limit 10 follows 20; enter the limits from"),
    ("5; 5", "limit 5 follows 5")])
def test_limits_that_are_none_are_refused(refused, step, field, out, limits, words):
    refused(words, "zonesbylimits", SURFACE=step, LIMITS=limits, BOUNDARY=field,
            ZONES=out / "z.gpkg")
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("crs,words", [
    ("EPSG:4326", "readings is in EPSG:4326, which does not count in metres"),
    ("EPSG:2236", "readings is in EPSG:2236, which does not count in metres"),
    ("EPSG:32616", "readings is in EPSG:32616, the surface in EPSG:32615. Reproject the")])
def test_a_boundary_in_another_crs_is_refused(refused, layer, step, out, crs, words):
    refused(words, "zonesbylimits", SURFACE=step, LIMITS="20", ZONES=out / "z.gpkg",
            BOUNDARY=layer("Polygon", [(FIELD_WKT,)], crs))
    assert list(out.iterdir()) == []


def test_a_boundary_elsewhere_is_refused(refused, layer, step, out):
    far = f"Polygon (({WEST + 9000} {SOUTH}, {WEST + 9100} {SOUTH}, {WEST + 9100} {SOUTH + 9}, " \
          f"{WEST + 9000} {SOUTH}))"
    refused("boundary and the grid do not meet", "zonesbylimits", SURFACE=step, LIMITS="20",
            BOUNDARY=layer("Polygon", [(far,)]), ZONES=out / "z.gpkg")
    assert list(out.iterdir()) == []


def test_cancelled_chances_and_zones_leave_nothing(run, cancelling, step, field, out):
    for percent in (-1, 30, 60):
        feedback = cancelling(percent)
        feedback.setProgress(0)  # below 0 a bar is at rest
        assert run("zonesbylimits", feedback, SURFACE=step, LIMITS="20", BOUNDARY=field,
                   ZONES=out / "z.gpkg") == {}
    feedback = cancelling(-1)
    feedback.cancel()
    assert run("chancemap", feedback, SURFACE=step, LIMIT=16.0, CHANCE=out / "c.tif") == {}
    assert list(out.iterdir()) == []


def test_a_second_run_replaces_chances_and_zones(run, step, field, out):
    for _ in range(2):
        run("chancemap", SURFACE=step, LIMIT=16.0, CHANCE=out / "c.tif")
        run("zonesbylimits", SURFACE=step, LIMITS="20", BOUNDARY=field, ZONES=out / "z.gpkg")
    assert sorted(path.name for path in out.iterdir()) == ["c.tif", "z.gpkg"]
