"""Zones by limits: each cell belongs to the class in which its value falls."""
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from ..long_call import long_call
from ..problems import InputProblem
from ..zone_map import OUTSIDE, ZoneMap
from .statistics import zone_map_of
from .workable import HEADLAND, WorkableShape, workable_classes

MOST_DIGITS = 10


@dataclass(frozen=True)
class DividedSurface:
    """The zones of a surface between limits.

    zone_map      ZoneMap
    low, high     limits of each zone, by its label; infinite where there is none
    """
    zone_map: ZoneMap
    low: np.ndarray
    high: np.ndarray

    def doubt(self, surface):
        """Return the chance (rows, columns) that a cell's value lies beyond its zone's limits.

        Of the two limits the likelier one to be passed counts, and classes beyond the neighbouring
        one count with it; the error of the surface is taken as normal. Cells that the zone took
        over from another class so that it can be worked are in doubt likewise. 0 outside.
        """
        field = self.zone_map.labels != OUTSIDE
        label, value = self.zone_map.labels[field], surface.estimate[field]
        error = surface.standard_error[field]
        chance = np.zeros(field.shape)
        chance[field] = np.maximum(_chance_below(self.low[label] - value, error),
                                   _chance_below(value - self.high[label], error))
        return chance


def _chance_below(distance, error):
    """Chance that a normal error of this standard error exceeds -distance."""
    sure = error == 0
    return np.where(sure, (distance > 0).astype(float),
                    ndtr(distance / np.where(sure, 1.0, error)))


def zones_by_limits(surface, limits, *, unit_text="", digits=MOST_DIGITS, shape=None, tick=None):
    """Return the zones of a surface between limits, one zone a class, connected or not.

    A value that equals a limit belongs to the class above it. A class in which no cell falls
    makes no zone. Zones are then given the shape that a machine asks for.

    Parameters
        surface    Surface
        limits     (k,) increasing, in the surface's unit, at least one
        unit_text  the unit as titles should show it; the surface's own when empty
        digits     significant digits of limits in titles, at most
        shape      WorkableShape; None leaves the classes as they fall
        tick       called with the fraction done; may raise Stopped
    Returns  DividedSurface
    Raises   InputProblem: no limit, limits that are not numbers or do not increase, a cell inside
             the field without a value, or as `workable_classes`
    """
    limits = np.atleast_1d(np.asarray(limits, float))
    if limits.ndim != 1 or not limits.size or not np.isfinite(limits).all():
        raise InputProblem(f"{surface.name}: enter at least one limit, each a number.")
    if (np.diff(limits) <= 0).any():
        wrong = int(np.argmax(np.diff(limits) <= 0))
        raise InputProblem(f"{surface.name}: limit {limits[wrong + 1]:g} follows "
                           f"{limits[wrong]:g}; enter the limits from the lowest to the highest.")
    field = surface.inside > 0
    tick = tick or (lambda fraction: None)
    classes, present = long_call(lambda: _classes(surface.estimate, field, limits), tick)
    classes = workable_classes(classes, surface.inside, cell_m=surface.grid.cell_m,
                               shape=shape or WorkableShape(),
                               tick=lambda part: tick(0.9 * part))
    titles = _titles(limits, unit_text or surface.unit, digits)
    zone_map = zone_map_of(surface.name, surface.unit, surface.grid, surface.inside, classes,
                           surface.estimate, [*(titles[one] for one in present), HEADLAND],
                           tick=lambda part: tick(0.9 + 0.1 * part))
    return DividedSurface(zone_map, *_limits_of_zones(zone_map, classes, present, limits))


def _classes(values, field, limits):
    """The class of each cell, of those that occur numbered from 0; and which of all occur."""
    between = np.searchsorted(limits, values[field], side="right")
    there = np.bincount(between, minlength=len(limits) + 1) > 0
    classes = np.full(field.shape, OUTSIDE)
    classes[field] = (np.cumsum(there) - 1).take(between)
    return classes, np.flatnonzero(there)


def _limits_of_zones(zone_map, classes, present, limits):
    """Return low and high limit of each zone; a headland has none."""
    low, high = np.append(-np.inf, limits)[present], np.append(limits, np.inf)[present]
    low, high = np.append(low, -np.inf), np.append(high, np.inf)
    class_of = np.zeros(len(zone_map.zones), int)
    field = zone_map.labels != OUTSIDE
    class_of[zone_map.labels[field]] = classes[field]
    return low[class_of], high[class_of]


def _titles(limits, unit, digits):
    shown = [f"{limit:,.{digits}g}" for limit in limits]
    between = [f"{low} to {high} {unit}" for low, high in zip(shown[:-1], shown[1:])]
    return tuple(title.strip() for title in
                 [f"below {shown[0]} {unit}", *between, f"{shown[-1]} {unit} or more"])
