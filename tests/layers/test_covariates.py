"""Rasters read between their cells."""
import numpy as np
import pytest
from osgeo import gdal

from plugin.core.problems import InputProblem
from plugin.layers.covariates import covariate_sampler

VALUES = np.array([[0.0, 10, 20], [100, 110, 120], [200, 210, -9]])


def raster(folder, name="a.tif", values=VALUES, transform=(500, 10, 0, 930, 0, -10), nodata=-9):
    path = str(folder / name)
    made = gdal.GetDriverByName("GTiff").Create(path, values.shape[1], values.shape[0], 1,
                                                gdal.GDT_Float64)
    made.SetGeoTransform(transform)
    made.GetRasterBand(1).WriteArray(values)
    if nodata is not None:
        made.GetRasterBand(1).SetNoDataValue(nodata)
    del made
    return path


def test_between_centres_it_is_bilinear_as_worked_by_hand(tmp_path):
    # centres at 505, 515, 525 and 925, 915, 905. A quarter of the way east and half way south of
    # the first: 0.25 x 10 + 0.5 x 100.
    sample = covariate_sampler([raster(tmp_path)])
    assert sample([[505, 925], [507.5, 920], [515, 915]])[:, 0] == pytest.approx(
        [0, 52.5, 110], abs=1e-9)


def test_a_plane_is_returned_as_it_is_between_the_outer_centres(tmp_path):
    east, north = np.meshgrid(505 + 10 * np.arange(8.0), 925 - 10 * np.arange(6.0))
    sample = covariate_sampler([raster(tmp_path, values=3 * east - north)])
    places = np.random.default_rng(1).uniform([505, 875], [575, 925], (50, 2))
    assert sample(places)[:, 0] == pytest.approx(3 * places[:, 0] - places[:, 1], abs=1e-9)


def test_at_the_edge_the_last_cells_count_and_outside_nothing(tmp_path):
    sample = covariate_sampler([raster(tmp_path)])
    found = sample([[500.5, 929.5], [499.9, 925], [505, 930.1], [530.1, 925]])[:, 0]
    assert found[0] == 0 and np.isnan(found[1:]).all()


def test_a_cell_without_a_value_counts_only_where_it_weighs(tmp_path):
    sample = covariate_sampler([raster(tmp_path)])
    found = sample([[524, 906], [525, 915], [515, 905]])[:, 0]
    assert np.isnan(found[0]) and found[1:] == pytest.approx([120, 210])


def test_several_rasters_stand_side_by_side(tmp_path):
    sample = covariate_sampler([raster(tmp_path), raster(tmp_path, "b.tif", 2 * VALUES)])
    assert sample([[515, 915]]).tolist() == [[110, 220]]


def test_what_cannot_be_read_is_refused(tmp_path):
    (tmp_path / "words.tif").write_text("no raster")
    with pytest.raises(InputProblem, match="words.tif cannot be read as a raster"):
        covariate_sampler([tmp_path / "words.tif"])
    with pytest.raises(InputProblem, match="does not lie north up"):
        covariate_sampler([raster(tmp_path, "t.tif", transform=(0, 10, 1, 0, 1, -10))])


def test_a_raster_too_large_to_hold_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("plugin.layers.covariates.MOST_CELLS", 8)
    with pytest.raises(InputProblem, match="has 9 cells; at most 8 are read"):
        covariate_sampler([raster(tmp_path)])
