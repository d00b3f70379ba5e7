"""Kriging of the underlying value: readings' own errors are filtered out."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem
from .global_kriging import krige_global
from .local_kriging import krige_local
from .readings_system import drift_columns, factor_of_information, reading_covariance

GLOBAL_MOST = 600      # readings up to which all of them weigh on every target
BLOCK_NUMBERS = 250_000  # covariances in one block: 2 MB, so that they stay in the cache
LOCAL_NUMBERS = 4_000_000  # numbers in the local systems of one task of a thread

__all__ = ["Kriged", "coefficients_without_structure", "krige", "mean_without_structure",
           "reading_covariance"]


@dataclass(frozen=True)
class Kriged:
    """Estimates (m,) or (m, d), one column per set of values, and their variance (m,)."""
    estimate: np.ndarray
    variance: np.ndarray


def krige(positions_m, values, error_variance, model, targets_m, *, neighbours=None, drift=None,
          block_m=None, octants=False, tick=None):
    """Estimate the underlying value at targets by kriging, and the variance of its error.

    The variance is that of the value on the support of one reading, the nugget included, the
    readings' own errors not; with `block_m`, that of the mean over a square block around the
    target, over which the nugget averages out. With no nugget and no error variance a target on
    a reading takes its value; else readings are smoothed. A model without structure gives the
    mean, weighed by the errors. Up to GLOBAL_MOST readings all of them are used; beyond that, or
    where `neighbours` says so, the nearest ones, in the model's stretched distance. The mean is
    an unknown constant, or with `drift` (universal kriging) a constant and an unknown multiple
    of each drift column. Memory is bounded by BLOCK_NUMBERS and LOCAL_NUMBERS for each thread,
    besides some numbers for each target; time grows with the number of targets.

    Parameters
        positions_m     (n, 2) metres, n at least 1
        values          (n,) or (n, d) any unit; d sets of values share the work
        error_variance  (n,) known error variance of each value, unit squared
        model           CovarianceModel
        targets_m       (m, 2) metres
        neighbours      readings that weigh on one target; None: all, or 32 beyond GLOBAL_MOST
        drift           None, or a pair of columns, (n, p) at the readings and (m, p) at the
                        targets; the positions and targets themselves make a linear trend
        block_m         side of the block, metres; None: a point
        octants         neighbours are taken evenly from the eight octants around the target
        tick            called with the fraction done after each block; may raise Stopped
    Returns  Kriged
    Raises   InputProblem: fewer than one neighbour, or the readings do not determine the estimates
             (readings at one place without a nugget or an error of their own; drift columns that
             say the same, or fewer neighbours than they need)
    Source   Webster and Oliver (2007), Geostatistics for Environmental Scientists, 8.2; known
             error variances: Delhomme (1978), Advances in Water Resources 1:251-266; drift:
             Cressie (1993), Statistics for Spatial Data, 3.4
    """
    positions = np.asarray(positions_m, float)
    values, errors = np.asarray(values, float), np.asarray(error_variance, float)
    targets = np.asarray(targets_m, float)
    if neighbours is None and len(positions) > GLOBAL_MOST:
        neighbours = 32
    if neighbours is not None and neighbours < 1:
        raise InputProblem(f"{neighbours} neighbours were asked for; at least 1 is needed.")
    sets = values.reshape(len(positions), -1)
    columns = drift_columns(drift, len(positions), len(targets))
    if not model.structured:
        own = model.sill if block_m is None else 0.0
        estimate, variance = _without_structure(sets, errors, model, columns, own)
        if tick is not None:
            tick(1.0)
    elif neighbours is None or neighbours >= len(positions):
        estimate, variance = krige_global(positions, sets, errors, model, targets, columns=columns,
                                          block_m=block_m, numbers=BLOCK_NUMBERS, tick=tick)
    else:
        estimate, variance = krige_local(
            positions, sets, errors, model, targets, neighbours=neighbours, columns=columns,
            block_m=block_m, octants=octants, numbers=LOCAL_NUMBERS, tick=tick)
    return Kriged(estimate.reshape(len(targets), *values.shape[1:]), variance)


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
    weight, certain = _weights(error_variance, model)
    mean = weight @ np.asarray(values, float) / weight.sum()
    return mean, 0.0 if certain else 1 / weight.sum()


def coefficients_without_structure(values, error_variance, model, columns):
    """Return the coefficients (q, d) that drift has by weighed regression, and the root of their
    covariance: a (q, q) matrix whose product with its transpose it is.

    Readings weigh as in mean_without_structure, which the constant alone comes down to.

    Parameters
        values          (n, d) any unit
        error_variance  (n,) unit squared
        model           CovarianceModel without structure
        columns         (n, q) at the readings, of drift_columns
    Raises   InputProblem: the readings cannot tell the columns apart
    """
    if columns.shape[1] == 1:
        mean, variance = mean_without_structure(values, error_variance, model)
        return mean[None], np.array([[np.sqrt(variance)]])
    weight, certain = _weights(error_variance, model)
    factor = factor_of_information(columns.T @ (weight[:, None] * columns))
    root = np.linalg.inv(factor).T
    coefficients = root @ root.T @ (columns.T @ (weight[:, None] * values))
    return coefficients, np.zeros_like(root) if certain else root


def _weights(error_variance, model):
    """One over each reading's variance; where some have none, 1 for them and 0 for the rest."""
    variance = model.nugget + np.asarray(error_variance, float)
    exact = variance == 0
    return (exact.astype(float), True) if exact.any() else (1 / variance, False)


def _without_structure(values, errors, model, columns, own):
    """Weighed regression on the drift columns; of the constant alone it is the mean."""
    at_readings, at_targets = columns
    coefficients, root = coefficients_without_structure(values, errors, model, at_readings)
    return at_targets @ coefficients, own + np.square(at_targets @ root).sum(axis=1)
