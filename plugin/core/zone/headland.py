"""Headlands: the ground on which machines turn, along the boundary of the field."""
import numpy as np
from scipy import ndimage

from ..problems import InputProblem


def headland(inside, *, cell_m, width_m):
    """Return the mask of cells of the field whose centres lie within a width of its edge.

    The edge is taken to run where cells are half in and half out, which is true to half a cell;
    holes of the field have headlands too. Distance is straight to the nearest edge.

    Parameters
        inside   (rows, columns) share of each cell in the field
        width_m  above 0
    Returns  (rows, columns) bool
    Raises   InputProblem: nothing of the field lies within the headlands
    Source   common practice
    """
    inside = np.asarray(inside, float)
    within = np.pad(inside >= 0.5, 1)
    edge_m = (ndimage.distance_transform_edt(within)[1:-1, 1:-1] - 0.5) * cell_m
    found = (inside > 0) & (edge_m < width_m)
    if not ((inside > 0) & ~found).any():
        raise InputProblem(f"Headlands of {width_m:g} m leave nothing of the field. Enter a "
                           "smaller width, or 0 for none.")
    return found
