"""What was noted at thin stops and at the others: shares, and whether they differ."""
from dataclasses import dataclass

import numpy as np
from scipy.stats import fisher_exact

from ...observe.clustered import CONFIDENCE
from ...problems import InputProblem
from ..compaction_rating import wilson_interval
from .association import LEAST, mean_difference

THIN = 0.9  # of the middle stop: 10 % under it is worth a look, New York State guide (read)
TEST = ("the larger p of Fisher's exact test of the shares and of the difference of the stand with "
        "effective sample size (Dutilleul 1993), as thin stops and notes lie in patches")


@dataclass(frozen=True)
class NotedShares:
    """Stops with and without a note of something, thin ones and others.

    difference   share of the thin stops less that of the others, with 90 % interval
    """
    thin_noted: int
    thin: int
    others_noted: int
    others: int
    difference: float
    low: float
    high: float
    p: float


def thin_stops(stand):
    """Return (n,) whether a stand lies THIN or further below the middle one."""
    stand = np.asarray(stand, float)
    return stand <= THIN * np.median(stand) if len(stand) else np.zeros(0, bool)


def noted_shares(thin, noted, stand, positions_m):
    """Return how often something was noted at thin stops and at others.

    Fisher's test takes stops for independent. Thin stops lie in patches, and so may what was
    noted: the p given is the larger one of Fisher's and of that of the mean stand with a note
    against without, which allows for it.

    Parameters
        thin, noted  (n,) bool of each stop that was looked at
        stand        (n,) plants per area
        positions_m  (n, 2) metres
    Returns  NotedShares
    Raises   InputProblem: fewer than LEAST stops, no thin one or no other, or notes at all or none
    Source   Fisher (1934); interval: Newcombe (1998), Statistics in Medicine 17, 873-890, method
             10 (from memory), from Wilson's intervals of both shares
    """
    thin, noted = np.asarray(thin, bool), np.asarray(noted, bool)
    if len(thin) < LEAST or thin.all() or not thin.any() or noted.all() or not noted.any():
        raise InputProblem(f"{len(thin)} stops that were looked at, {np.count_nonzero(thin)} of "
                           f"them thin and {np.count_nonzero(noted)} with a note of it, cannot be "
                           "compared.")
    table = [[np.count_nonzero(group & noted), np.count_nonzero(group & ~noted)]
             for group in (thin, ~thin)]
    p = max(fisher_exact(table)[1], mean_difference(stand, noted, positions_m).p)
    (with_, without), (others_with, others_without) = table
    shares = [with_ / (with_ + without), others_with / (others_with + others_without)]
    (low, high), (others_low, others_high) = (
        wilson_interval(row[0], sum(row), confidence=CONFIDENCE) for row in table)
    difference = shares[0] - shares[1]
    return NotedShares(
        int(with_), int(with_ + without), int(others_with), int(others_with + others_without),
        difference, float(difference - np.hypot(shares[0] - low, others_high - shares[1])),
        float(difference + np.hypot(high - shares[0], shares[1] - others_low)), float(min(p, 1.0)))
