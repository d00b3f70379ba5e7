"""Covariance models: how alike two places are, by the distance between them."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem


@dataclass(frozen=True)
class Family:
    """A correlation function of u = distance / range, and its derivative by u."""
    correlation: callable
    slope: callable
    reach: float  # distance, in ranges, beyond which correlation is below 5 %


def _spherical(u):
    return np.where(u < 1, 1 - 1.5 * u + 0.5 * u**3, 0.0)


def _spherical_slope(u):
    return np.where(u < 1, -1.5 + 1.5 * u**2, 0.0)


FAMILIES = {
    "spherical": Family(_spherical, _spherical_slope, 1.0),
    "exponential": Family(lambda u: np.exp(-u), lambda u: -np.exp(-u), 2.996),
}
NUGGET = "nugget"  # the model without structure: readings tell nothing of their neighbours


@dataclass(frozen=True)
class CovarianceModel:
    """Covariance C(h) = partial_sill * correlation(h / range_m); a reading adds the nugget.

    The spherical model ends at its range; of the exponential, the range parameter is a third of
    the distance at which correlation falls to 5 % (exp(-h / a), not exp(-3h / a)). The nugget
    is what varies within the distance between readings, without the readings' own error.
    """
    family: str
    nugget: float
    partial_sill: float = 0.0
    range_m: float = float("inf")

    def __post_init__(self):
        if self.family != NUGGET and self.family not in FAMILIES:
            raise InputProblem(f"There is no covariance model {self.family!r}; known are "
                               f"{', '.join([NUGGET, *FAMILIES])}.")
        if not (self.nugget >= 0 and self.partial_sill >= 0 and self.range_m > 0):
            raise InputProblem(f"The model {self} needs a nugget and a partial sill of 0 or more "
                               "and a range above 0 m.")

    @property
    def structured(self):
        """Whether neighbours tell anything of each other."""
        return self.family != NUGGET and self.partial_sill > 0

    @property
    def sill(self):
        """Variance of a value about the mean: nugget and partial sill."""
        return self.nugget + self.partial_sill

    @property
    def effective_range_m(self):
        """Distance beyond which correlation is below 5 %, m; 0 without structure."""
        return FAMILIES[self.family].reach * self.range_m if self.structured else 0.0

    def covariance(self, distances_m):
        """Return the covariance of the structured part at distances (any shape), metres."""
        distances = np.asarray(distances_m, float)
        if not self.structured:
            return np.zeros(distances.shape)
        return self.partial_sill * FAMILIES[self.family].correlation(distances / self.range_m)

    def semivariance(self, distances_m):
        """Return gamma(h), with gamma(0) = 0, at distances (any shape), metres."""
        distances = np.asarray(distances_m, float)
        return np.where(distances > 0, self.sill - self.covariance(distances), 0.0)
