"""Strata of ground that is alike in earlier yields or soil, and the stops each gets."""
import numpy as np
from scipy.cluster.vq import kmeans2

from ..problems import InputProblem

LEAST_EACH = 2  # stops of a stratum: one has no spread (Brus; common practice)


def covariate_strata(covariates, count, *, seed=1):
    """Return the stratum (n,) of each cell, 0 to count - 1; -1 where a covariate is not known.

    One covariate is parted at its quantiles, so that strata have equal areas as far as equal
    values, which stay together, allow; 0 is the lowest. Several are standardised and grouped by
    k-means, strata numbered by their mean in the first covariate. Strata that nothing falls into
    are left out, so there may be fewer.

    Parameters
        covariates  (n, p) at the cells, NaN where not known
        count       strata wanted, at least 2
        seed        of the k-means
    Raises   InputProblem: no cell has all covariates, or they do not vary
    Source   strata by covariates: Brus (2022), Spatial Sampling with R, ch. 4
    """
    covariates = np.asarray(covariates, float)
    known = np.isfinite(covariates).all(axis=1)
    if not known.any():
        raise InputProblem("The covariates have no value anywhere in the field. Choose rasters "
                           "that cover it.")
    told = covariates[known]
    spread = told.std(axis=0)
    if not (spread > 0).all():
        raise InputProblem("A covariate has one and the same value all over the field and tells "
                           "nothing. Choose another.")
    if told.shape[1] == 1:
        groups = _parted(told[:, 0], count)
    else:
        scaled = (told - told.mean(axis=0)) / spread
        _, groups = kmeans2(scaled, count, minit="++", seed=np.random.default_rng(seed))
    present, groups = np.unique(groups, return_inverse=True)
    means = np.bincount(groups, told[:, 0]) / np.bincount(groups)
    rank = np.empty(len(present), int)
    rank[np.argsort(means, kind="stable")] = np.arange(len(present))
    strata = np.full(len(covariates), -1)
    strata[known] = rank[groups]
    return strata


def _parted(values, count):
    """The group of each value: cut between those values that part the ground most evenly."""
    distinct, cells = np.unique(values, return_counts=True)
    below = np.cumsum(cells)[:-1] / len(values)
    wanted = np.arange(1, count) / count
    cuts = np.unique(np.abs(below[:, None] - wanted).argmin(axis=0))
    return np.searchsorted(distinct[cuts], values, side="left")


def allocated_stops(stops, areas, spreads=None):
    """Return how many stops each stratum gets, (k,) whole numbers that add up to `stops`.

    In proportion to area, or, with spreads, to area times spread (Neyman's allocation, which makes
    the error of the field's mean least). Each gets LEAST_EACH; what is left goes out by largest
    remainder, ties to the earlier stratum.

    Parameters
        stops    at least LEAST_EACH for each stratum
        areas    (k,) above 0
        spreads  (k,) standard deviation within each stratum, 0 or more; None: proportional. All 0
                 is proportional too
    Raises   InputProblem: too few stops
    Source   Cochran (1977), Sampling Techniques, 3rd ed., 5.5 (from memory)
    """
    areas = np.asarray(areas, float)
    count = len(areas)
    if stops < LEAST_EACH * count:
        raise InputProblem(f"{stops} stops are too few for {count} strata: each needs "
                           f"{LEAST_EACH}. Ask for {LEAST_EACH * count} or more, or fewer strata.")
    weights = areas if spreads is None else areas * np.asarray(spreads, float)
    if not weights.sum() > 0:
        weights = areas
    given = np.full(count, LEAST_EACH)
    free = np.ones(count, bool)
    # Strata whose share is below the least keep the least; the rest share what is left.
    while True:
        left = stops - LEAST_EACH * np.count_nonzero(~free)
        wanted = left * weights / weights[free].sum() if weights[free].sum() > 0 else 0 * weights
        low = free & (wanted < LEAST_EACH)
        if not low.any():
            break
        free &= ~low
    wanted = wanted[free]
    given[free] = np.floor(wanted + 1e-9)
    rest = stops - given.sum()
    order = np.flatnonzero(free)[np.argsort(-(wanted - np.floor(wanted + 1e-9)), kind="stable")]
    given[order[:rest]] += 1
    return given
