"""Restricted maximum likelihood: the covariance model that a few noisy readings support."""
from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize
from scipy.spatial.distance import cdist

from ..problems import InputProblem
from .covariance import CANDIDATES, FAMILIES, NUGGET, CovarianceModel
from .readings_system import drift_columns

LEAST_SHARE = 1e-6  # smallest variance tried, as a share of the variance of the values
LEAST_RATIO = 0.1   # shortest range across a heading, as a share of that along it, or the reverse
STARTS = ((0.3, 0.1), (0.3, 0.3), (0.7, 0.1))  # nugget share, range as a share of the extent


@dataclass(frozen=True)
class Fit:
    """One fitted candidate: its model, restricted log-likelihood and AICc (smaller is better)."""
    model: CovarianceModel
    log_likelihood: float
    aicc: float


def fit_reml(positions_m, values, error_variance, *, families=CANDIDATES, drift=None,
             heading_deg=None, tick=None):
    """Return the fitted candidates, the best (smallest AICc) first.

    Each reading varies about an unknown mean by the model's covariance, a nugget and its own
    known error variance. The mean is constant, or a constant and an unknown multiple of each
    drift column: then AICc compares only candidates with the same drift, as the restricted
    likelihoods of different drifts are of different data. Ranges are sought between half the
    median distance to the nearest neighbour and the extent of the readings. Variances are sought
    from LEAST_SHARE of the spread of the values up. With a heading each family is fitted twice,
    the same in all directions and with a range of its own along the heading and across it, the
    shorter at least LEAST_RATIO of the longer. The optimum need not be the only one: three starts
    are tried. Time grows with the cube of the number of readings, memory with its square.

    Parameters
        positions_m     (n, 2) metres, n at least 3
        values          (n,) any unit, not all equal
        error_variance  (n,) known error variance of each value, unit squared
        families        candidates: NUGGET or names in FAMILIES
        drift           None, or (n,) or (n, p) drift at the readings; the positions are a linear
                        trend
        heading_deg     None, or degrees clockwise from north (of the rows, say)
        tick            called with the fraction of candidates done, at each look at the likelihood;
                        may raise Stopped
    Returns  list of Fit
    Raises   InputProblem: fewer than 3 readings, all values equal (or explained by the drift), or
             drift that the readings cannot tell apart
    Source   restricted likelihood: Patterson and Thompson (1971), Biometrika 58:545-554;
             AICc: Hurvich and Tsai (1989), Biometrika 76:297-307
    """
    likelihood = _Likelihood.of(positions_m, values, error_variance, drift)
    values = likelihood.values
    spread = likelihood.spread()
    if len(values) >= 3 and spread <= 0 < values.var():
        raise InputProblem(f"{len(values)} readings follow the slope or the layers to the last "
                           "digit, so nothing is left to tell how far other places lie from it. "
                           "Leave the slope and the layers out.")
    if len(values) < 3 or spread <= 0:
        raise InputProblem(f"{len(values)} readings with a spread of {spread:g} cannot show how "
                           "values vary over the field; at least 3 that differ are needed.")
    tried = [(family, None) for family in families]
    if heading_deg is not None:
        tried += [(family, heading_deg) for family in families if family != NUGGET]
    fits = []
    for number, (family, heading) in enumerate(tried):
        likelihood.looked_at = partial(tick or _no_tick, number / len(tried))
        fits.append(_fit_nugget(likelihood, spread) if family == NUGGET
                    else _fit_family(likelihood, spread, family, heading))
    if tick is not None:
        tick(1.0)
    return sorted(fits, key=lambda fit: fit.aicc)


class _Likelihood:
    """The negative restricted log-likelihood of one set of readings about their mean.

    looked_at   called before each evaluation
    """

    def __init__(self, distances, values, errors, *, positions=None, drift=None):
        self.looked_at = _no_tick
        self.distances, self.values, self.errors = distances, values, errors
        self.positions = positions
        self.identity = np.eye(len(values))
        pair = None if drift is None else (drift, drift)
        self.columns = drift_columns(pair, len(values), len(values))[0]

    @classmethod
    def of(cls, positions_m, values, error_variance, drift):
        """The likelihood of readings, (n, 2) m."""
        positions = np.asarray(positions_m, float).reshape(-1, 2)
        return cls(cdist(positions, positions), np.asarray(values, float),
                   np.asarray(error_variance, float), positions=positions, drift=drift)

    def spread(self):
        """Variance of the values about their mean, or about the drift by least squares."""
        if not len(self.values) or self.columns.shape[1] == 1:
            return self.values.var() if len(self.values) else 0.0
        explained = self.columns @ np.linalg.lstsq(self.columns, self.values, rcond=None)[0]
        left = (self.values - explained).var()
        return left if left > 1e-20 * self.values.var() else 0.0

    def matrix(self, model):
        stretched = model.stretched(self.positions)
        distances = self.distances if model.ratio == 1 else cdist(stretched, stretched)
        return self.with_errors(model.covariance(distances), model.nugget)

    def with_errors(self, covariance, nugget):
        return covariance + np.diag(np.full(len(self.values), nugget) + self.errors)

    def negative(self, matrix, *derivatives):
        """The value, and its slope along each derivative of the covariance matrix."""
        self.looked_at()
        factor = cho_factor(matrix, lower=True)
        inverse = cho_solve(factor, self.identity)
        seen = inverse @ self.columns
        information = self.columns.T @ seen
        project = inverse - seen @ np.linalg.solve(information, seen.T)
        weighted = project @ self.values
        log_determinant = (2 * np.log(np.diag(factor[0])).sum()
                           + np.linalg.slogdet(information)[1])
        freedom = len(self.values) - self.columns.shape[1]
        value = 0.5 * (log_determinant + self.values @ weighted + freedom * np.log(2 * np.pi))
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


def _fit_family(likelihood, spread, family, heading_deg):
    distances = likelihood.distances
    extent = distances.max()
    nearest = np.where(likelihood.identity > 0, np.inf, distances).min(axis=1)
    shortest = min(max(np.median(nearest) / 2, extent * 1e-3), extent)
    reach = FAMILIES[family].reach
    slope = FAMILIES[family].slope
    if heading_deg is not None:
        turned = likelihood.positions @ CovarianceModel(NUGGET, 0, heading_deg=heading_deg).stretch
        across = np.square(turned[:, :1] - turned[:, 0])
        along = np.square(turned[:, 1:] - turned[:, 1])

    def objective(logs):
        nugget, partial_sill, range_m = np.exp(logs[:3])
        apart = distances
        if heading_deg is not None:
            stretched = across * np.exp(-2 * logs[3])
            apart = np.sqrt(stretched + along)
        u = apart / range_m
        covariance = partial_sill * FAMILIES[family].correlation(u)
        by_distance = -partial_sill * slope(u) / range_m
        slopes = [nugget * likelihood.identity, covariance, by_distance * apart]
        if heading_deg is not None:
            slopes.append(by_distance * stretched / np.where(apart > 0, apart, 1.0))
        return likelihood.negative(likelihood.with_errors(covariance, nugget), *slopes)

    limits = [(np.log(spread * LEAST_SHARE), np.log(spread * 100))] * 2
    limits.append((np.log(shortest / reach), np.log(extent / reach)))
    starts = [[np.log(spread * share), np.log(spread * (1 - share)),
               np.clip(np.log(extent * part / reach), *limits[2])] for share, part in STARTS]
    if heading_deg is not None:
        limits.append((np.log(LEAST_RATIO), -np.log(LEAST_RATIO)))
        starts = [[*start, side] for start in starts[:2] for side in (-0.5, 0.5)]
    tried = [minimize(objective, start, jac=True, bounds=limits, method="L-BFGS-B")
             for start in starts]
    best = min(tried, key=lambda result: result.fun)
    model = _as_model(family, heading_deg, *(float(number) for number in np.exp(best.x)))
    return _fit(model, best.fun, len(limits), likelihood)


def _as_model(family, heading_deg, nugget, partial_sill, range_m, ratio=1.0):
    """The model; where the range across is the longer one, its heading is turned by 90 degrees."""
    if heading_deg is None:
        return CovarianceModel(family, nugget, partial_sill, range_m)
    if ratio > 1:
        heading_deg, range_m, ratio = (heading_deg + 90) % 180, range_m * ratio, 1 / ratio
    return CovarianceModel(family, nugget, partial_sill, range_m, float(heading_deg), ratio)


def _fit(model, negative, parameters, likelihood):
    freedom = len(likelihood.values) - likelihood.columns.shape[1]
    left = freedom - parameters - 1
    correction = 2 * parameters * (parameters + 1) / left if left > 0 else np.inf
    return Fit(model, float(-negative), float(2 * negative + 2 * parameters + correction))


def _no_tick(_fraction=None):
    return None
