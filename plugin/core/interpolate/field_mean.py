"""The mean of a surface over the whole field, and its standard error."""
import numpy as np
from scipy.fft import next_fast_len
from scipy.linalg import cho_solve

from .correlation import correlation, transformed
from .covariance import CovarianceModel
from .kriging import mean_without_structure
from .readings_system import factorised, reading_covariance
from .target_covariance import TargetCovariance

BLOCK_NUMBERS = 1_000_000  # covariances of readings with cells held at once: 8 MB


def field_mean(surface, *, tick=None):
    """Return the area-weighted mean of a surface and its standard error, or None for the latter.

    The error is that of the weighted mean over all cells together, the nugget independent from
    cell to cell, in closed form: what many simulated fields tend to. It is not known for a surface
    that does not carry its readings. Memory grows as some 70 bytes for each cell of the grid.
    `tick` is called with the fraction of cells done; it may raise Stopped.

    Source   Cressie (1993), Statistics for Spatial Data, 3.2 (kriging of a mean over an area;
             from memory)
    """
    tick = tick or (lambda fraction: None)
    field = surface.inside > 0
    mean = float(np.average(surface.estimate[field], weights=surface.inside[field]))
    if surface.account.get("sites") is None:
        return mean, None
    sites = np.asarray(surface.account["sites"], float)
    model = CovarianceModel(**surface.account["model"])
    weights = surface.inside / surface.inside.sum()
    own = model.nugget * (weights**2).sum()
    if not model.structured:
        return mean, float(np.sqrt(own + mean_without_structure(*sites[:, 2:].T, model)[1]))
    factor = factorised(reading_covariance(sites[:, :2], sites[:, 3], model))
    across = _with_readings(weights, surface.grid, sites, model, lambda part: tick(0.5 * part))
    solved, ones = cho_solve(factor, np.column_stack([across, np.ones(len(sites))])).T
    variance = (own - across @ solved + (1 - solved.sum())**2 / ones.sum()
                + _with_itself(weights, surface.grid, model, lambda part: tick(0.5 + 0.5 * part)))
    return mean, float(np.sqrt(max(variance, 0.0)))


def _with_readings(weights, grid, sites, model, tick):
    """Covariance (n,) of the readings with the weighted mean."""
    cells = np.flatnonzero(weights)
    toward, total = TargetCovariance(model), np.zeros(len(sites))
    size = max(1, BLOCK_NUMBERS // len(sites))
    for start in range(0, len(cells), size):
        part = cells[start:start + size]
        east, north = grid.centres(part).T
        total += toward.between(sites[:, :1] - east, sites[:, 1:2] - north) @ weights.flat[part]
        tick(min(start + size, len(cells)) / len(cells))
    return total


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
