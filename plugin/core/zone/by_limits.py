"""Zones by limits: each cell belongs to the class in which its value falls."""
import numpy as np

from ..problems import InputProblem
from ..zone_map import OUTSIDE
from .statistics import zone_map_of


def zones_by_limits(surface, limits, *, unit_text="", tick=None):
    """Return the zones of a surface between limits, one zone a class, connected or not.

    A value that equals a limit belongs to the class above it. A class in which no cell falls
    makes no zone.

    Parameters
        surface    Surface
        limits     (k,) increasing, in the surface's unit, at least one
        unit_text  the unit as titles should show it; the surface's own when empty
        tick       called with the fraction done; may raise Stopped
    Returns  ZoneMap
    Raises   InputProblem: no limit, limits that are not numbers or do not increase, or a cell
             inside the field without a value
    """
    limits = np.atleast_1d(np.asarray(limits, float))
    if limits.ndim != 1 or not limits.size or not np.isfinite(limits).all():
        raise InputProblem(f"{surface.name}: enter at least one limit, each a number.")
    if (np.diff(limits) <= 0).any():
        wrong = int(np.argmax(np.diff(limits) <= 0))
        raise InputProblem(f"{surface.name}: limit {limits[wrong + 1]:g} follows "
                           f"{limits[wrong]:g}; enter the limits from the lowest to the highest.")
    classes = np.where(surface.inside > 0, np.searchsorted(limits, surface.estimate, side="right"),
                       OUTSIDE)
    return zone_map_of(surface.name, surface.unit, surface.grid, surface.inside, classes,
                       surface.estimate, _titles(limits, unit_text or surface.unit), tick=tick)


def _titles(limits, unit):
    shown = [f"{limit:,.10g}" for limit in limits]
    between = [f"{low} to {high} {unit}" for low, high in zip(shown[:-1], shown[1:])]
    return tuple(title.strip() for title in
                 [f"below {shown[0]} {unit}", *between, f"{shown[-1]} {unit} or more"])
