"""Means and shares of readings that come in stops, with what the stops leave unsure."""
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from ..decide.compaction_rating import wilson_interval
from ..problems import InputProblem

CONFIDENCE = 0.90  # of every interval of this program's reports


@dataclass(frozen=True)
class ClusteredMean:
    """A mean over stops and its 90 % interval, None where one stop says nothing about others.

    deviation   of the single readings, None of fewer than two
    """
    mean: float
    low: float
    high: float
    deviation: float
    readings: int
    stops: int


@dataclass(frozen=True)
class ClusteredShare:
    """A share of readings, 0 to 1, and its 90 % interval."""
    share: float
    low: float
    high: float
    readings: int
    stops: int


def mean_over_stops(stops, values):
    """Return the mean of the stops' means, its interval from how far these lie apart.

    Readings of one stop are alike: the stops are the sample. Readings without a value are not
    counted.

    Parameters
        stops   (n,) whole number of the stop of each reading
        values  (n,) any unit
    Returns  ClusteredMean in that unit
    Raises   InputProblem: no reading has a value
    Source   two-stage sampling with equal weights to the stops; Cochran (1977), Sampling
             Techniques, 3rd ed., chapter 10; Student's t with one less than the stops
    """
    stops, values = np.asarray(stops), np.asarray(values, float)
    known = np.isfinite(values)
    if not known.any():
        raise InputProblem(f"None of {len(values)} readings has a value to take the mean of.")
    _, group = np.unique(stops[known], return_inverse=True)
    means = np.bincount(group, values[known]) / np.bincount(group)
    low = high = None
    if len(means) > 1:
        half = stdtrit(len(means) - 1, 0.5 + CONFIDENCE / 2) * means.std(ddof=1) \
            / np.sqrt(len(means))
        low, high = float(means.mean() - half), float(means.mean() + half)
    readings = int(np.count_nonzero(known))
    return ClusteredMean(float(means.mean()), low, high,
                         float(values[known].std(ddof=1)) if readings > 1 else None,
                         readings, len(means))


def share_over_stops(stops, count, of):
    """Return the share counted over all stops, its interval widened as far as the stops differ.

    The counts shrink to as many independent ones as would be as unsure (the design effect, never
    below 1); Wilson's interval is that of these.

    Parameters
        stops  (n,) whole number of the stop of each reading
        count  (n,) how many of `of` have what is counted
        of     (n,) how many were looked at, their sum above 0
    Raises   InputProblem: nothing was looked at, or more was counted than that
    Source   Kish, L. (1965), Survey Sampling, section 5.4 (design effect of a ratio)
    """
    count, of = np.asarray(count, float), np.asarray(of, float)
    if not of.sum() > 0 or (count < 0).any() or (count > of).any():
        raise InputProblem(f"{count.sum():g} of {of.sum():g} is no share.")
    _, group = np.unique(np.asarray(stops), return_inverse=True)
    count, of = np.bincount(group, count), np.bincount(group, of)
    share, total, places = count.sum() / of.sum(), of.sum(), len(of)
    spread = 0.0
    if places > 1:
        spread = places / (places - 1) * np.square(count - share * of).sum() / total**2
    at_random = share * (1 - share) / total
    independent = total / max(1.0, spread / at_random if at_random else 1.0)
    low, high = wilson_interval(share * independent, independent, confidence=CONFIDENCE)
    return ClusteredShare(float(share), low, high, int(total), places)
