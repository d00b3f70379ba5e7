"""Kriging in which every reading weighs on every target."""
import numpy as np
from scipy.linalg import solve_triangular

from .gridded_kriging import krige_gridded, lattice_of, pays
from .readings_system import ReadingsSystem
from .target_covariance import TargetCovariance
from .threads import in_threads


def krige_global(positions, values, errors, model, targets, *, columns, block_m, numbers, tick):
    """Return estimates (m, d) and variances (m,); arguments as for krige, values (n, d).

    Targets on a regular grid go tile by tile where that is less work; the two ways agree to 1e-9
    of the sill, which is checked each time at a few targets.

    Parameters
        columns  the pair that drift_columns returns
        numbers  most covariances held at once, by each thread
    """
    system = ReadingsSystem(positions, values, errors, model, columns[0])
    toward = TargetCovariance(model, block_m)
    plain = PlainKriging(system, toward, positions, targets, columns[1])
    lattice = lattice_of(targets)
    if lattice is not None and pays(lattice, system, toward, positions):
        found = krige_gridded(lattice, system, toward, positions, targets, columns[1], plain, tick)
        if found is not None:
            return found
    step = max(1, numbers // len(positions))
    estimate, variance = np.empty((len(targets), values.shape[1])), np.empty(len(targets))

    def fill(start):
        block = slice(start, start + step)
        estimate[block], variance[block] = plain.at(block)

    in_threads(fill, list(range(0, len(targets), step)), tick,
               share_of=lambda number: min(number * step, len(targets)) / len(targets))
    return estimate, variance


class PlainKriging:
    """Kriging by triangular solves: whatever the targets and however alike the readings."""

    def __init__(self, system, toward, positions, targets, columns):
        self._system, self._toward = system, toward
        self._positions, self._targets, self._columns = positions, targets, columns

    def at(self, picked):
        """Return estimates (b, d) and variances (b,) at a slice or at (b,) numbers of targets."""
        system, columns = self._system, self._columns[picked]
        offset = self._targets[picked][:, None] - self._positions
        across = self._toward.between(offset[..., 0], offset[..., 1])
        estimate = columns @ system.coefficients + across @ system.residual
        half = solve_triangular(system.lower, across.T, lower=True, overwrite_b=True,
                                check_finite=False)
        unexplained = solve_triangular(system.information,
                                       columns.T - system.whitened.T @ half, lower=True)
        variance = (self._toward.own_variance - np.einsum("ij,ij->j", half, half)
                    + np.einsum("ij,ij->j", unexplained, unexplained))
        return estimate, np.maximum(variance, 0.0)
