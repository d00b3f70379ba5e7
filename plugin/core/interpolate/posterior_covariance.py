"""How errors at two places go together once the readings are known: what one more reading tells."""
import numpy as np
from scipy.linalg import solve_triangular
from scipy.spatial.distance import cdist

from .kriging import coefficients_without_structure
from .readings_system import ReadingsSystem, drift_columns


class Posterior:
    """The covariance of the errors of kriging, between any two sets of places.

    It is that of the structured part and of the mean, so that of ground wide enough for the
    nugget to average out: `krige` adds the nugget to its variance. It does not depend on the
    readings' values. Of a model without structure it is that of the mean: without drift the same
    everywhere. With a drift (universal kriging) what the readings leave open of its factors is in
    it. So a further reading, whatever it reads, takes off what the covariance with it tells, and
    that is what kriging again with it takes off, the drift's factors told anew.

    Parameters
        positions_m, error_variance, model   as for krige
        drift   None, or (n, p) drift at the readings
    Raises   InputProblem: as krige
    Source   Cressie (1993), Statistics for Spatial Data, 3.2 and 3.4 (the kriging variance, with
             the covariance of two targets in place of the variance of one); from memory, checked
             in the tests against kriging with the reading added
    """

    def __init__(self, positions_m, error_variance, model, *, drift=None):
        self._model, self._drift = model, drift
        self._positions = model.stretched(positions_m)
        count = len(self._positions)
        columns = drift_columns(None if drift is None else (drift, drift), count, count)[0]
        values = np.zeros((count, 1))
        if model.structured:
            self._system = ReadingsSystem(positions_m, values, error_variance, model, columns)
        else:
            self._root = coefficients_without_structure(values, error_variance, model, columns)[1]

    def between(self, places_m, others_m, *, drift=(None, None)):
        """Return the (a, b) covariance between (a, 2) places and (b, 2) others, metres.

        `drift` is that at the places, (a, p), and at the others, (b, p), where there is one.
        """
        half, left = self._seen(places_m, drift[0])
        other_half, other_left = self._seen(others_m, drift[1])
        found = left.T @ other_left
        if self._model.structured:
            found += self._model.covariance(cdist(self._model.stretched(places_m),
                                                  self._model.stretched(others_m)))
            found -= half.T @ other_half
        return found

    def variance(self, places_m, *, drift=None):
        """Return the variance (a,) at (a, 2) places, metres; 0 or more. `drift` as (a, p)."""
        half, left = self._seen(places_m, drift)
        own = self._model.partial_sill if self._model.structured else 0.0
        return np.maximum(own - np.einsum("ij,ij->j", half, half)
                          + np.einsum("ij,ij->j", left, left), 0.0)

    def _seen(self, places_m, drift):
        """What the readings show of places, whitened (n, a), and what they leave open of the mean
        there, whitened (q, a)."""
        pair = None if self._drift is None else (self._drift, drift)
        columns = drift_columns(pair, len(self._positions), len(places_m))[1]
        if not self._model.structured:
            return np.zeros((0, len(places_m))), self._root.T @ columns.T
        apart = cdist(self._positions, self._model.stretched(places_m))
        half = solve_triangular(self._system.lower, self._model.covariance(apart), lower=True)
        return half, solve_triangular(self._system.information,
                                      columns.T - self._system.whitened.T @ half, lower=True)
