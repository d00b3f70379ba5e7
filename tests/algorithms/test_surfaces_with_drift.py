"""Surfaces whose mean follows a slope or a layer, through all that draws of them or decides.

Each layer's raster is taken away once the surface is made: what draws need travels with it.
"""
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from osgeo import gdal

from plugin.core.decide.linear_loss import LinearLoss
from plugin.core.decide.next_stops import next_stops
from plugin.core.interpolate.carried import carried
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.draws_of_surface import draws_of_surface
from plugin.core.interpolate.field_mean import field_mean
from plugin.core.interpolate.kriging import krige
from plugin.layers.boundary import inside_shares
from plugin.layers.rasters import read_surface
from plugin.layers.strict_ogr import spatial_reference
from tests.algorithms.small_calls import AREA_M2, FACTORS, SOUTH, WEST, make_call, stand_rows, stops
from tests.algorithms.small_surfaces import WKB, grid_of
from tests.algorithms.test_plans import pan_in, rows_in
from tests.algorithms.test_soil_plans import ph_in, soil_field

ACRE = FACTORS["us"]["area"]
FIELDS = "&field=value:double"
SLOPE, LAYER, BOTH = {"DRIFT": 1}, {"COVARIATES": ["elevation"]}, {"DRIFT": 1,
                                                                  "COVARIATES": ["elevation"]}
DRIFTS = pytest.mark.parametrize("drift", [SLOPE, LAYER, BOTH], ids=["slope", "layer", "both"])


def height(x, y):
    """Metres above the lowest ground: a rise to the east, and a swale across it."""
    return (x - WEST) / 50 + np.cos((y - SOUTH) / 30)


def ripple(x, y):
    """What follows neither a slope nor the height: -1 to 1 over some 30 m."""
    return np.sin(x / 9) * np.cos(y / 7)


def plants(x, y):
    """Plants per m2: 9 on the lowest ground, some 1 on the highest."""
    return 9 - 1.6 * height(x, y) + ripple(x, y) / 3


@pytest.fixture
def elevation(tmp_path):
    """A raster of the heights, cells of 5 m, 20 m beyond the field on all sides."""
    path = tmp_path / "elevation.tif"
    raster = gdal.GetDriverByName("GTiff").Create(str(path), 48, 48, 1, gdal.GDT_Float64)
    raster.SetGeoTransform((WEST - 20, 5, 0, SOUTH + 220, 0, -5))
    raster.SetProjection(spatial_reference("EPSG:32615").ExportToWkt())
    east, north = WEST - 17.5 + 5 * np.arange(48), SOUTH + 217.5 - 5 * np.arange(48)
    raster.GetRasterBand(1).WriteArray(height(*np.meshgrid(east, north)))
    return path


@pytest.fixture
def surface(run, layer, field, elevation, tmp_path):
    """Return surface(drift, value, **parameters): the file; the raster it followed is gone."""
    def made(drift, value=lambda x, y: plants(x, y) * ACRE, name="stand", **parameters):
        path = tmp_path / f"{name}.tif"
        given = {**drift, "COVARIATES": [str(elevation)]} if "COVARIATES" in drift else drift
        run("surface", INPUT=layer("Point", [(f"Point ({x} {y})", float(value(x, y)))
                                             for x, y in stops()], "EPSG:32615", FIELDS),
            FIELD="value", BOUNDARY=field, CELL=20, SURFACE=path, **{
                "UNIT": "plants/ac", **given, **parameters})
        elevation.unlink()
        assert read_surface(path).account["drift"]
        return path
    return made


@DRIFTS
def test_draws_of_a_surface_that_was_read_back_are_those_of_universal_kriging(surface, drift):
    read = read_surface(surface(drift))
    known = carried(read)
    # as of a given model: those of a fitted one are of several likely models
    given = replace(read, account={**read.account, "fitted_by": None})
    cells, draws = draws_of_surface(given, draws=1000)
    kriged = krige(*known.readings, grid_of().centres(cells), drift=known.drift_toward(cells))
    assert read.estimate.flat[cells] == pytest.approx(kriged.estimate, rel=1e-9)
    # 1000 draws, some 100 cells: the farthest is off by 5 standard errors at most
    off = (draws.mean(axis=0) - kriged.estimate) / np.sqrt(kriged.variance)
    assert np.abs(off).max() < 5 / np.sqrt(1000)
    assert draws.var(axis=0) == pytest.approx(kriged.variance, rel=5 * np.sqrt(2 / 1000))
    # the layer in the cells is the raster's, bilinear between 5 m: within a metre's curve of it
    if "COVARIATES" in drift:
        true = height(*read.grid.centres(cells).T)
        assert known.drift.in_cells(cells)[:, -1] == pytest.approx(true, abs=0.01)


@DRIFTS
def test_a_stand_that_follows_something_is_replanted_where_it_is_thin(
        run, surface, drift, tmp_path, out):
    record = make_call(tmp_path / "call.gpkg")
    found = run("replantplan", RECORD=record, STAND=surface(drift), PLAN=out / "p.gpkg")
    rows = rows_in(out / "p.gpkg")
    assert sum(zone.area for _, zone in rows) == pytest.approx(AREA_M2, rel=1e-6)
    density = {action: np.average([plants(*zone.centroid.coords[0]) for row, zone in rows
                                   if row["action"] == action],
                                  weights=[zone.area for row, zone in rows
                                           if row["action"] == action])
               for action in ("keep", "replant")}
    assert density["replant"] < 5 < density["keep"]  # plants per m2; break-even lies near 5
    assert found["GAIN"] > 0
    for row, _ in rows:
        if row["action"] == "replant":
            assert row["gain_low"] < row["gain"] < row["gain_high"]


def test_a_pan_that_follows_a_slope_is_broken_below_it(run, surface, tmp_path, out):
    record = make_call(tmp_path / "call.gpkg")
    bottom = surface(SLOPE, lambda x, y: 10 + (x - WEST) / 40 + ripple(x, y) / 10,
                     name="bottom", UNIT="in", TITLE="Bottom of the pan")
    run("tillageplan", RECORD=record, BOTTOM=bottom, CHANCE=pan_in(tmp_path, "us")["CHANCE"],
        PLAN=out / "p.gpkg")
    tilled = sorted((zone.centroid.x, row["rate"]) for row, zone in rows_in(out / "p.gpkg")
                    if row["action"] == "till")
    assert len(tilled) > 1 and [rate for _, rate in tilled] == sorted(rate for _, rate in tilled)


def test_soil_results_that_follow_a_layer_are_planned_from(run, surface, tmp_path, out, elevation):
    record = make_call(tmp_path / "call.gpkg", field=soil_field())
    nitrate = surface(LAYER, lambda x, y: 32 - 4.5 * height(x, y) + ripple(x, y),
                      name="nitrate", UNIT="ppm")
    found = run("sidedressplan", RECORD=record, NITRATE=nitrate, PLAN=out / "p.gpkg")
    rates = {row["action"]: row["rate"] for row, _ in rows_in(out / "p.gpkg")}
    assert rates["apply"] > rates["none"] == 0 and found["SPREAD"] > 0


def test_lime_is_planned_from_a_buffer_ph_that_follows_a_slope(run, surface, tmp_path, out):
    record = make_call(tmp_path / "call.gpkg", field=soil_field())
    given = ph_in(tmp_path)
    given["BUFFER_PH"] = surface(
        SLOPE, lambda x, y: 6.9 - (x - WEST) / 400 + ripple(x, y) / 50, name="buffer",
        UNIT="")
    run("limeplan", RECORD=record, PLAN=out / "p.gpkg", **given)
    limed = [row for row, _ in rows_in(out / "p.gpkg") if row["action"] == "apply"]
    assert limed and all(row["rate"] > 0 for row in limed)


@DRIFTS
def test_the_next_stops_of_a_surface_that_follows_something(run, surface, drift, out):
    path = surface(drift)
    found = run("nextstops", SURFACE=path, DECISION=0, LIMIT=5.0 * ACRE, LOSS=0.02, COUNT=3,
                STOPS=out / "stops.gpkg")
    expected = next_stops(read_surface(path), LinearLoss(5.0 * ACRE, 0.02, "ha"), count=3)
    assert [(row["easting"], row["northing"]) for row, _ in rows_in(out / "stops.gpkg")] == [
        tuple(place) for place in expected.positions_m]
    assert found["VALUE"] == pytest.approx(expected.value.sum(), rel=1e-9) and found["VALUE"] > 0


def test_the_chance_of_a_surface_that_follows_a_layer_carries_no_readings(
        run, refused, surface, out):
    path = surface(LAYER)
    run("chancemap", SURFACE=path, LIMIT=5.0 * ACRE, CHANCE=out / "c.tif")
    chance = read_surface(out / "c.tif")
    assert gdal.Open(str(out / "c.tif")).RasterCount == 2 and chance.covariates is None
    refused("does not carry its readings", "nextstops", SURFACE=out / "c.tif", DECISION=0,
            LIMIT=0.5, LOSS=1.0, STOPS=out / "stops.gpkg")


def test_a_layer_with_holes_in_the_surface_is_refused_by_name_and_nothing_is_written(
        refused, surface, tmp_path, out):
    path = surface(LAYER)
    raster = gdal.Open(str(path), gdal.GA_Update)
    values = raster.GetRasterBand(3).ReadAsArray()
    values[4, 2:4] = np.nan
    raster.GetRasterBand(3).WriteArray(values)
    raster = None
    refused(r"value follows elevation, of which the surface holds no figure in 2 of the \d+ cells "
            "of the field. Make it again with a raster of elevation that covers the field",
            "replantplan", RECORD=make_call(tmp_path / "call.gpkg"), STAND=path,
            PLAN=out / "p.gpkg")
    assert not list(out.iterdir())


def test_a_whole_field_call_about_a_slope_and_a_layer(run, elevation, tmp_path, out):
    record = make_call(tmp_path / "call.gpkg", stands=stand_rows(density=plants))
    found = run("fieldcall", RECORD=record, OUTPUT_FOLDER=out / "call", CELL=20, DRIFT=1,
                COVARIATES=[str(elevation)])
    stand = read_surface(out / "call" / "surfaces" / "stand.tif",
                         lambda grid: inside_shares(WKB, grid))
    assert stand.account["drift"] == ["easting", "northing", "elevation"]
    told = json.loads(Path(found["SUMMARY"]).read_text())
    assert told["made"]["settings"] == {"CELL": 20, "DRIFT": "linear",
                                        "COVARIATES": ["elevation.tif"]}
    assert told["stand"]["method"] == (
        f"{stand.account['method'].capitalize()} of 24 readings, about a mean that follows "
        "easting, northing, elevation.")
    assert told["replant"]["zones"]
    diagnostics = json.loads((out / "call" / "surfaces" / "stand.json").read_text())
    assert diagnostics["mean_error"] == pytest.approx(field_mean(stand)[1], rel=1e-9)
    assert CovarianceModel(**diagnostics["model"]) == carried(stand).model


def test_a_field_call_with_a_layer_in_another_crs_is_refused_and_nothing_is_written(
        refused, elevation, tmp_path, out):
    raster = gdal.Open(str(elevation), gdal.GA_Update)
    raster.SetProjection(spatial_reference("EPSG:32616").ExportToWkt())
    raster = None
    refused(r"call\.gpkg is in EPSG:32615, elevation in EPSG:32616\. Reproject one", "fieldcall",
            RECORD=make_call(tmp_path / "call.gpkg", stands=stand_rows()), CELL=20,
            OUTPUT_FOLDER=out / "call", COVARIATES=[str(elevation)])
    assert not list(out.iterdir())
