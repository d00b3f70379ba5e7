"""A surface of a whole field, each cell with its share inside the boundary."""
from pathlib import Path

import numpy as np

from ..core.problems import InputProblem
from .boundary import area_m2, inside_shares
from .rasters import read_surface

LEAST_COVERED = 0.999  # share of the field; what is missing below it is more than a ragged edge


def surface_of_field(path, boundary_wkb, *, tick=None):
    """Read a surface and cut it to a field.

    `tick` is called with the fraction done; it may raise Stopped.

    Returns  Surface
    Raises   InputProblem: as read_surface, or the surface leaves a part of the field out: areas and
             money would be those of the rest
    """
    tick = tick or (lambda fraction: None)
    surface = read_surface(
        path, lambda grid: inside_shares(boundary_wkb, grid,
                                         tick=lambda part: tick(0.5 + 0.5 * part)),
        tick=lambda part: tick(0.5 * part))
    covered = _covered(surface.inside, surface.grid, boundary_wkb)
    if covered < LEAST_COVERED:
        raise InputProblem(f"{Path(path).name} covers {covered:.0%} of the field. Make the surface "
                           "again with this boundary.")
    return surface


def shares_of_field(grid, boundary_wkb, *, tick=None):
    """Return the share (rows, columns) of each cell in a field that lies on the grid.

    `tick` is called with the fraction done; it may raise Stopped.

    Raises   InputProblem: the grid leaves a part of the field out
    """
    inside = inside_shares(boundary_wkb, grid, tick=tick)
    covered = _covered(inside, grid, boundary_wkb)
    if covered < LEAST_COVERED:
        raise InputProblem(f"The layers' grid covers {covered:.0%} of the field. Choose layers "
                           "that cover it, or name a grid that does.")
    return inside


def shares_of_values(layers):
    """Return 1 for each cell that has a value in every GridLayer, else 0, (rows, columns)."""
    return np.logical_and.reduce([np.isfinite(layer.values) for layer in layers]).astype(float)


def _covered(inside, grid, boundary_wkb):
    return inside.sum() * grid.cell_area_m2 / area_m2(boundary_wkb)
