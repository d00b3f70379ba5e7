"""Zones shaped so that a machine can run them."""
from dataclasses import dataclass
from math import ceil, isfinite

import numpy as np

from ..problems import InputProblem
from ..zone_map import OUTSIDE
from .headland import headland
from .smallest_area import merge_small
from .smallest_width import at_least_as_wide
from .smooth import mode_filter
from .window import ROUNDING, disk, opened, strip

HEADLAND = "headland"  # title of the zone that headlands make


@dataclass(frozen=True)
class WorkableShape:
    """What the machine asks of a zone; 0 asks nothing.

    machine_width_m    ragged edges are smoothed over it
    heading_deg        of the rows, clockwise from north; None: no direction counts
    smallest_area_m2   smaller patches join a neighbour, which also closes small holes
    smallest_width_m   across the rows, to the cell
    smallest_length_m  along the rows, to the cell; as the width where it is less
    headland_m         width of a zone of its own along the boundary
    ordered            classes are ranks, such as depths to work: no cell takes a lower one
    """
    machine_width_m: float = 0.0
    heading_deg: float = None
    smallest_area_m2: float = 0.0
    smallest_width_m: float = 0.0
    smallest_length_m: float = 0.0
    headland_m: float = 0.0
    ordered: bool = False

    def __post_init__(self):
        for name in ("machine_width_m", "smallest_area_m2", "smallest_width_m",
                     "smallest_length_m", "headland_m"):
            value = getattr(self, name)
            if not (isfinite(value) and value >= 0):
                raise InputProblem(f"{name} is {value:g}; enter 0 or more.")

    def smoothing_window(self, cell_m):
        """Return the Window as wide as the machine, None where it is no wider than a cell."""
        if not radius_of_width(self.machine_width_m, cell_m):
            return None
        across = self.machine_width_m / cell_m
        return (disk(across / 2) if self.heading_deg is None
                else strip(across, across, self.heading_deg))

    def smallest_window(self, cell_m):
        """Return the Window that must fit everywhere in a zone, None where one cell does."""
        across = _between_centres(self.smallest_width_m, cell_m)
        along = max(across, _between_centres(self.smallest_length_m, cell_m))
        if not along:
            return None
        return disk(along / 2) if self.heading_deg is None else strip(along, across,
                                                                      self.heading_deg)


def _between_centres(width_m, cell_m):
    """Cells between the outermost centres of an odd number of cells at least this wide."""
    return max(0, 2 * ceil((width_m / cell_m - 1) / 2 - ROUNDING))


def radius_of_width(machine_width_m, cell_m):
    """Return the smoothing radius, cells, whose disk is as wide as the machine; 0 for none.

    A machine no wider than a cell needs no smoothing.
    """
    radius = machine_width_m / cell_m / 2
    return radius if radius > 0.5 else 0.0


def workable_classes(classes, inside, *, cell_m, shape, tick=None):
    """Return classes that a machine can run: smoothed, wide enough, large enough.

    Headlands, where asked for, are cut off first and left as they are, as one class of their own,
    the number after the highest. In the rest, edges are smoothed by the most common class within
    the machine's width; what is narrower than the smallest width goes to its neighbours; patches
    below the smallest area join the neighbour with the longest shared border. At the end both
    hold, but where the field itself is narrower or a patch has no neighbour.

    Parameters
        classes  (rows, columns) integers from 0, OUTSIDE where `inside` is 0
        inside   (rows, columns) share of each cell in the field
        cell_m   side of a cell
        shape    WorkableShape
        tick     called with the fraction done; may raise Stopped
    Returns  (rows, columns) classes
    Raises   InputProblem: as `mode_filter`, `merge_small` and `headland`
    """
    tick = tick or (lambda fraction: None)
    classes, inside = np.asarray(classes), np.asarray(inside, float)
    if shape.headland_m:
        along_edge = headland(inside, cell_m=cell_m, width_m=shape.headland_m)
        kept = np.where(along_edge, OUTSIDE, classes)
        inner = _shaped(kept, np.where(along_edge, 0.0, inside), cell_m, shape, tick)
        return np.where(along_edge, classes.max() + 1, inner)
    return _shaped(classes, inside, cell_m, shape, tick)


def _shaped(classes, inside, cell_m, shape, tick):
    smoothing, smallest = shape.smoothing_window(cell_m), shape.smallest_window(cell_m)
    if smoothing is not None:
        classes = mode_filter(classes, inside, smoothing, ordered=shape.ordered,
                              tick=lambda part: tick(0.2 * part))
    tick(0.2)
    while True:
        if smallest is not None:
            classes = at_least_as_wide(classes, smallest, ordered=shape.ordered,
                                       tick=lambda part: tick(0.2 + 0.6 * part))
        classes = merge_small(classes, inside, cell_area_m2=cell_m**2, ordered=shape.ordered,
                              smallest_area_m2=shape.smallest_area_m2,
                              tick=lambda part: tick(0.8 + 0.2 * part))
        # A patch that joins another leaves both as wide as they were; one enlarged may not.
        if not shape.ordered or smallest is None or _as_wide(classes, smallest):
            break
    tick(1.0)
    return classes


def _as_wide(classes, window):
    field = np.where(classes == OUTSIDE, OUTSIDE, 0)
    return not (opened(field, window) & ~opened(classes, window)).any()
