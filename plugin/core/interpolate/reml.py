"""Restricted maximum likelihood: the covariance model that a few noisy readings support."""
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize
from scipy.spatial.distance import pdist, squareform

from ..problems import InputProblem
from .covariance import CANDIDATES, FAMILIES, NUGGET, CovarianceModel

LEAST_SHARE = 1e-6  # smallest variance tried, as a share of the variance of the values
STARTS = ((0.3, 0.1), (0.3, 0.3), (0.7, 0.1))  # nugget share, range as a share of the extent


@dataclass(frozen=True)
class Fit:
    """One fitted candidate: its model, restricted log-likelihood and AICc (smaller is better)."""
    model: CovarianceModel
    log_likelihood: float
    aicc: float


def fit_reml(positions_m, values, error_variance, *, families=CANDIDATES, tick=None):
    """Return the fitted candidates, the best (smallest AICc) first.

    Each reading varies about one unknown mean by the model's covariance, a nugget and its own
    known error variance. Ranges are sought between half the median distance to the nearest
    neighbour and the extent of the readings. Variances are sought from LEAST_SHARE of the spread
    of the values up. The optimum need not be the only one: three starts are tried.
    Time grows with the cube of the number of readings, memory with its square.

    Parameters
        positions_m     (n, 2) metres, n at least 3
        values          (n,) any unit, not all equal
        error_variance  (n,) known error variance of each value, unit squared
        families        candidates: NUGGET or names in FAMILIES
        tick            called with the fraction of candidates done
    Returns  list of Fit
    Raises   InputProblem: fewer than 3 readings, or all values equal
    Source   restricted likelihood: Patterson and Thompson (1971), Biometrika 58:545-554;
             AICc: Hurvich and Tsai (1989), Biometrika 76:297-307
    """
    positions, values = np.asarray(positions_m, float), np.asarray(values, float)
    errors = np.asarray(error_variance, float)
    spread = values.var() if len(values) else 0.0
    if len(values) < 3 or spread <= 0:
        raise InputProblem(f"{len(values)} readings with a spread of {spread:g} cannot show how "
                           "values vary over the field; at least 3 that differ are needed.")
    likelihood = _Likelihood(squareform(pdist(positions)), values, errors)
    fits = []
    for number, family in enumerate(families, start=1):
        fits.append(_fit_nugget(likelihood, spread) if family == NUGGET
                    else _fit_family(likelihood, spread, family))
        if tick is not None:
            tick(number / len(families))
    return sorted(fits, key=lambda fit: fit.aicc)


def restricted_log_likelihood(positions_m, values, error_variance, model):
    """Return the restricted log-likelihood of a model; arguments as for fit_reml."""
    likelihood = _Likelihood(squareform(pdist(np.asarray(positions_m, float))),
                             np.asarray(values, float), np.asarray(error_variance, float))
    return -likelihood.negative(likelihood.matrix(model))[0]


class _Likelihood:
    """The negative restricted log-likelihood of one set of readings about a constant mean."""

    def __init__(self, distances, values, errors):
        self.distances, self.values, self.errors = distances, values, errors
        self.identity = np.eye(len(values))

    def matrix(self, model):
        return (model.covariance(self.distances)
                + np.diag(np.full(len(self.values), model.nugget) + self.errors))

    def negative(self, matrix, *derivatives):
        """The value, and its slope along each derivative of the covariance matrix."""
        count = len(self.values)
        factor = cho_factor(matrix, lower=True)
        inverse = cho_solve(factor, self.identity)
        sums = inverse.sum(axis=1)
        total = sums.sum()
        project = inverse - np.outer(sums, sums) / total
        weighted = project @ self.values
        log_determinant = 2 * np.log(np.diag(factor[0])).sum()
        value = 0.5 * (log_determinant + np.log(total) + self.values @ weighted
                       + (count - 1) * np.log(2 * np.pi))
        slopes = [0.5 * ((project * d).sum() - weighted @ d @ weighted) for d in derivatives]
        return value, np.array(slopes)


def _fit_nugget(likelihood, spread):
    def objective(log_nugget):
        nugget = np.exp(log_nugget[0])
        value, slope = likelihood.negative(
            likelihood.matrix(CovarianceModel(NUGGET, nugget)), nugget * likelihood.identity)
        return value, slope

    limits = [(np.log(spread * LEAST_SHARE), np.log(spread * 100))]
    best = minimize(objective, [np.log(spread)], jac=True, bounds=limits, method="L-BFGS-B")
    return _fit(CovarianceModel(NUGGET, float(np.exp(best.x[0]))), best.fun, 1, likelihood)


def _fit_family(likelihood, spread, family):
    distances = likelihood.distances
    extent = distances.max()
    nearest = np.where(likelihood.identity > 0, np.inf, distances).min(axis=1)
    shortest = min(max(np.median(nearest) / 2, extent * 1e-3), extent)
    reach = FAMILIES[family].reach

    def objective(logs):
        nugget, partial_sill, range_m = np.exp(logs)
        model = CovarianceModel(family, nugget, partial_sill, range_m)
        u = distances / range_m
        by_range = -partial_sill * FAMILIES[family].slope(u) * u
        return likelihood.negative(likelihood.matrix(model), nugget * likelihood.identity,
                                   model.covariance(distances), by_range)

    limits = [(np.log(spread * LEAST_SHARE), np.log(spread * 100))] * 2
    limits.append((np.log(shortest / reach), np.log(extent / reach)))
    tried = [minimize(objective, [np.log(spread * share), np.log(spread * (1 - share)),
                                  np.clip(np.log(extent * part / reach), *limits[2])],
                      jac=True, bounds=limits, method="L-BFGS-B")
             for share, part in STARTS]
    best = min(tried, key=lambda result: result.fun)
    nugget, partial_sill, range_m = (float(number) for number in np.exp(best.x))
    return _fit(CovarianceModel(family, nugget, partial_sill, range_m), best.fun, 3, likelihood)


def _fit(model, negative, parameters, likelihood):
    freedom = len(likelihood.values) - 1  # one mean
    left = freedom - parameters - 1
    correction = 2 * parameters * (parameters + 1) / left if left > 0 else np.inf
    return Fit(model, float(-negative), float(2 * negative + 2 * parameters + correction))
