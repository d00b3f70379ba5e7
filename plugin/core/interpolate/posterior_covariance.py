"""How errors at two places go together once the readings are known: what one more reading tells."""
import numpy as np
from scipy.linalg import solve_triangular
from scipy.spatial.distance import cdist

from .kriging import _factor, mean_without_structure, reading_covariance


class Posterior:
    """The covariance of the errors of ordinary kriging, between any two sets of places.

    It is that of the structured part and of the mean, so that of ground wide enough for the
    nugget to average out: `krige` adds the nugget to its variance. It does not depend on the
    readings' values. Of a model without structure it is the variance of the mean, the same
    everywhere.

    Parameters
        positions_m, error_variance, model   as for krige
    Raises   InputProblem: as krige
    Source   Cressie (1993), Statistics for Spatial Data, 3.2 (the kriging variance, with the
             covariance of two targets in place of the variance of one); from memory, checked in
             the tests against kriging with the reading added
    """

    def __init__(self, positions_m, error_variance, model):
        self._model = model
        self._positions = model.stretched(positions_m)
        if model.structured:
            self._factor = _factor(reading_covariance(positions_m, error_variance, model))[0]
            self._ones = solve_triangular(self._factor, np.ones(len(self._factor)), lower=True)
            self._mean_variance = 1 / (self._ones @ self._ones)
        else:
            values = np.zeros(len(self._positions))
            self._mean_variance = float(mean_without_structure(values, error_variance, model)[1])

    def between(self, places_m, others_m):
        """Return the (a, b) covariance between (a, 2) places and (b, 2) others, metres."""
        places, others = self._model.stretched(places_m), self._model.stretched(others_m)
        if not self._model.structured:
            return np.full((len(places), len(others)), self._mean_variance)
        (half, left), (other_half, other_left) = self._seen(places), self._seen(others)
        return (self._model.covariance(cdist(places, others)) - half.T @ other_half
                + np.outer(left, other_left) * self._mean_variance)

    def variance(self, places_m):
        """Return the variance (a,) at (a, 2) places, metres; 0 or more."""
        places = self._model.stretched(places_m)
        if not self._model.structured:
            return np.full(len(places), self._mean_variance)
        half, left = self._seen(places)
        return np.maximum(self._model.partial_sill - np.einsum("ij,ij->j", half, half)
                          + left**2 * self._mean_variance, 0.0)

    def _seen(self, places):
        """What the readings show of places, whitened (n, a), and the mean's part left (a,)."""
        half = solve_triangular(self._factor,
                                self._model.covariance(cdist(self._positions, places)), lower=True)
        return half, 1 - self._ones @ half
