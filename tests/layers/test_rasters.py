import json

import numpy as np
import pytest
from osgeo import gdal, osr

from plugin.core.grid import Grid
from plugin.core.problems import InputProblem
from plugin.core.surface import Surface
from plugin.layers.rasters import read_surface, without_side_files, write_surface

MADE = {"program": "Spadework", "algorithm": "surface", "settings": {"CELL": 2.5}}


def wkt(epsg=32615):
    reference = osr.SpatialReference()
    reference.ImportFromEPSG(epsg)
    return reference.ExportToWkt()


def surface(**changes):
    """A surface of 3 rows and 4 columns, its first row outside the field."""
    estimate = np.arange(12.0).reshape(3, 4) / 3  # thirds: no short decimal
    estimate[0] = np.nan
    inside = np.where(np.isnan(estimate), 0.0, 0.5)
    given = dict(name="Stand", unit="plants/ac",
                 grid=Grid(500_000.0, 4_400_007.5, 2.5, 3, 4, wkt()), inside=inside,
                 estimate=estimate, standard_error=estimate / 10,
                 account={"verdict": "The map holds – é.", "sites": [[1.5, 2, 3, 4]],
                          "model": {"family": "nugget", "nugget": 0.1}})
    return Surface(**{**given, **changes})


def test_a_surface_reads_back_with_gdal_alone(tmp_path):
    write_surface(tmp_path / "stand.tif", surface(), MADE)
    raster = gdal.Open(str(tmp_path / "stand.tif"))
    assert raster.GetDriver().ShortName == "GTiff"
    assert (raster.RasterCount, raster.RasterXSize, raster.RasterYSize) == (2, 4, 3)
    assert raster.GetGeoTransform() == (500_000.0, 2.5, 0, 4_400_007.5, 0, -2.5)
    reference = raster.GetSpatialRef()
    assert reference.GetAuthorityCode(None) == "32615"
    assert reference.GetLinearUnits() == 1.0
    given = surface()
    for number, (words, values) in enumerate((("estimate", given.estimate),
                                              ("standard error", given.standard_error)), 1):
        band = raster.GetRasterBand(number)
        assert band.DataType == gdal.GDT_Float64
        assert np.isnan(band.GetNoDataValue())
        assert band.GetUnitType() == "plants/ac" and band.GetDescription() == words
        np.testing.assert_array_equal(band.ReadAsArray(), values)  # not one bit is lost
    metadata = raster.GetMetadata("SPADEWORK")
    assert metadata["NAME"] == "Stand" and metadata["UNIT"] == "plants/ac"
    assert json.loads(metadata["ACCOUNT"]) == given.account
    assert json.loads(metadata["MADE"]) == MADE
    assert [path.name for path in tmp_path.iterdir()] == ["stand.tif"]


def test_a_surface_reads_back_as_it_was(tmp_path):
    write_surface(tmp_path / "stand.tif", surface(), MADE)
    read = read_surface(tmp_path / "stand.tif")
    given = surface()
    assert (read.name, read.unit) == (given.name, given.unit)
    assert read.grid.crs_wkt and read.grid.__dict__ | {"crs_wkt": ""} == \
        given.grid.__dict__ | {"crs_wkt": ""}
    np.testing.assert_array_equal(read.estimate, given.estimate)
    np.testing.assert_array_equal(read.standard_error, given.standard_error)
    assert read.account == given.account | {"made": MADE}
    # Without a boundary a cell counts whole where it has an estimate.
    assert read.inside.tolist() == [[0] * 4, [1] * 4, [1] * 4]


def with_layers():
    """The surface, its mean following two layers."""
    estimate = surface().estimate
    followed = [{"name": "yield", "at_readings": [3.5]},
                {"name": "elevation", "at_readings": [1 / 3]}]
    return surface(covariates=np.array([estimate * 7, np.sqrt(estimate)]),
                   account=surface().account | {"drift": ["yield", "elevation"], "linear": False,
                                                "covariates": followed})


def test_layers_that_the_mean_follows_are_further_bands_by_their_names(tmp_path):
    write_surface(tmp_path / "stand.tif", with_layers(), MADE)
    raster = gdal.Open(str(tmp_path / "stand.tif"))
    assert raster.RasterCount == 4
    for number, (name, unit) in enumerate((("estimate", "plants/ac"), (
            "standard error", "plants/ac"), ("yield", ""), ("elevation", "")), 1):
        band = raster.GetRasterBand(number)
        assert (band.GetDescription(), band.GetUnitType()) == (name, unit)
        if number > 2:
            np.testing.assert_array_equal(band.ReadAsArray(), with_layers().covariates[number - 3])
    read = read_surface(tmp_path / "stand.tif")
    np.testing.assert_array_equal(read.covariates, with_layers().covariates)  # not one bit is lost
    np.testing.assert_array_equal(read.estimate, with_layers().estimate)
    assert read.account == with_layers().account | {"made": MADE}


def test_a_surface_that_follows_no_layer_has_none(tmp_path):
    write_surface(tmp_path / "stand.tif", surface(), MADE)
    assert read_surface(tmp_path / "stand.tif").covariates is None


def test_a_file_that_lost_the_bands_of_its_layers_is_refused_by_their_names(tmp_path):
    write_surface(tmp_path / "stand.tif", with_layers(), MADE)
    whole = gdal.Open(str(tmp_path / "stand.tif"))
    cut = gdal.Translate(str(tmp_path / "cut.tif"), whole, bandList=[1, 2])
    cut.SetMetadata(whole.GetMetadata("SPADEWORK"), "SPADEWORK")
    cut = whole = None
    with pytest.raises(InputProblem, match=(
            r"cut\.tif holds 2 bands; with the layers that its mean follows \(yield, elevation\) "
            r"it should hold 4\. Make it again")):
        read_surface(tmp_path / "cut.tif")


def test_the_share_inside_is_worked_out_anew_where_there_is_an_estimate(tmp_path):
    write_surface(tmp_path / "stand.tif", surface(), MADE)
    read = read_surface(tmp_path / "stand.tif", lambda grid: np.full(grid.shape, 0.25))
    assert read.inside.tolist() == [[0] * 4, [0.25] * 4, [0.25] * 4]


def test_a_surface_without_a_unit_reads_back_without_one(tmp_path):
    write_surface(tmp_path / "chance.tif", surface(unit=""), MADE)
    assert read_surface(tmp_path / "chance.tif").unit == ""


def test_a_second_surface_replaces_the_first_and_its_statistics(tmp_path):
    write_surface(tmp_path / "stand.tif", surface(), MADE)
    raster = gdal.Open(str(tmp_path / "stand.tif"))
    raster.GetRasterBand(1).ComputeStatistics(False)
    raster = None
    assert (tmp_path / "stand.tif.aux.xml").exists()  # minimum 4/3, maximum 11/3
    write_surface(tmp_path / "stand.tif", surface(estimate=surface().estimate * 100), MADE)
    assert [path.name for path in tmp_path.iterdir()] == ["stand.tif"]
    raster = gdal.Open(str(tmp_path / "stand.tif"))
    with without_side_files():
        assert raster.GetRasterBand(1).GetStatistics(True, True)[1] == pytest.approx(1100 / 3)


def test_a_place_that_is_not_there_is_refused_and_nothing_is_made(tmp_path):
    with pytest.raises(InputProblem, match=r"stand\.tif cannot be written to .*gone"):
        write_surface(tmp_path / "gone" / "stand.tif", surface(), MADE)
    assert list(tmp_path.iterdir()) == []


def test_what_is_no_surface_is_refused_by_name(tmp_path):
    (tmp_path / "words.tif").write_text("no raster")
    with pytest.raises(InputProblem, match=r"words\.tif cannot be read as a raster"):
        read_surface(tmp_path / "words.tif")
    with pytest.raises(InputProblem, match=r"gone\.tif cannot be read as a raster"):
        read_surface(tmp_path / "gone.tif")
    gdal.GetDriverByName("GTiff").Create(str(tmp_path / "photo.tif"), 2, 2, 3)
    with pytest.raises(InputProblem, match=r"photo\.tif is no surface made by Spadework.*Make it"):
        read_surface(tmp_path / "photo.tif")
    write_surface(tmp_path / "empty.tif", surface(estimate=np.full((3, 4), np.nan)), MADE)
    with pytest.raises(InputProblem, match=r"empty\.tif holds no value"):
        read_surface(tmp_path / "empty.tif")


def test_looking_at_a_raster_leaves_no_file_beside_it(tmp_path):
    write_surface(tmp_path / "stand.tif", surface(), MADE)
    before = gdal.GetThreadLocalConfigOption("GDAL_PAM_ENABLED")
    with without_side_files():
        raster = gdal.Open(str(tmp_path / "stand.tif"))
        assert raster.GetRasterBand(1).ComputeStatistics(False)[1] == pytest.approx(11 / 3)
        raster = None
    assert [path.name for path in tmp_path.iterdir()] == ["stand.tif"]
    assert gdal.GetThreadLocalConfigOption("GDAL_PAM_ENABLED") == before
    with pytest.raises(ValueError), without_side_files():
        raise ValueError
    assert gdal.GetThreadLocalConfigOption("GDAL_PAM_ENABLED") == before
