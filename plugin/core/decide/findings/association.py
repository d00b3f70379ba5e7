"""Association of two variables at places, with a p that allows for their autocorrelation."""
from dataclasses import dataclass

import numpy as np
from scipy.spatial.distance import cdist
from scipy.special import stdtrit
from scipy.stats import f as f_distribution
from scipy.stats import rankdata

from ...observe.clustered import CONFIDENCE
from ...problems import InputProblem

CLASSES = 13  # of distance, for the covariances
LEAST = 8  # pairs: this program's own choice
MOST = 3000  # pairs: some 500 MB and a few seconds
TEST = ("modified t test, effective sample size by Clifford, Richardson and Hémon (1989) and "
        "Dutilleul (1993)")
RANK_TEST = f"rank correlation, {TEST}"


@dataclass(frozen=True)
class Association:
    """A correlation and how sure it is.

    correlation  -1 to 1
    low, high    90 % interval; -1 and 1 where the readings are worth too few independent ones
    p            two-sided
    pairs, effective   how many, and how many independent ones they are worth
    """
    correlation: float
    low: float
    high: float
    p: float
    pairs: int
    effective: float


@dataclass(frozen=True)
class Difference:
    """How far the mean of one group of places lies from that of the others, with 90 % interval.

    low, high   infinite where the readings are worth too few independent ones
    """
    difference: float
    low: float
    high: float
    p: float
    effective: float


def rank_association(first, second, positions_m):
    """Return the rank correlation of two variables measured at the same places.

    Neighbouring readings repeat each other, so n pairs are worth fewer: the variance of the
    correlation is taken from the autocovariances of both rankings, by classes of distance, each
    variable centred. Ties share their mean rank; infinity ranks as the largest. Memory and time
    grow with the square of the pairs.

    Parameters
        first, second  (n,) any units, n from LEAST to MOST, neither all alike
        positions_m    (n, 2) metres
    Returns  Association
    Raises   InputProblem: too few pairs or too many, or a variable without any variation
    Source   Clifford, Richardson and Hémon (1989), Biometrics 45, 123-134; the variance after
             Dutilleul (1993), Biometrics 49, 305-314 (both from memory), on ranks. Interval:
             Fisher's z with the variance 1.06 / (n - 3) of Fieller, Hartley and Pearson (1957),
             Biometrika 44, 470-481 (from memory), n the effective one
    """
    if not len(first) == len(second) == len(positions_m):
        raise InputProblem(f"{len(first)} and {len(second)} values came with {len(positions_m)} "
                           "positions.")
    correlation, effective = _correlation(rankdata(first), rankdata(second), positions_m)
    low = high = np.nan
    if effective > 3:
        half = -stdtrit(np.inf, (1 - CONFIDENCE) / 2) * np.sqrt(1.06 / (effective - 3))
        z = np.arctanh(np.clip(correlation, -1 + 1e-12, 1 - 1e-12))
        low, high = np.tanh([z - half, z + half])
    return Association(correlation, float(np.nan_to_num(low, nan=-1.0)),
                       float(np.nan_to_num(high, nan=1.0)), _p(correlation, effective),
                       len(first), effective)


def mean_difference(values, group, positions_m):
    """Return the mean of `values` where `group` holds less that where it does not.

    The slope of the regression on the group, with the degrees of freedom of the effective sample
    size; see `rank_association`.

    Parameters
        values       (n,) any unit
        group        (n,) bool
        positions_m  (n, 2) metres
    Returns  Difference, in the unit of the values
    Raises   InputProblem: as `rank_association`
    """
    values, group = np.asarray(values, float), np.asarray(group, bool)
    correlation, effective = _correlation(values, group.astype(float), positions_m)
    difference = float(values[group].mean() - values[~group].mean())
    free, half = effective - 2, np.inf
    if free > 0:
        spread = values.std() / group.std()
        half = stdtrit(free, 0.5 + CONFIDENCE / 2) * spread * np.sqrt((1 - correlation**2) / free)
    return Difference(difference, difference - half, difference + half,
                      _p(correlation, effective), effective)


def _p(correlation, effective):
    """The two-sided p of a correlation; 1 where nothing is left to judge it by."""
    free = effective - 2
    if free <= 0:
        return 1.0
    unexplained = max(1 - correlation**2, 1e-15)
    return float(f_distribution.sf(free * correlation**2 / unexplained, 1, free))


def _correlation(first, second, positions_m):
    """The correlation and the effective sample size, at most the number of pairs."""
    pairs = len(first)
    if not LEAST <= pairs <= MOST:
        raise InputProblem(f"{pairs} pairs are too {'few' if pairs < LEAST else 'many'} for a "
                           f"correlation; {LEAST} to {MOST} are taken.")
    first, second = first - np.mean(first), second - np.mean(second)
    if not (first.any() and second.any()):
        raise InputProblem("All values are alike; there is nothing to correlate.")
    correlation = float(first @ second / np.sqrt((first @ first) * (second @ second)))
    classes = _classes(positions_m)
    one, other = (_centred(_covariances(values, classes)) for values in (first, second))
    together = float((one * other).sum())  # trace of the product of two symmetric matrices
    worth = 1 + np.trace(one) * np.trace(other) / together if together > 0 else pairs
    return correlation, float(min(worth, pairs))


def _classes(positions_m):
    """The class of distance, 0 to CLASSES - 1, of each two places; CLASSES of a place itself."""
    apart_m = cdist(positions_m, positions_m)
    edges = np.linspace(0, apart_m.max(), CLASSES + 1)[1:-1]
    classes = np.searchsorted(edges, apart_m, side="left")
    np.fill_diagonal(classes, CLASSES)
    return classes


def _covariances(centred, classes):
    """The mean product of all pairs of the same class, for each pair."""
    products = np.outer(centred, centred)
    count = np.bincount(classes.ravel(), minlength=CLASSES + 1)
    sums = np.bincount(classes.ravel(), products.ravel(), CLASSES + 1)
    return (sums / np.maximum(count, 1))[classes]


def _centred(matrix):
    return (matrix - matrix.mean(axis=0) - matrix.mean(axis=1)[:, None] + matrix.mean())
