"""Covariance models: how alike two places are, by the distance between them."""
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from ..problems import InputProblem


@dataclass(frozen=True)
class Family:
    """A correlation function of u = distance / range, and its derivative by u."""
    correlation: callable
    slope: callable
    reach: float  # distance, in ranges, beyond which correlation is below 5 %


def _spherical(u):
    # (1 - u)^2 (1 + u / 2) is 1 - 1.5 u + 0.5 u^3 without a power; in place, as it is called much
    left = np.maximum(1 - u, 0.0)
    found = left * left
    left *= -0.5
    left += 1.5  # 1 + u / 2 where u < 1; elsewhere found is 0
    found *= left
    return found


def _spherical_slope(u):
    return np.where(u < 1, -1.5 + 1.5 * u**2, 0.0)


def _gaussian(u):
    return np.exp(-u**2)


def _gaussian_slope(u):
    return -2 * u * np.exp(-u**2)


def _matern_3_2(u):
    return (1 + u) * np.exp(-u)


def _matern_3_2_slope(u):
    return -u * np.exp(-u)


def _matern_5_2(u):
    return (1 + u + u**2 / 3) * np.exp(-u)


def _matern_5_2_slope(u):
    return -u * (1 + u) / 3 * np.exp(-u)


FAMILIES = {
    "spherical": Family(_spherical, _spherical_slope, 1.0),
    "exponential": Family(lambda u: np.exp(-u), lambda u: -np.exp(-u), 2.996),
    "gaussian": Family(_gaussian, _gaussian_slope, 1.731),
    "matern_3_2": Family(_matern_3_2, _matern_3_2_slope, 4.744),
    "matern_5_2": Family(_matern_5_2, _matern_5_2_slope, 5.919),
}
NUGGET = "nugget"  # the model without structure: readings tell nothing of their neighbours
CANDIDATES = (NUGGET, "spherical", "exponential")  # what is tried where none is asked for


@dataclass(frozen=True)
class CovarianceModel:
    """Covariance C(h) = partial_sill * correlation(h / range_m); a reading adds the nugget.

    The spherical model ends at its range a. The others never end: exp(-h / a) is the exponential,
    exp(-(h / a)^2) the gaussian, (1 + h / a) exp(-h / a) the matern_3_2 and
    (1 + h / a + (h / a)^2 / 3) exp(-h / a) the matern_5_2. Their a is no practical range:
    correlation falls to 5 % at `effective_range_m`. Books that write exp(-3h / a), or
    2 sqrt(v) h / a for h / a, mean other ranges. Matern's family with v = 1/2 is the exponential
    and has no name of its own here. The gaussian is so smooth that readings without a nugget or
    an error of their own make a covariance matrix that cannot be factorised. The nugget is what
    varies within the distance between readings, without the readings' own error.

    Of a nested model `partial_sill` is the sum of two structures of one family: `long_sill` of it
    has the range long_range_m, the rest the shorter range_m (the books' double spherical, say).

    Where `ratio` is below 1, ranges are those along `heading_deg` (clockwise from north), and the
    ranges across it are `ratio` times them. Distances are then taken between `stretched` positions.

    Source   Matern (1960), Spatial Variation; Stein (1999), Interpolation of Spatial Data, 2.10,
             who writes 2 sqrt(v) h / a (both cited from memory)
    """
    family: str
    nugget: float
    partial_sill: float = 0.0
    range_m: float = float("inf")
    heading_deg: float = 0.0
    ratio: float = 1.0
    long_sill: float = 0.0
    long_range_m: float = float("inf")

    def __post_init__(self):
        if self.family != NUGGET and self.family not in FAMILIES:
            raise InputProblem(f"There is no covariance model {self.family!r}; known are "
                               f"{', '.join([NUGGET, *FAMILIES])}.")
        if not (0 <= self.nugget < np.inf and 0 <= self.partial_sill < np.inf
                and self.range_m > 0):
            raise InputProblem(f"The model {self} needs a nugget and a partial sill of 0 or more, "
                               "both finite, and a range above 0 m.")
        if not (0 < self.ratio <= 1 and np.isfinite(self.heading_deg)):
            raise InputProblem(f"The range across the heading is {self.ratio} of that along "
                               f"{self.heading_deg} degrees; a share above 0 and up to 1 is "
                               "needed, and a heading.")
        if not (0 <= self.long_sill <= self.partial_sill and self.long_range_m >= self.range_m):
            raise InputProblem(f"Of a partial sill of {self.partial_sill}, {self.long_sill} was "
                               f"given the long range of {self.long_range_m} m; it must be from 0 "
                               f"to all of it, and the long range not below {self.range_m} m.")

    @property
    def structured(self):
        """Whether neighbours tell anything of each other."""
        return self.family != NUGGET and self.partial_sill > 0

    @property
    def sill(self):
        """Variance of a value about the mean: nugget and partial sill."""
        return self.nugget + self.partial_sill

    @property
    def nested(self):
        """Whether there are two structures, of a short and of a long range."""
        return self.structured and self.long_sill > 0

    @property
    def structures(self):
        """(partial sill, range in metres) of each structure, the short one first."""
        if not self.structured:
            return ()
        short = self.partial_sill - self.long_sill, self.range_m
        return (short, (self.long_sill, self.long_range_m)) if self.nested else (short,)

    @property
    def effective_range_m(self):
        """Distance beyond which correlation is below 5 %, m; 0 without structure."""
        if not self.structured:
            return 0.0
        ends = [FAMILIES[self.family].reach * range_m for _, range_m in self.structures]
        least = 0.05 * self.partial_sill
        if not self.nested or self.covariance(ends[0]) <= least:
            return ends[0]
        return float(brentq(lambda distance: self.covariance(distance) - least, *ends))

    @property
    def stretch(self):
        """The (2, 2) matrix that turns eastings and northings (n, 2) into stretched ones."""
        heading = np.deg2rad(self.heading_deg)
        across, along = (np.cos(heading), -np.sin(heading)), (np.sin(heading), np.cos(heading))
        return np.column_stack([np.array(across) / self.ratio, along])

    def stretched(self, positions_m):
        """Return (n, 2) positions turned to the heading, and stretched across it by 1 / ratio.

        Between them the model is the same in all directions, with range_m.
        """
        positions = np.asarray(positions_m, float)
        return positions if self.ratio == 1 else positions @ self.stretch

    def covariance(self, distances_m):
        """Return the covariance of the structured part at distances (any shape), metres."""
        distances = np.asarray(distances_m, float)
        if not self.structured:
            return np.zeros(distances.shape)
        correlation = FAMILIES[self.family].correlation
        (sill, range_m), *longer = self.structures
        found = sill * correlation(distances / range_m)
        for sill, range_m in longer:
            found += sill * correlation(distances / range_m)
        return found

    def semivariance(self, distances_m):
        """Return gamma(h), with gamma(0) = 0, at distances (any shape), metres."""
        distances = np.asarray(distances_m, float)
        return np.where(distances > 0, self.sill - self.covariance(distances), 0.0)
