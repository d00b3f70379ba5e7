"""surface with its further settings, through Processing."""
import json

import numpy as np
import pytest
from osgeo import gdal, osr
from qgis.core import QgsProcessingException

from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.kriging import krige
from tests.algorithms.small_calls import SOUTH, WEST, stops
from tests.algorithms.small_surfaces import grid_of

FIELDS = "&field=value:double"
MODEL = {"family": "exponential", "nugget": 0.5, "partial_sill": 9, "range_m": 60}
VALUES = [10 + 0.05 * (x - WEST) + (number * 7) % 5 for number, (x, _) in enumerate(stops())]


@pytest.fixture
def readings(layer):
    return layer("Point", [(f"Point ({x} {y})", value) for (x, y), value in zip(stops(), VALUES)],
                 "EPSG:32615", FIELDS)


@pytest.fixture
def surface(run, readings, field, out):
    """Run surface with some settings; estimate, error, account and the file's account."""
    def made(**settings):
        run("surface", INPUT=readings, FIELD="value", BOUNDARY=field, CELL=20,
            SURFACE=out / "s.tif", DIAGNOSTICS=out / "s.json",
            **{"MODEL": json.dumps(MODEL), **settings})
        raster = gdal.Open(str(out / "s.tif"))
        bands = raster.ReadAsArray()
        return (*bands[:2], json.loads((out / "s.json").read_text()),
                json.loads(raster.GetMetadataItem("MADE", "SPADEWORK")))
    return made


@pytest.fixture
def elevation(tmp_path):
    def made(epsg=32615, columns=60):
        path = str(tmp_path / "elevation.tif")
        raster = gdal.GetDriverByName("GTiff").Create(path, columns, 60, 1, gdal.GDT_Float64)
        raster.SetGeoTransform((WEST - 20, 5, 0, SOUTH + 240, 0, -5))
        crs = osr.SpatialReference()
        crs.ImportFromEPSG(epsg)
        raster.SetProjection(crs.ExportToWkt())
        raster.GetRasterBand(1).WriteArray(np.add.outer(np.arange(60.0) ** 2,
                                                        3 * np.arange(float(columns))))
        del raster
        return path
    return made


def same(found, expected):
    estimate, error = found[:2]
    inside = np.isfinite(estimate).ravel()
    assert inside.any()
    assert estimate.ravel()[inside] == pytest.approx(expected.estimate[inside], rel=1e-9)
    assert error.ravel()[inside] ** 2 == pytest.approx(expected.variance[inside], rel=1e-7)


def expected(model=MODEL, **options):
    return krige(np.array(stops()), VALUES, np.zeros(24), CovarianceModel(**model),
                 grid_of().centres(), **options)


def test_a_surface_for_whole_cells(surface):
    found = surface(SUPPORT=1)
    same(found, expected(block_m=20.0))
    assert found[3]["settings"]["SUPPORT"] == "cell" and found[2]["block_m"] == 20


def test_a_slope_across_the_field(surface):
    found = surface(DRIFT=1)
    same(found, expected(drift=(np.array(stops()), grid_of().centres())))
    assert found[2]["drift"] == found[3]["settings"]["DRIFT"] == ["easting", "northing"]


def test_a_raster_that_the_values_follow(surface, elevation):
    # bilinear between centres of cells of 5 m: linear in the column, and in the row between two
    def at(places):
        row, column = (SOUTH + 240 - places[:, 1]) / 5 - 0.5, (places[:, 0] - WEST + 20) / 5 - 0.5
        top = np.floor(row)
        return top**2 + (row - top) * (2 * top + 1) + 3 * column

    found = surface(COVARIATES=[elevation()])
    same(found, expected(drift=(at(np.array(stops())), at(grid_of().centres()))))
    assert found[2]["drift"] == ["elevation"]


def test_a_heading_and_a_ratio_that_are_given_with_the_model(surface):
    along = {**MODEL, "heading_deg": 30, "ratio": 0.5}
    found = surface(MODEL=json.dumps(along))
    same(found, expected(along))
    assert found[2]["model"]["ratio"] == 0.5


def test_a_heading_has_further_models_tried(surface):
    families = [one["family"] for one in surface(MODEL="automatic", HEADING=30)[2]["candidates"]]
    assert sorted(families) == ["exponential"] * 2 + ["nugget"] + ["spherical"] * 2


def test_neighbours_from_all_sides(surface):
    same(surface(NEIGHBOURS=8, OCTANTS=True), expected(neighbours=8, octants=True))


@pytest.mark.parametrize("epsg", [32616, 4326])
def test_a_raster_in_another_crs_is_refused_and_nothing_is_written(surface, elevation, out, epsg):
    with pytest.raises(QgsProcessingException, match=f"elevation in EPSG:{epsg}"):
        surface(COVARIATES=[elevation(epsg)])
    assert not list(out.iterdir())


def test_a_raster_that_ends_within_the_field_is_refused(surface, elevation, out):
    with pytest.raises(QgsProcessingException, match="has no figure at"):
        surface(COVARIATES=[elevation(columns=20)])
    assert not list(out.iterdir())


def test_a_nested_model_that_is_given(surface):
    nested = {**MODEL, "long_sill": 4, "long_range_m": 200}
    found = surface(MODEL=json.dumps(nested))
    same(found, expected(nested))
    assert found[2]["model"] == {**nested, "heading_deg": 0.0, "ratio": 1.0}


@pytest.mark.parametrize(("chosen", "families"), [
    ({}, {"nugget", "spherical", "exponential"}),
    ({"CANDIDATES": [1, 3, 4]}, {"nugget", "exponential", "matern_3_2", "matern_5_2"})])
def test_the_families_compared_are_those_asked_for(surface, chosen, families):
    found = surface(MODEL="automatic", **chosen)
    assert {candidate["family"] for candidate in found[2]["candidates"]} == families
    assert set(found[3]["settings"]["CANDIDATES"]) == families
