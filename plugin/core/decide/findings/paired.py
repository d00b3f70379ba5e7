"""Two kinds of reading at the same stops: shuffled within each stop."""
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln, stdtrit

from ...observe.clustered import CONFIDENCE
from ...problems import InputProblem

PERMUTATIONS = 1999
LEAST_ARRANGEMENTS = 40  # with fewer, no arrangement is rarer than 5 % either way
BATCH = 200  # permutations at once: some 5 MB with 1000 readings
TEST = "difference within stops, kinds shuffled within each stop, 1,999 times"


@dataclass(frozen=True)
class PairedDifference:
    """The first kind less the other, averaged over the stops that have both.

    low, high   90 % interval by Student's t over the stops; infinite with one stop
    """
    difference: float
    low: float
    high: float
    p: float
    stops: int


def enough_pairs(stops, kinds):
    """Tell whether the readings can be arranged in enough ways for a test at the 5 % level."""
    return bool(_log_arrangements(*_counts(stops, kinds)) >= np.log(LEAST_ARRANGEMENTS) - 1e-9)


def paired_difference(stops, kinds, values, *, seed=0, tick=None):
    """Return how far readings of one kind lie from the others of their stop.

    What a stop's ground adds falls out, as both kinds stand on it. Stops weigh alike; those with
    one kind only compare nothing. Were the kinds alike, they could have come in any order: the p
    counts the shuffles with as large a difference, the order observed among them.

    Parameters
        stops   (n,) whole number of the stop of each reading
        kinds   (n,) bool
        values  (n,) any unit
        tick    called with the fraction done; may raise Stopped
    Returns  PairedDifference in the unit of the values
    Raises   InputProblem: a value is missing, or there are too few stops with both kinds
    Source   restricted permutation: Good (2005), Permutation, Parametric and Bootstrap Tests of
             Hypotheses, 3rd ed. (from memory)
    """
    stops, kinds = np.asarray(stops), np.asarray(kinds, bool)
    values = np.asarray(values, float)
    if not np.isfinite(values).all():
        raise InputProblem(f"{np.count_nonzero(~np.isfinite(values))} of {len(values)} readings "
                           "have no value.")
    if not enough_pairs(stops, kinds):
        raise InputProblem(f"{len(values)} readings hold too few of both kinds at the same stop "
                           "to compare them.")
    _, stop = np.unique(stops, return_inverse=True)
    ones, others = _counts(stops, kinds)
    both = ((ones > 0) & (others > 0))[stop]
    _, stop = np.unique(stop[both], return_inverse=True)
    order = np.argsort(stop, kind="stable")
    stop, kinds, values = stop[order], kinds[both][order], values[both][order]
    apart = _differences(stop, kinds, values[None])[0]
    observed, generator, as_large = apart.mean(), np.random.default_rng(seed), 1
    for start in range(0, PERMUTATIONS, BATCH):
        count = min(BATCH, PERMUTATIONS - start)
        keys = stop + generator.random((count, len(stop)))
        shuffled = values[np.argsort(keys, axis=1)]
        found = _differences(stop, kinds, shuffled).mean(axis=1)
        as_large += np.count_nonzero(np.abs(found) >= abs(observed) * (1 - 1e-12))
        if tick is not None:
            tick((start + count) / PERMUTATIONS)
    half = np.inf if len(apart) < 2 else stdtrit(
        len(apart) - 1, 0.5 + CONFIDENCE / 2) * apart.std(ddof=1) / np.sqrt(len(apart))
    return PairedDifference(float(observed), float(observed - half), float(observed + half),
                            as_large / (PERMUTATIONS + 1), len(apart))


def _counts(stops, kinds):
    _, stop = np.unique(np.asarray(stops), return_inverse=True)
    kinds, size = np.asarray(kinds, bool), int(stop.max()) + 1 if len(stop) else 0
    return np.bincount(stop[kinds], minlength=size), np.bincount(stop[~kinds], minlength=size)


def _log_arrangements(ones, others):
    return float((gammaln(ones + others + 1) - gammaln(ones + 1) - gammaln(others + 1)).sum())


def _differences(stop, kinds, values):
    """Return (b, stops) means of the one kind less those of the other; values are (b, n)."""
    count = int(stop[-1]) + 1
    places = stop + count * np.arange(len(values))[:, None]

    def means(mask):
        sums = np.bincount(places[:, mask].ravel(), values[:, mask].ravel(), count * len(values))
        return sums.reshape(-1, count) / np.bincount(stop[mask], minlength=count)
    return means(kinds) - means(~kinds)
