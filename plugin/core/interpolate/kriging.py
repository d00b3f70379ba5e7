"""Ordinary kriging of the underlying value: readings' own errors are filtered out."""
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

from ..problems import InputProblem

GLOBAL_MOST = 600      # readings up to which all of them weigh on every target
BLOCK_NUMBERS = 4_000_000  # numbers in one block of covariances: 32 MB
LOCAL_NUMBERS = 2_000_000  # numbers in one batch of local systems: 16 MB


@dataclass(frozen=True)
class Kriged:
    """Estimates (m,) or (m, d), one column per set of values, and their variance (m,)."""
    estimate: np.ndarray
    variance: np.ndarray


def krige(positions_m, values, error_variance, model, targets_m, *, neighbours=None, tick=None):
    """Estimate the underlying value at targets by ordinary kriging, and the variance of its error.

    The variance is that of the value on the support of one reading, the nugget included, the
    readings' own errors not. With no nugget and no error variance a target on a reading takes
    its value; else readings are smoothed. A model without structure gives the mean, weighed by
    the errors. Up to GLOBAL_MOST readings all of them are used; beyond that, or where
    `neighbours` says so, the nearest ones. Memory is bounded by BLOCK_NUMBERS and
    LOCAL_NUMBERS whatever the number of targets; time grows with targets x readings.

    Parameters
        positions_m     (n, 2) metres, n at least 1
        values          (n,) or (n, d) any unit; d sets of values share the work
        error_variance  (n,) known error variance of each value, unit squared
        model           CovarianceModel
        targets_m       (m, 2) metres
        neighbours      readings that weigh on one target; None: all, or 32 beyond GLOBAL_MOST
        tick            called with the fraction done after each block; may raise Stopped
    Returns  Kriged
    Raises   InputProblem: fewer than one neighbour, or the readings do not determine the estimates
             (readings at one place without a nugget or an error of their own)
    Source   Webster and Oliver (2007), Geostatistics for Environmental Scientists, 8.2; known
             error variances: Delhomme (1978), Advances in Water Resources 1:251-266
    """
    positions = np.asarray(positions_m, float)
    values, errors = np.asarray(values, float), np.asarray(error_variance, float)
    targets = np.asarray(targets_m, float)
    if neighbours is None and len(positions) > GLOBAL_MOST:
        neighbours = 32
    if neighbours is not None and neighbours < 1:
        raise InputProblem(f"{neighbours} neighbours were asked for; at least 1 is needed.")
    if not model.structured:
        return _mean_everywhere(values, errors, model, targets, tick)
    if neighbours is None or neighbours >= len(positions):
        return _krige_global(positions, values, errors, model, targets, tick)
    return _krige_local(positions, values, errors, model, targets, neighbours, tick)


def reading_covariance(positions_m, error_variance, model):
    """Return the (n, n) covariance of the readings, nugget and own errors on the diagonal.

    Raises   InputProblem: readings with neither nugget nor error share a place
    """
    positions, errors = np.asarray(positions_m, float), np.asarray(error_variance, float)
    _check_places(positions, errors, model)
    matrix = model.covariance(cdist(positions, positions))
    matrix[np.diag_indices_from(matrix)] += model.nugget + errors
    return matrix


def mean_without_structure(values, error_variance, model):
    """Return the mean of readings that tell nothing of each other, and the mean's variance.

    Each weighs by one over its nugget and error; readings with neither, which are exact, share
    all the weight, and the variance is 0.

    Parameters
        values          (n,) or (n, d) any unit
        error_variance  (n,) unit squared
        model           CovarianceModel without structure
    Returns  the mean, a number or (d,), and its variance
    """
    variance = model.nugget + np.asarray(error_variance, float)
    exact = variance == 0
    if exact.any():
        return np.asarray(values, float)[exact].mean(axis=0), 0.0
    weight = 1 / variance
    return weight @ np.asarray(values, float) / weight.sum(), 1 / weight.sum()


def _mean_everywhere(values, errors, model, targets, tick):
    mean, variance = mean_without_structure(values, errors, model)
    if tick is not None:
        tick(1.0)
    return Kriged(np.tile(mean, (len(targets), *[1] * (values.ndim - 1))),
                  np.full(len(targets), model.sill + variance))


def _krige_global(positions, values, errors, model, targets, tick):
    factor = _factor(reading_covariance(positions, errors, model))
    ones = solve_triangular(factor[0], np.ones(len(positions)), lower=True)
    information = ones @ ones  # of the mean
    mean = cho_solve(factor, values).sum(axis=0) / information
    residual = cho_solve(factor, values - mean)
    estimate = np.empty((len(targets), *values.shape[1:]))
    variance = np.empty(len(targets))
    step = max(1, BLOCK_NUMBERS // len(positions))
    for start in range(0, len(targets), step):
        block = slice(start, start + step)
        across = model.covariance(cdist(positions, targets[block]))
        estimate[block] = mean + across.T @ residual
        half = solve_triangular(factor[0], across, lower=True, overwrite_b=False)
        variance[block] = (model.sill - np.einsum("ij,ij->j", half, half)
                           + (1 - ones @ half) ** 2 / information)
        if tick is not None:
            tick(min(start + step, len(targets)) / len(targets))
    return Kriged(estimate, np.maximum(variance, 0.0))


def _krige_local(positions, values, errors, model, targets, neighbours, tick):
    _check_places(positions, errors, model)
    tree = cKDTree(positions)
    estimate = np.empty((len(targets), *values.shape[1:]))
    variance = np.empty(len(targets))
    ranks = list(range(1, neighbours + 1))
    step = max(1, LOCAL_NUMBERS // neighbours**2)
    for start in range(0, len(targets), step):
        block = slice(start, start + step)
        apart, which = tree.query(targets[block], k=ranks)
        near = positions[which]
        matrix = model.covariance(np.linalg.norm(near[:, :, None] - near[:, None], axis=-1))
        diagonal = np.arange(neighbours)
        matrix[:, diagonal, diagonal] += model.nugget + errors[which]
        across = model.covariance(apart)
        right = np.stack([across, np.ones_like(across)], axis=-1)
        solved = _solve(matrix, right)
        by_across, by_ones = solved[..., 0], solved[..., 1]
        information = by_ones.sum(axis=1)
        multiplier = (1 - by_across.sum(axis=1)) / information
        weights = by_across + multiplier[:, None] * by_ones
        estimate[block] = np.einsum("mk,mk...->m...", weights, values[which])
        variance[block] = (model.sill - (across * by_across).sum(axis=1)
                           + multiplier**2 * information)
        if tick is not None:
            tick(min(start + step, len(targets)) / len(targets))
    return Kriged(estimate, np.maximum(variance, 0.0))


def _check_places(positions, errors, model):
    # rounding can hide such a singular matrix from the solvers, which then return noise
    exact = positions[model.nugget + errors == 0]
    if len(np.unique(exact, axis=0)) < len(exact):
        raise InputProblem(_UNDETERMINED.format(count=len(positions)))


def _factor(matrix):
    try:
        return cho_factor(matrix, lower=True)
    except np.linalg.LinAlgError as singular:
        raise InputProblem(_UNDETERMINED.format(count=len(matrix))) from singular


def _solve(matrices, right):
    try:
        return np.linalg.solve(matrices, right)
    except np.linalg.LinAlgError as singular:
        raise InputProblem(_UNDETERMINED.format(count=matrices.shape[1])) from singular


_UNDETERMINED = ("{count} readings do not determine the estimates: some share one place, and "
                 "neither a nugget nor an error of their own tells them apart. Average the "
                 "readings of a place, or give their errors.")
