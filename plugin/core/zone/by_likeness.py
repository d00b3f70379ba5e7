"""Zones by likeness: ground that is alike in several layers at once."""
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from ..long_call import long_call
from ..problems import InputProblem
from ..zone_map import OUTSIDE, ZoneMap
from .fuzzy_c_means import Neighbours, fuzzy_c_means, gather, k_means, memberships
from .standardised import standardised
from .statistics import zone_map_of
from .validity import best_count, confusion, validity
from .workable import HEADLAND, WorkableShape, workable_classes

FUZZY, HARD = "fuzzy c-means", "k-means"
METHODS = (FUZZY, HARD)
MOST_ZONES = 12


@dataclass(frozen=True)
class GridLayer:
    """One layer on a grid: values (rows, columns) in `unit`, NaN where there is none.

    standard_error  (rows, columns) in `unit`, or None
    sites_m         (n, 2) positions of the readings it was drawn from, metres, or None
    """
    name: str
    unit: str
    values: np.ndarray
    standard_error: np.ndarray = None
    sites_m: np.ndarray = None


@dataclass(frozen=True)
class LikenessSettings:
    """How cells are gathered.

    least, most  numbers of zones tried; the same for one number
    method       of METHODS
    fuzzifier    above 1; of k-means too, for the memberships about its centres
    smoothing    weight of the neighbours' membership, 0 for none; of fuzzy c-means alone
    starts, seed of the search for each number of zones
    """
    least: int = 2
    most: int = 6
    method: str = FUZZY
    fuzzifier: float = 1.5
    smoothing: float = 0.0
    starts: int = 10
    seed: int = 1

    def __post_init__(self):
        if not 2 <= self.least <= self.most <= MOST_ZONES:
            raise InputProblem(f"{self.least} to {self.most} zones were asked for; enter 2 to "
                               f"{MOST_ZONES}, the lower number first.")
        if not self.fuzzifier > 1:
            raise InputProblem(f"The fuzzifier is {self.fuzzifier:g}; enter a number above 1.")
        if not self.smoothing >= 0:
            raise InputProblem(f"The weight of neighbours is {self.smoothing:g}; enter 0 or more.")
        if self.starts < 1:
            raise InputProblem(f"{self.starts} starts were asked for; enter 1 or more.")
        if self.smoothing and self.method != FUZZY:
            raise InputProblem("Neighbours have no weight in k-means. Enter 0, or choose fuzzy "
                               "c-means.")


@dataclass(frozen=True)
class AlikeZones:
    """Zones of alike ground, and how sure they are.

    zone_map     ZoneMap, made workable; zones are numbered by their mean of the first layer
    memberships  (k, rows, columns) of each class before it was made workable, NaN without values;
                 classes are numbered by their centre's value of the first layer
    confusion    (rows, columns), 0 to 1
    found        Validity of each number of zones tried
    tried        Gathering of each
    count        classes chosen
    reason       why, one sentence
    left_out     cells of the field without a value in some layer; they lie in the nearest zone
    """
    zone_map: ZoneMap
    memberships: np.ndarray
    confusion: np.ndarray
    found: tuple
    tried: tuple
    count: int
    reason: str
    left_out: int


def zones_by_likeness(layers, grid, inside, settings, *, shape=None, tick=None):
    """Return zones of ground that is alike in all layers.

    Each layer is standardised over the cells that have a value in all of them; the others take no
    part, and get the zone of the nearest that does. Classes are gathered for each number of zones,
    the number is chosen by the indices, and the classes are then given the shape that a machine
    asks for: a zone is what is left of a class, connected or not.

    Parameters
        layers    GridLayers on the grid, one or more
        grid      Grid
        inside    (rows, columns) share of each cell in the field
        settings  LikenessSettings
        shape     WorkableShape; None leaves the classes as they fall
        tick      called with the fraction done; may raise Stopped
    Returns  AlikeZones
    Raises   InputProblem: a layer is not on the grid, has no value in the field or one alone, too
             few cells have all values, or as `workable_classes`
    """
    tick = tick or (lambda fraction: None)
    used = _cells_used(layers, grid, inside)
    if np.count_nonzero(used) < settings.most:
        raise InputProblem(f"Cells that have a value in every layer: {np.count_nonzero(used)}. "
                           f"They cannot make {settings.most} zones. Ask for fewer, or take layers "
                           "of smaller cells.")
    cloud = standardised(np.stack([layer.values[used] for layer in layers]),
                         [layer.name for layer in layers])
    neighbours = Neighbours(used, settings.smoothing) if settings.smoothing else None
    fuzzy = {"fuzzifier": settings.fuzzifier, "neighbours": neighbours}
    counts = range(settings.least, settings.most + 1)
    tried, found = [], []
    for number, count in enumerate(counts):
        method = ({"method": fuzzy_c_means, **fuzzy} if settings.method == FUZZY
                  else {"method": k_means})
        tried.append(gather(cloud, count, starts=settings.starts, seed=settings.seed, **method,
                            tick=lambda part, at=number: tick(0.7 * (at + part) / len(counts))))
        found.append(long_call(lambda: validity(cloud, memberships(cloud, tried[-1].centres,
                                                                   **fuzzy)),
                               tick, 0.7 * (number + 1) / len(counts)))
    count, reason = best_count(found)
    centres = tried[count - settings.least].centres
    shares = long_call(lambda: memberships(
        cloud, centres[np.argsort(centres[:, 0], kind="stable")], **fuzzy), tick, 0.7)
    tick(0.75)
    zone_map = _zone_map(layers[0], grid, inside, used, shares.argmax(axis=0),
                         shape or WorkableShape(), lambda part: tick(0.75 + 0.25 * part))
    return AlikeZones(
        zone_map=zone_map, memberships=np.stack([_on_grid(one, used) for one in shares]),
        confusion=_on_grid(confusion(shares), used), found=tuple(found), tried=tuple(tried),
        count=count, reason=reason, left_out=int(np.count_nonzero((inside > 0) & ~used)))


def _cells_used(layers, grid, inside):
    """Return the mask of cells of the field that have a value in every layer."""
    if not layers:
        raise InputProblem("No layer was given. Choose one or more.")
    used = np.asarray(inside) > 0
    if used.shape != grid.shape:
        raise InputProblem(f"Shares of shape {used.shape} came with a grid of {grid.shape}.")
    for layer in layers:
        if layer.values.shape != grid.shape:
            raise InputProblem(f"{layer.name}: values of shape {layer.values.shape} came with a "
                               f"grid of {grid.shape}.")
        if not np.isfinite(layer.values).any():
            raise InputProblem(f"{layer.name} has no value in any cell. Leave it out.")
    for layer in layers:
        known = np.isfinite(layer.values)
        if not (known & (np.asarray(inside) > 0)).any():
            raise InputProblem(f"{layer.name} has no value inside the field. Leave it out, or "
                               "choose one that covers the field.")
        used &= known
    if not used.any():
        raise InputProblem("No cell of the field has a value in every layer: "
                           f"{', '.join(layer.name for layer in layers)}. Leave out the one that "
                           "covers another part.")
    return used


def _zone_map(first, grid, inside, used, label, shape, tick):
    classes = np.full(grid.shape, OUTSIDE)
    classes[used] = label
    nearest = long_call(lambda: ndimage.distance_transform_edt(
        ~used, return_distances=False, return_indices=True), tick)
    classes = np.where(np.asarray(inside) > 0, classes[tuple(nearest)], OUTSIDE)
    present, number = long_call(lambda: np.unique(classes[classes != OUTSIDE],
                                                  return_inverse=True), tick)
    classes[classes != OUTSIDE] = number
    classes = workable_classes(classes, inside, cell_m=grid.cell_m, shape=shape,
                               tick=lambda part: tick(0.9 * part))
    values = first.values.copy()
    values[~used] = first.values[tuple(nearest)][~used]
    titles = [*(f"class {one + 1}" for one in present), HEADLAND]
    return zone_map_of(first.name, first.unit, grid, inside, classes, values, titles,
                       tick=lambda part: tick(0.9 + 0.1 * part))


def _on_grid(values, used):
    made = np.full(used.shape, np.nan)
    made[used] = values
    return made
