"""The mean of a surface over the whole field, and its standard error."""
import numpy as np

from .draws_of_surface import draws_of_surface


def field_mean(surface, *, seed=0):
    """Return the area-weighted mean of a surface and its standard error, or None for the latter.

    The error is that of the mean over the field, from draws of it; it is not known for a surface
    that does not carry its readings.
    """
    field = surface.inside > 0
    mean = float(np.average(surface.estimate[field], weights=surface.inside[field]))
    if surface.account.get("sites") is None:
        return mean, None
    cells, draws = draws_of_surface(surface, seed=seed)
    weights = surface.inside.flat[cells]
    return mean, float((draws @ weights / weights.sum()).std(ddof=1))


def area_at_least(surface, level):
    """Return the area, m2, where a surface is at or above a level."""
    return float(surface.inside[surface.estimate >= level].sum() * surface.grid.cell_area_m2)
