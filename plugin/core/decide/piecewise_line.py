"""A line in straight pieces, and what it averages to when its argument is uncertain.

Gain against stand is such a line, since the yield tables are read straight between their stands.
For a normally distributed stand its mean then has a closed form, one term for each bend, and so
has the chance that it is above 0. Both are exact and cost about what quadrature with as many
points as there are bends would; quadrature puts steps into the chance map and errs at the bends.
"""
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

BLOCK = 200_000  # arguments averaged at once: some 10 MB of working arrays


@dataclass(frozen=True)
class PiecewiseLine:
    """Straight between its knots, level before the first and after the last.

    knots   (k,) increasing
    values  (k,) at the knots
    """
    knots: np.ndarray
    values: np.ndarray

    def at(self, arguments):
        """Return the value at each argument."""
        return np.interp(arguments, self.knots, self.values)

    def crossings(self):
        """Return the arguments at which the sign of the value changes, increasing.

        Where the line runs along 0, the change is put where it leaves 0 for above, or reaches 0
        from above: 0 counts as not above.
        """
        above = self.values > 0
        start = np.flatnonzero(above[1:] != above[:-1])
        low, high = self.values[start], self.values[start + 1]
        return (self.knots[start]
                + (self.knots[start + 1] - self.knots[start]) * low / (low - high))

    def expected(self, mean, standard_deviation):
        """Return the mean value for normally distributed arguments.

        E[f(S)] = f(first) + sum of (change of slope at t) E[max(S - t, 0)] over the knots t, with
        E[max(S - t, 0)] = s (phi(z) + z Phi(z)) and z = (mean - t) / s. A standard deviation of 0
        gives the value at the mean.

        Parameters
            mean, standard_deviation  (n,) in the unit of the knots; the latter 0 or more
        Source   the unit normal loss function, Raiffa, H. and Schlaifer, R. (1961), Applied
                 Statistical Decision Theory; from memory, checked against simulation in the tests
        """
        mean, spread = _flat(mean, standard_deviation)
        slopes = np.diff(self.values) / np.diff(self.knots)
        bends = np.diff(slopes, prepend=0.0, append=0.0)
        found = np.full(mean.shape, self.values[0])
        for start in range(0, len(mean), BLOCK):
            block = slice(start, start + BLOCK)
            for knot, bend in zip(self.knots, bends):
                found[block] += bend * _mean_excess(mean[block] - knot, spread[block])
        return np.where(spread > 0, found, self.at(mean))

    def chance_above_zero(self, mean, standard_deviation):
        """Return the probability that the value is above 0, arguments as in `expected`."""
        mean, spread = _flat(mean, standard_deviation)
        above = np.full(mean.shape, float(self.values[0] > 0))
        sign = -1.0 if self.values[0] > 0 else 1.0
        for crossing in self.crossings():
            above += sign * ndtr((mean - crossing) / np.where(spread > 0, spread, 1.0))
            sign = -sign
        certain = (self.at(mean) > 0).astype(float)
        return np.where(spread > 0, np.clip(above, 0.0, 1.0), certain)


def _flat(mean, standard_deviation):
    mean, spread = np.broadcast_arrays(np.asarray(mean, float),
                                       np.asarray(standard_deviation, float))
    return mean.ravel(), spread.ravel()


def _mean_excess(distance, spread):
    """Return E[max(S - t, 0)] for S - t of mean `distance`; 0 where the spread is 0."""
    z = distance / np.where(spread > 0, spread, 1.0)
    return spread * (np.exp(-z**2 / 2) / np.sqrt(2 * np.pi) + z * ndtr(z))
