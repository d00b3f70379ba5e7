"""Zone statistics: area, mean and spread of a value in each zone of a label grid."""
import numpy as np

from ..long_call import long_call
from ..problems import InputProblem
from ..zone_map import OUTSIDE, Zone, ZoneMap


def zone_map_of(name, unit, grid, inside, labels, values, titles, *, tick=None):
    """Return the ZoneMap of a label grid, its zones numbered from 0 in order of their mean value.

    Zones of equal mean keep the order of their labels. Each cell weighs by its share inside the
    field, in the area, the mean and the standard deviation alike; the latter divides by the
    total weight, as it describes the cells that are there and estimates nothing.

    Parameters
        name    what the map is called
        unit    of `values`
        grid    Grid
        inside  (rows, columns) share of each cell in the field
        labels  (rows, columns) integers of any numbering; every cell with a share has one
        values  (rows, columns) in `unit`, finite where `inside` is above 0
        titles  title of each label: a mapping, or a sequence numbered by label
        tick    called now and then with 0; may raise Stopped
    Returns  ZoneMap; OUTSIDE where `inside` is 0
    Raises   InputProblem: a shape is not the grid's, no cell is inside, a cell inside has no
             label or no value
    """
    inside, values = np.asarray(inside, float), np.asarray(values, float)
    labels = np.asarray(labels)
    for part, shape in (("shares", inside.shape), ("labels", labels.shape),
                        ("values", values.shape)):
        if shape != grid.shape:
            raise InputProblem(f"{name}: {part} of shape {shape} came with a grid of "
                               f"{grid.shape}.")
    return long_call(lambda: _zone_map_of(name, unit, grid, inside, labels, values, titles), tick)


def _zone_map_of(name, unit, grid, inside, labels, values, titles):
    field = inside > 0
    if not field.any():
        raise InputProblem(f"{name}: no cell of the grid lies inside the field.")
    lacking = np.count_nonzero((labels[field] == OUTSIDE) | ~np.isfinite(values[field]))
    if lacking:
        raise InputProblem(f"{name}: {lacking} of {np.count_nonzero(field)} cells inside the "
                           "field have no zone or no value.")
    found = labels_there(labels)
    number = np.searchsorted(found, labels[field])
    share = inside[field]
    weight = np.bincount(number, share)
    mean = np.bincount(number, share * values[field]) / weight
    spread = np.sqrt(np.bincount(number, share * (values[field] - mean[number])**2) / weight)
    order = np.argsort(mean, kind="stable")
    rank = np.empty(len(order), int)
    rank[order] = np.arange(len(order))
    renumbered = np.full(grid.shape, OUTSIDE)
    renumbered[field] = rank[number]
    zones = tuple(
        Zone(label=label, title=titles[found[old]], area_m2=float(weight[old] * grid.cell_area_m2),
             mean=float(mean[old]), standard_deviation=float(spread[old]))
        for label, old in enumerate(order))
    return ZoneMap(grid=grid, inside=inside, labels=renumbered, zones=zones, name=name, unit=unit)


def labels_there(labels):
    """Return the labels of a grid, ascending, without OUTSIDE."""
    begins = np.ones(labels.shape, bool)  # of the cells of a row with one label the first will do
    begins[:, 1:] = labels[:, 1:] != labels[:, :-1]
    there = np.unique(labels[begins])
    return there[there != OUTSIDE]
