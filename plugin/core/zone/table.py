"""What a layer says of each zone: mean, spread, error, readings, and how much zones explain."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem
from ..zone_map import OUTSIDE


@dataclass(frozen=True)
class LayerFigures:
    """Figures of one layer, one of each per zone, in the layer's unit.

    mean, deviation   of its cells, each weighing by its share inside the field
    error             standard error of a typical cell (root mean square); None where not known
    readings          number of readings inside; None where the layer does not tell where they are
    explained         share of the layer's variance that lies between the zones, 0 to 1; 0 where the
                      layer does not vary
    """
    mean: np.ndarray
    deviation: np.ndarray
    error: np.ndarray
    readings: np.ndarray
    explained: float


def layer_figures(zone_map, values, *, standard_error=None, sites_m=None):
    """Return the LayerFigures of a layer on the grid of a zone map.

    Cells without a value do not count; a zone without any has NaN. A reading counts in the zone of
    the cell it lies in. The share explained is that of the cells the zones were made from, where
    the layer took part in making them: it flatters.

    Parameters
        zone_map        ZoneMap
        values          (rows, columns), any unit
        standard_error  (rows, columns) in that unit, or None
        sites_m         (n, 2) positions of readings, metres, or None
    Raises   InputProblem: the values are not on the zone map's grid
    Source   share explained: 1 - sum of squares within / total, area-weighted, common practice
    """
    values = np.asarray(values, float)
    if values.shape != zone_map.grid.shape:
        raise InputProblem(f"Values of shape {values.shape} came with zones on a grid of "
                           f"{zone_map.grid.shape}.")
    labels, count = zone_map.labels, len(zone_map.zones)
    known = (labels != OUTSIDE) & np.isfinite(values)
    label, value, share = labels[known], values[known], zone_map.inside[known]
    mean = _means(label, share, value, count)
    deviation = np.sqrt(_means(label, share, (value - mean[label])**2, count))
    error = None
    if standard_error is not None:
        error = np.sqrt(_means(label, share, np.asarray(standard_error, float)[known]**2, count))
    readings = None
    if sites_m is not None:
        cell = zone_map.grid.cells_of(sites_m)
        inside = labels.ravel()[cell[cell >= 0]]
        readings = np.bincount(inside[inside != OUTSIDE], minlength=count)
    return LayerFigures(mean, deviation, error, readings,
                        variance_explained(label, share, value, mean))


def variance_explained(label, weight, value, mean):
    """Return the share of the weighted variance that lies between zones, 0 where there is none.

    Parameters
        label, weight, value  (n,)
        mean                  weighted mean of each label
    """
    if not weight.sum() > 0:
        return 0.0
    total = (weight * (value - np.average(value, weights=weight))**2).sum()
    within = (weight * (value - mean[label])**2).sum()
    return float(1 - within / total) if total > 0 else 0.0


def _means(label, weight, value, count):
    sums = np.bincount(label, weight * value, minlength=count)
    weights = np.bincount(label, weight, minlength=count)
    return np.divide(sums, weights, out=np.full(count, np.nan), where=weights > 0)
