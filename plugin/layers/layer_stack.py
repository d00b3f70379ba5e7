"""Several rasters as layers on one grid."""
from pathlib import Path

import numpy as np
from osgeo import gdal, osr

from ..core.grid import MOST_CELLS, Grid
from ..core.problems import InputProblem
from ..core.zone.by_likeness import GridLayer
from .covariates import covariate_sampler
from .json_files import DOMAIN
from .rasters import read_surface, sites_of
from .strict_ogr import in_metres, spatial_reference, strict_ogr


def read_stack(named, onto=None):
    """Read the first band of rasters as layers on one grid.

    A surface of this program brings its standard error and the places of its readings along. Where
    a grid is named, layers on another are read between their cells at its centres (bilinear), and
    bring the places of their readings alone.

    Parameters
        named  (name, path) of each layer, two of the same name are told apart by a number
        onto   path of the raster whose grid is taken; None: all must lie on one
    Returns  list of GridLayer, and their Grid
    Raises   InputProblem: a file is no raster, lies turned, has cells that are not square or a CRS
             that does not count in metres, or layers differ in CRS or grid
    """
    grids = [_grid_of(name, path) for name, path in named]
    wanted = grids[0] if onto is None else _grid_of(Path(onto).name, onto)
    first = named[0][0] if onto is None else Path(onto).name
    for (name, _), grid in zip(named, grids):
        if not _same_crs(grid.crs_wkt, wanted.crs_wkt):
            raise InputProblem(f"{name} is in {_crs_name(grid.crs_wkt)}, {first} in "
                               f"{_crs_name(wanted.crs_wkt)}. Warp one of them.")
        if onto is None and not _same_grid(grid, wanted):
            raise InputProblem(
                f"{name} lies on another grid than {first}: {_told(grid)} and {_told(wanted)}. "
                "Name the grid that all are to be brought onto, or resample it first.")
    layers = [_layer(name, path, grid, wanted)
              for (name, path), grid in zip(_told_apart(named), grids)]
    return layers, wanted


def _layer(name, path, grid, wanted):
    surface = _surface(path)
    unit = "" if surface is None else surface.unit
    sites = None if surface is None else sites_of(surface)
    if not _same_grid(grid, wanted):
        values = covariate_sampler([path])(wanted.centres())[:, 0].reshape(wanted.shape)
        return GridLayer(name, unit, values, None, sites)
    if surface is not None:
        return GridLayer(name, unit, surface.estimate, surface.standard_error, sites)
    with strict_ogr():
        raster = gdal.Open(str(path))  # a band lives no longer than its raster
        band = raster.GetRasterBand(1)
        values = band.ReadAsArray().astype(float)
        if band.GetNoDataValue() is not None:
            values[values == band.GetNoDataValue()] = np.nan
    return GridLayer(name, unit, values)


def _surface(path):
    with strict_ogr():
        if "ACCOUNT" not in gdal.Open(str(path)).GetMetadata(DOMAIN):
            return None
    return read_surface(path)


def _grid_of(name, path):
    with strict_ogr():
        try:
            raster = gdal.Open(str(path))
        except RuntimeError as problem:
            raise InputProblem(f"{name} cannot be read as a raster: {problem}.") from problem
        west, across, turn, north, other_turn, down = raster.GetGeoTransform()
        wkt, rows, columns = raster.GetProjection(), raster.RasterYSize, raster.RasterXSize
        if not wkt or not in_metres(spatial_reference(wkt)):
            raise InputProblem(f"{name} is in {_crs_name(wkt)}, which does not count in metres. "
                               "Warp it to the field's UTM zone first.")
    if turn or other_turn or across <= 0 or down >= 0:
        raise InputProblem(f"{name} does not lie north up. Warp it first.")
    if abs(across + down) > 1e-6 * across:
        raise InputProblem(f"{name} has cells of {across:g} by {-down:g} m. Resample it to square "
                           "ones first.")
    if rows * columns > MOST_CELLS:
        raise InputProblem(f"{name} has {rows * columns:,} cells; at most {MOST_CELLS:,} are read. "
                           "Clip it to the field, or resample it.")
    return Grid(west, north, across, rows, columns, wkt)


def _same_grid(one, other):
    least = 1e-6 * other.cell_m
    return (one.shape == other.shape and abs(one.cell_m - other.cell_m) * max(one.shape) < least
            and abs(one.west_m - other.west_m) < least
            and abs(one.north_m - other.north_m) < least)


def _same_crs(one, other):
    with strict_ogr():
        return bool(spatial_reference(one).IsSame(spatial_reference(other)))


def _crs_name(wkt):
    if not wkt:
        return "no CRS"
    with strict_ogr():
        reference = osr.SpatialReference(wkt)
        code = reference.GetAuthorityCode(None)
        return f"{reference.GetAuthorityName(None)}:{code}" if code else reference.GetName()


def _told(grid):
    return (f"{grid.rows} by {grid.columns} cells of {grid.cell_m:g} m from "
            f"{grid.west_m:.10g}, {grid.north_m:.10g}")


def _told_apart(named):
    names = [name for name, _ in named]
    return [(name if names.count(name) == 1 else f"{name} {names[:number].count(name) + 1}", path)
            for number, (name, path) in enumerate(named)]
