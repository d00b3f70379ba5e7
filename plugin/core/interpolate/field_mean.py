"""The mean of a surface over the whole field, and its standard error."""
import numpy as np
from scipy.fft import next_fast_len
from scipy.linalg import solve_triangular

from ..long_call import long_call
from .carried import carried
from .correlation import correlation, transformed
from .kriging import coefficients_without_structure
from .readings_system import ReadingsSystem, drift_columns
from .target_covariance import TargetCovariance

BLOCK_NUMBERS = 1_000_000  # covariances of readings with cells held at once: 8 MB


def field_mean(surface, *, tick=None):
    """Return the area-weighted mean of a surface and its standard error, or None for the latter.

    The error is that of the weighted mean over all cells together, the nugget independent from
    cell to cell, in closed form: what many simulated fields tend to; what the readings leave open
    of a drift is in it. It is not known for a surface that does not carry its readings. Memory
    grows as some 70 bytes for each cell of the grid. `tick` is called with the fraction of cells
    done; it may raise Stopped.

    Raises   InputProblem: as carried, of a surface with readings
    Source   Cressie (1993), Statistics for Spatial Data, 3.2 and 3.4 (kriging of a mean over an
             area, with drift; from memory)
    """
    tick = tick or (lambda fraction: None)
    mean = long_call(lambda: _plain_mean(surface), tick)
    if surface.account.get("sites") is None:
        return mean, None
    known = carried(surface)
    positions, values, errors, model = known.readings
    weights, cells, squares = long_call(lambda: _weights(surface.inside), tick)
    own = model.nugget * squares
    across, columns, weighed = _with_readings(weights, cells, surface.grid, known,
                                              lambda part: tick(0.5 * part))
    if not model.structured:
        root = coefficients_without_structure(values[:, None], errors, model, columns)[1]
        return mean, float(np.sqrt(own + np.square(root.T @ weighed).sum()))
    system = ReadingsSystem(positions, values[:, None], errors, model, columns)
    half = solve_triangular(system.lower, across, lower=True)
    left = solve_triangular(system.information, weighed - system.whitened.T @ half, lower=True)
    variance = (own - half @ half + left @ left
                + _with_itself(weights, surface.grid, model, lambda part: tick(0.5 + 0.5 * part)))
    return mean, float(np.sqrt(max(variance, 0.0)))


def _plain_mean(surface):
    field = surface.inside > 0
    return float(np.average(surface.estimate[field], weights=surface.inside[field]))


def _weights(inside):
    """Weights of the cells (rows, columns), the numbers of those that count, sum of squares."""
    weights = inside / inside.sum()
    return weights, np.flatnonzero(weights), np.square(weights).sum()


def _with_readings(weights, cells, grid, known, tick):
    """Covariance (n,) of the readings with the weighted mean; the drift's columns at the readings,
    (n, q), and their weighted mean over the cells, (q,)."""
    count = len(known.values)
    toward, total, weighed = TargetCovariance(known.model), np.zeros(count), 0.0
    east, north = known.positions_m[:, :1], known.positions_m[:, 1:]
    size = max(1, BLOCK_NUMBERS // count)
    for start in range(0, len(cells), size):
        part = cells[start:start + size]
        columns, in_cells = drift_columns(known.drift_toward(part), count, len(part))
        weighed = weighed + weights.flat[part] @ in_cells
        if known.model.structured:
            to_east, to_north = grid.centres(part).T
            total += toward.between(east - to_east, north - to_north) @ weights.flat[part]
        tick(min(start + size, len(cells)) / len(cells))
    return total, columns, weighed


def _with_itself(weights, grid, model, tick):
    """Variance of the weighted mean of the structured part: C(h) by how often h occurs.

    Of a step and its opposite, which occur as often, only that to the south is looked at.
    """
    shape = [next_fast_len(2 * side - 1, real=True) for side in grid.shape]
    told = transformed(weights, shape, lambda part: tick(0.4 * part))
    pairs = correlation(lambda some: np.abs(told[:, some])**2, shape, grid.rows - 1,
                        lambda part: tick(0.4 + 0.4 * part))
    step = np.arange(shape[1])
    east = np.where(2 * step > shape[1], step - shape[1], step) * grid.cell_m
    toward, total = TargetCovariance(model), 0.0
    for number, row in enumerate(pairs):
        found = float(row @ toward.between(east, -number * grid.cell_m))
        total += found if number == 0 else 2 * found
        tick(0.8 + 0.2 * number / grid.rows)
    return total


def mean_where(surface, chance, level):
    """Return the area-weighted mean of a surface where a chance is at least a level.

    The mean of the whole field where it is nowhere.
    """
    there = surface.inside * (chance.estimate >= level)
    weights = there if there.any() else surface.inside
    known = weights > 0
    return float(np.average(surface.estimate[known], weights=weights[known]))


def area_at_least(surface, level):
    """Return the area, m2, where a surface is at or above a level."""
    return float(surface.inside[surface.estimate >= level].sum() * surface.grid.cell_area_m2)
