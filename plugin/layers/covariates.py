"""Rasters that the mean of a surface may depend on, read anywhere between their cells."""
import numpy as np
from osgeo import gdal, osr

from ..core.problems import InputProblem
from .strict_ogr import spatial_reference, strict_ogr

MOST_CELLS = 50_000_000  # of one raster held in memory: 400 MB


def covariate_sampler(paths):
    """Return a function of (k, 2) positions, metres, that returns the (k, p) figures there.

    Between the centres of four cells the figure is bilinear; within half a cell of the edge that
    of the edge's cells counts. It is NaN outside the raster, and where one of the four cells that
    weighs has no value. Band 1 is read, whole.

    Parameters
        paths  p raster files, north up, in the CRS of the positions
    Raises   InputProblem: a file is no raster, lies turned, or holds more than MOST_CELLS cells
    """
    rasters = [_read(path) for path in paths]
    return lambda positions: np.column_stack([_at(raster, np.asarray(positions, float))
                                              for raster in rasters])


def covariates_at(paths, positions_m, crs_wkt):
    """Return the (k, p) figures of rasters in any CRS at (k, 2) positions, as covariate_sampler.

    Positions are brought into the CRS of each raster; one without a CRS is taken to be in theirs.

    Raises   InputProblem: as covariate_sampler, or a raster lies where they cannot be brought
    """
    found = []
    for path in paths:
        found.append(covariate_sampler([path])(_in_crs_of(path, positions_m, crs_wkt))[:, 0])
    return np.column_stack(found)


def _in_crs_of(path, positions_m, crs_wkt):
    with strict_ogr():
        try:
            there = gdal.Open(str(path)).GetProjection()
            if not there or spatial_reference(there).IsSame(spatial_reference(crs_wkt)):
                return positions_m
            turn = osr.CoordinateTransformation(spatial_reference(crs_wkt),
                                                spatial_reference(there))
            return np.array(turn.TransformPoints(np.asarray(positions_m, float)))[:, :2]
        except RuntimeError as problem:
            raise InputProblem(f"{path} cannot be read at the field: {problem}. Reproject it to "
                               "the field's CRS.") from problem


def _read(path):
    with strict_ogr():
        try:
            raster = gdal.Open(str(path))
        except RuntimeError as problem:
            raise InputProblem(f"{path} cannot be read as a raster: {problem}.") from problem
        west, across, turn, north, other_turn, down = raster.GetGeoTransform()
        if turn or other_turn or across <= 0 or down >= 0:
            raise InputProblem(f"{path} does not lie north up. Warp it first.")
        if raster.RasterXSize * raster.RasterYSize > MOST_CELLS:
            raise InputProblem(
                f"{path} has {raster.RasterXSize * raster.RasterYSize:,} cells; at most "
                f"{MOST_CELLS:,} are read. Clip it to the field, or resample it.")
        band = raster.GetRasterBand(1)
        values = band.ReadAsArray().astype(float)
        if band.GetNoDataValue() is not None:
            values[values == band.GetNoDataValue()] = np.nan
    return values, west, across, north, down


def _at(raster, positions):
    values, west, across, north, down = raster
    rows, columns = values.shape
    column = (positions[:, 0] - west) / across - 0.5
    row = (positions[:, 1] - north) / down - 0.5
    outside = (column < -0.5) | (column > columns - 0.5) | (row < -0.5) | (row > rows - 0.5)
    column, row = np.clip(column, 0, columns - 1), np.clip(row, 0, rows - 1)
    left, top = np.floor(column).astype(int), np.floor(row).astype(int)
    found = np.zeros(len(positions))
    for down_one in (0, 1):
        for right_one in (0, 1):
            weight = (np.abs(1 - down_one - (row - top))
                      * np.abs(1 - right_one - (column - left)))
            cell = values[np.minimum(top + down_one, rows - 1),
                          np.minimum(left + right_one, columns - 1)]
            found += np.where(weight > 0, weight * cell, 0.0)
    return np.where(outside, np.nan, found)
