"""The covariance to expect where a few readings leave the model's parameters open."""
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial.distance import cdist

from .covariance import FAMILIES, NUGGET, CovarianceModel
from .readings_system import drift_columns

RANGES = 7            # ranges tried, evenly spaced in the logarithm
SHARES = 6            # nugget shares tried, from 0 to 1
VARIANCES = 60        # sills tried, evenly spaced in the logarithm
SILLS = (0.01, 10.0)  # least and greatest of them, in variances of the readings
SHORTEST = 0.04       # least reach tried, as a share of the extent
LEAST_ERROR = 1e-6    # error variance that keeps the algebra safe, in variances of the readings
WIDE = 0.5      # power of the sill that the prior of its logarithm goes by: uniform in the root
UNBIASED = -1.0  # the power with which, without errors and structure, the average is S / (n - 1)


def averaged_model(positions_m, values, error_variance, like, *, drift=None, tick=None):
    """Return the model of `averaged_models` with the prior WIDE, whose intervals hold."""
    return averaged_models(positions_m, values, error_variance, like, drift=drift, tick=tick)[0]


def averaged_models(positions_m, values, error_variance, like, *, drift=None, priors=(WIDE,),
                    tick=None):
    """Return models like another, the covariance averaged over all that suit the readings.

    The peak of the likelihood understates how much few readings leave open: it takes one set of
    parameters for certain. Here every combination of range, nugget share and sill on a grid is
    weighed by its restricted likelihood. Given the weights, the variance to expect is the average
    of the sills, and the covariance to expect the average of the covariances, since the mean is the
    same under all of them. A covariance of one range stands in for the average over ranges: its
    range is their mean in the logarithm, weighed by the partial sills.

    Before the readings all ranges are held equally likely in the logarithm; that there is no
    structure, nugget share 1, as likely as that there is some, of which all smaller shares are
    equally likely; and the sill by a power of it: WIDE holds it equally likely in its square root,
    which leaves room for large ones, as honest intervals must; UNBIASED expects of it what the
    readings show, for whoever goes on to draw readings from it. So where readings show no
    structure the partial sill shrinks towards 0. A model without structure gives the average of
    such. Family, heading and ratio stay as they are. Time grows with the cube
    of n, memory with its square.

    Parameters
        positions_m     (n, 2) metres, n at least 3, not all at one place
        values          (n,) not all equal
        error_variance  (n,) known error variance of each value, unit squared
        like            CovarianceModel: its family, heading and ratio are kept
        drift           None, or (n,) or (n, p) drift at the readings, as for fit_reml
        priors          powers of the sill, one for each model wanted; they share the work
        tick            called with the fraction of ranges and nugget shares weighed; may raise
                        Stopped
    Returns  list of CovarianceModel
    Source   Handcock and Stein (1993), Technometrics 35:403-410; a grid of parameters: Diggle and
             Ribeiro (2007), Model-based Geostatistics, chapter 7; uniform in the standard
             deviation: Gelman (2006), Bayesian Analysis 1:515-534 (all cited from memory)
    """
    tried = _tried(positions_m, values, error_variance, like, drift, tick)
    return [_average(like, tried, _weights(tried, prior)) for prior in priors]


def likely_models(positions_m, values, error_variance, like, count, *, drift=None, seed=0,
                  tick=None):
    """Return (CovarianceModel, times) pairs: models drawn by their weights, `count` times in all.

    One averaged model stands for the covariance to expect; what is not known of the model itself
    adds to the error of totals, whose spread these models show. The combinations and their weights
    are those of `averaged_models` with the prior WIDE; draws are spread evenly over the weights.

    Parameters
        count   models drawn, the same one several times where it is likely
        seed    of the draw
        other   as of averaged_models
    Source   drawing parameters, then the field: Diggle and Ribeiro (2007), Model-based
             Geostatistics, chapter 7 (from memory)
    """
    tried = _tried(positions_m, values, error_variance, like, drift, tick)
    upto = np.cumsum(_weights(tried, WIDE))
    points = (np.arange(count) + np.random.default_rng(seed).uniform()) / count
    drawn = Counter(tried.model(like, number)
                    for number in np.searchsorted(upto, points * upto[-1]))
    return list(drawn.items())


@dataclass(frozen=True)
class _Tried:
    """The parameters tried and the restricted log-likelihood (ranges, shares, sills) of each."""
    ranges: np.ndarray
    shares: np.ndarray
    sills: np.ndarray
    likelihood: np.ndarray

    def model(self, like, number):
        """The model of a combination, by its number in the likelihoods."""
        one, other, third = np.unravel_index(number, self.likelihood.shape)
        sill, share = float(self.sills[third]), float(self.shares[other])
        if share == 1:
            return CovarianceModel(NUGGET, sill)
        return replace(like, nugget=share * sill, partial_sill=(1 - share) * sill,
                       range_m=float(self.ranges[one]))


def _tried(positions_m, values, error_variance, like, drift, tick):
    values, errors = np.asarray(values, float), np.asarray(error_variance, float)
    pair = None if drift is None else (drift, drift)
    columns = drift_columns(pair, len(values), len(values))[0]
    explained = columns @ np.linalg.lstsq(columns, values, rcond=None)[0]
    left = values - explained
    spread = left @ left / (len(values) - columns.shape[1])
    readings = left, errors + LEAST_ERROR * spread, columns
    sills = spread * np.exp(np.linspace(*np.log(SILLS), VARIANCES))
    if not like.structured:
        return _Tried(np.array([np.inf]), np.ones(1), sills,
                      _likelihoods(readings, [np.eye(len(values))], np.ones(1), sills, tick))
    places = like.stretched(positions_m)
    distances = cdist(places, places)
    ranges = _ranges(distances, FAMILIES[like.family].reach)
    shares = np.linspace(0, 1, SHARES)
    likelihood = _likelihoods(readings, [FAMILIES[like.family].correlation(distances / range_m)
                                         for range_m in ranges], shares, sills, tick)
    likelihood[:, -1] += np.log(SHARES - 1)
    return _Tried(ranges, shares, sills, likelihood)


def _average(like, tried, weight):
    if not like.structured:
        return CovarianceModel(NUGGET, float((weight * tried.sills).sum()))
    ranges, shares, sills = tried.ranges, tried.shares, tried.sills
    partial_sill = (weight * (1 - shares)[:, None] * sills).sum(axis=(1, 2))
    range_m = np.exp(partial_sill @ np.log(ranges) / partial_sill.sum())
    return replace(like, nugget=float((weight * shares[:, None] * sills).sum()),
                   partial_sill=float(partial_sill.sum()), range_m=float(range_m))


def mean_model(models):
    """Return the average of models: like the last of the most frequent structured family.

    Nuggets and partial sills are averaged; so are effective ranges, in the logarithm and weighed
    by the partial sills.
    """
    families = [model.family for model in models if model.structured]
    nugget = float(np.mean([model.nugget for model in models]))
    if not families:
        return CovarianceModel(NUGGET, nugget)
    partial_sill = np.array([model.partial_sill for model in models])
    reach = np.array([model.effective_range_m if model.structured else 1.0 for model in models])
    family = max(sorted(set(families)), key=families.count)
    range_m = np.exp(partial_sill @ np.log(reach) / partial_sill.sum()) / FAMILIES[family].reach
    like = [model for model in models if model.family == family][-1]
    return replace(like, nugget=nugget, partial_sill=float(partial_sill.mean()),
                   range_m=float(range_m))


def _ranges(distances, reach):
    """From half the median distance to the nearest neighbour, or SHORTEST, to the extent."""
    extent = distances.max()
    nearest = np.where(np.eye(len(distances)) > 0, np.inf, distances).min(axis=1)
    shortest = min(max(np.median(nearest) / 2, SHORTEST * extent), extent)
    return np.exp(np.linspace(np.log(shortest), np.log(extent), RANGES)) / reach


def _likelihoods(readings, correlations, shares, sills, tick):
    """Restricted log-likelihood (ranges, shares, sills) of each combination."""
    likelihood = np.empty((len(correlations), len(shares), len(sills)))
    for one, correlation in enumerate(correlations):
        for other, spectrum in enumerate(_spectra(correlation, readings[1], shares)):
            likelihood[one, other] = _log_likelihood(readings, *spectrum, sills)
            if tick is not None:
                tick((one + (other + 1) / len(shares)) / len(correlations))
    return likelihood


def _weights(tried, prior):
    """Weight of each combination, sills evenly spaced in the logarithm; they add up to 1."""
    logarithm = tried.likelihood + prior * np.log(tried.sills)
    weight = np.exp(logarithm - logarithm.max())
    return weight / weight.sum()


def _spectra(correlation, errors, shares):
    """Eigenvalues and vectors of each nugget share's correlation, scaled by the errors.

    Where all errors are equal the vectors are the same for every share.
    """
    scale = 1 / np.sqrt(errors)
    if np.ptp(errors) == 0:
        roots, vectors = np.linalg.eigh(correlation * scale[0]**2)
        for share in shares:
            yield (1 - share) * roots + share * scale[0]**2, vectors
        return
    for share in shares:
        mixed = (1 - share) * correlation + share * np.eye(len(errors))
        yield np.linalg.eigh(mixed * np.outer(scale, scale))


def _log_likelihood(readings, roots, vectors, sills):
    """Restricted log-likelihood (sills,), up to a constant, of sill * correlation + errors."""
    values, errors, columns = readings
    turned = vectors.T @ (np.column_stack([values, columns]) / np.sqrt(errors)[:, None])
    values, columns = turned[:, 0], turned[:, 1:]
    variance = 1 + sills[:, None] * np.maximum(roots, 0.0)
    precise = columns[None] / variance[..., None]
    information = np.swapaxes(precise, 1, 2) @ columns
    told = np.swapaxes(precise, 1, 2) @ values
    mean = np.linalg.solve(information, told[..., None])[..., 0]
    off = (values**2 / variance).sum(axis=1) - (told * mean).sum(axis=1)
    return -0.5 * (np.log(variance).sum(axis=1) + np.linalg.slogdet(information)[1] + off)
