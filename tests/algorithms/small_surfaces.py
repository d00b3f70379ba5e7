"""Surfaces over the small calls' field, with values set by hand."""
import numpy as np
import shapely

from plugin.core.surface import Surface
from plugin.layers.boundary import grid_over, inside_shares
from plugin.layers.rasters import write_surface
from plugin.layers.strict_ogr import spatial_reference
from tests.algorithms.small_calls import FIELD_WKT, stops

FIELD = shapely.from_wkt(FIELD_WKT)
WKB = shapely.to_wkb(FIELD)


def grid_of(cell_m=20.0, epsg=32615):
    return grid_over(WKB, cell_m, spatial_reference(f"EPSG:{epsg}").ExportToWkt())


def write_by_hand(path, value, *, unit, error=0.0, name="Stand", cell_m=20.0, model=None,
                  sites=True, **account):
    """Write a surface whose cells hold value(easting, northing); return the path.

    It carries the stops as its readings, without error, and the covariance model of draws;
    further keywords go to its account.
    """
    grid = grid_of(cell_m)
    inside = inside_shares(WKB, grid)
    values = np.array([value(x, y) for x, y in grid.centres()], float).reshape(grid.shape)
    estimate = np.where(inside > 0, values, np.nan)
    told = {
        "verdict": "Made by hand.", "method": "ordinary kriging", "places": 24,
        "model": model or {"family": "nugget", "nugget": 0.0, "partial_sill": 0.0},
        "sites": [[x, y, value(x, y), 0.0] for x, y in stops()] if sites else None,
        **account}
    write_surface(path, Surface(name, unit, grid, inside, estimate,
                                np.where(inside > 0, error, np.nan), told), {})
    return path
