"""Surfaces as GeoTIFF: estimate in band 1, standard error in band 2, the account as metadata.

Further bands hold what the mean follows, of a surface of which it follows other layers.
"""
import json
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from osgeo import gdal

from ..core.grid import Grid
from ..core.long_call import long_call
from ..core.problems import InputProblem
from ..core.surface import Surface
from .beside import beside
from .json_files import DOMAIN, json_text
from .strict_ogr import strict_ogr

BANDS = ("estimate", "standard error")
TILE = 256          # cells along the sides of a tile of the file
WINDOW_TILES = 8    # read or written between two ticks: 4 MB a band, some 0.1 s to compress


@contextmanager
def without_side_files():
    """Keep GDAL, in this thread, from writing statistics beside rasters opened in the block."""
    before = gdal.GetThreadLocalConfigOption("GDAL_PAM_ENABLED")
    gdal.SetThreadLocalConfigOption("GDAL_PAM_ENABLED", "NO")
    try:
        yield
    finally:
        gdal.SetThreadLocalConfigOption("GDAL_PAM_ENABLED", before)


@contextmanager
def without_traces():
    """Let QGIS open rasters as layers in the block, in this thread, as if they were only read.

    For a layer's first colours QGIS asks GDAL for statistics, which GDAL would keep beside the
    file, and of which it complains where all values are alike.
    """
    with without_side_files():
        gdal.PushErrorHandler("CPLQuietErrorHandler")
        try:
            yield
        finally:
            gdal.PopErrorHandler()


def surface_crs(path):
    """Return the CRS of a raster as WKT, "" where it has none; None where it is no raster."""
    with strict_ogr():
        try:
            reference = gdal.Open(str(path)).GetSpatialRef()
        except RuntimeError:
            return None
        return "" if reference is None else reference.ExportToWkt(["FORMAT=WKT2_2019"])


def write_surface(path, surface, made, *, tick=None):
    """Write a surface to a GeoTIFF, whole or not at all.

    Parameters
        path     the file; one already there is replaced
        surface  Surface
        made     dict of how it was made (algorithm, version, settings, SHA-256 of the readings)
        tick     called with the fraction done; may raise Stopped, and nothing is written
    Raises   InputProblem: the file cannot be written
    """
    bands = [*zip(BANDS, (surface.estimate, surface.standard_error)),
             *zip(_followed(surface.account), () if surface.covariates is None
                  else surface.covariates)]
    write_bands(path, surface.grid, bands, units=(surface.unit,) * len(BANDS), tick=tick,
                metadata={"NAME": surface.name, "UNIT": surface.unit,
                          "ACCOUNT": json_text(surface.account), "MADE": json_text(made)})


def write_bands(path, grid, bands, *, units=(), metadata=None, tick=None):
    """Write named bands to a GeoTIFF, whole or not at all.

    Parameters
        path      the file; one already there is replaced
        bands     (name, values (rows, columns)) of each band; NaN is no value
        units     of the bands in turn; those beyond have none
        metadata  dict of texts, kept in this program's domain
        tick      called with the fraction done; may raise Stopped, and nothing is written
    Raises   InputProblem: the file cannot be written
    """
    bands = list(bands)
    with beside(path) as unfinished, strict_ogr():
        try:
            raster = gdal.GetDriverByName("GTiff").Create(
                str(unfinished), grid.columns, grid.rows, len(bands), gdal.GDT_Float64,
                ["COMPRESS=DEFLATE", "PREDICTOR=3", "TILED=YES", "INTERLEAVE=BAND",
                 f"BLOCKXSIZE={TILE}", f"BLOCKYSIZE={TILE}"])
            raster.SetGeoTransform((grid.west_m, grid.cell_m, 0, grid.north_m, 0, -grid.cell_m))
            raster.SetProjection(grid.crs_wkt)
            raster.SetMetadata(metadata or {}, DOMAIN)
            for number, (name, _) in enumerate(bands, start=1):
                band = raster.GetRasterBand(number)
                band.SetNoDataValue(float("nan"))
                band.SetDescription(name)
                band.SetUnitType(units[number - 1] if number <= len(units) else "")
            for number, (_, values) in enumerate(bands):
                band = raster.GetRasterBand(number + 1)
                for done, (rows, columns) in windows(grid):
                    band.WriteArray(values[rows, columns], columns.start, rows.start)
                    band.FlushCache()  # else all of it is compressed at the end, in one go
                    _tell(tick, (number + done) / len(bands))
            raster.FlushCache()
            band = raster = None
        except RuntimeError as problem:
            raise InputProblem(f"{Path(path).name} could not be written: {problem}.") from problem


def read_surface(path, inside_of=None, *, tick=None):
    """Read a surface that write_surface wrote.

    Parameters
        path       the GeoTIFF
        inside_of  a function of the Grid that returns each cell's share in the field; without
                   it a cell counts whole where it has an estimate
        tick       called with the fraction read; may raise Stopped
    Returns  Surface; its account also holds "made"
    Raises   InputProblem: the file is no surface of this program, or holds no value
    """
    name = Path(path).name
    with strict_ogr():
        try:
            raster = gdal.Open(str(path))
        except RuntimeError as problem:
            raise InputProblem(f"{name} cannot be read as a raster: {problem}.") from problem
        metadata = raster.GetMetadata(DOMAIN)
        if raster.RasterCount < len(BANDS) or "ACCOUNT" not in metadata:
            raise InputProblem(f"{name} is no surface made by Spadework: it lacks a standard error "
                               "or the account of how it was made. Make it with Surface.")
        account = json.loads(metadata["ACCOUNT"]) | {"made": json.loads(metadata["MADE"])}
        followed = _followed(account)
        if raster.RasterCount != len(BANDS) + len(followed):
            raise InputProblem(f"{name} holds {raster.RasterCount} bands; with the layers that its "
                               f"mean follows ({', '.join(followed) or 'none'}) it should hold "
                               f"{len(BANDS) + len(followed)}. Make it again with Surface.")
        west, cell, _, north, _, _ = raster.GetGeoTransform()
        grid = Grid(west, north, cell, raster.RasterYSize, raster.RasterXSize,
                    raster.GetProjection())
        bands = _read_bands(raster, grid, tick)
        estimate, standard_error = bands[:len(BANDS)]
    known = long_call(lambda: np.isfinite(estimate), tick, 1.0)
    if not known.any():
        raise InputProblem(f"{name} holds no value.")
    if inside_of is None:
        inside = long_call(lambda: known.astype(float), tick, 1.0)
    else:
        inside = inside_of(grid)
        inside[~known] = 0.0
    return Surface(metadata["NAME"], metadata.get("UNIT", ""), grid, inside, estimate,
                   standard_error, account, bands[len(BANDS):] if followed else None)


def windows(grid):
    """Yield windows of whole tiles: the fraction of the grid done after it, rows, columns."""
    wide = TILE * WINDOW_TILES
    starts = [(row, column) for row in range(0, grid.rows, TILE)
              for column in range(0, grid.columns, wide)]
    for number, (row, column) in enumerate(starts, start=1):
        yield number / len(starts), (slice(row, min(row + TILE, grid.rows)),
                                     slice(column, min(column + wide, grid.columns)))


def _read_bands(raster, grid, tick):
    found = np.empty((raster.RasterCount, *grid.shape))
    for number, values in enumerate(found):
        band = raster.GetRasterBand(number + 1)
        for done, (rows, columns) in windows(grid):
            values[rows, columns] = band.ReadAsArray(
                columns.start, rows.start, columns.stop - columns.start, rows.stop - rows.start)
            _tell(tick, (number + done) / len(found))
    return found


def _followed(account):
    """Names of the layers that the mean of a surface follows, whose figures are further bands."""
    return [one["name"] for one in account.get("covariates", ())]


def _tell(tick, fraction):
    if tick is not None:
        tick(fraction)


def sites_of(surface):
    """Return where the readings of a surface lie, (n, 2) m; None where it does not say."""
    sites = surface.account.get("sites")
    return np.array([site[:2] for site in sites], float) if sites else None
