"""Draws of the whole field, given the readings: for totals over areas and for decisions."""
import numpy as np
from scipy.linalg import lapack, solve_triangular
from scipy.spatial.distance import cdist

from ..problems import InputProblem
from .kriging import coefficients_without_structure
from .readings_system import ReadingsSystem, drift_columns

MOST_TARGETS = 2000  # a square matrix of it takes 32 MB


def thinned_cells(inside, most=1500):
    """Return flat numbers of at most `most` cells in the field, on a regular coarser grid."""
    rows, columns = inside.shape
    stride = 1
    while True:
        first_row, first_column = min(stride, rows) // 2, min(stride, columns) // 2
        picked = np.nonzero(inside[first_row::stride, first_column::stride] > 0)
        cells = ((first_row + picked[0] * stride) * columns
                 + first_column + picked[1] * stride)
        if len(cells) <= most:
            return cells if len(cells) else np.flatnonzero(inside > 0)[:1]
        stride += 1


def conditional_draws(positions_m, values, error_variance, model, targets_m, *, drift=None,
                      draws=200, seed=0, tick=None):
    """Return draws (d, m) of the underlying value at targets, given the readings.

    Each draw varies as the model says and agrees with the readings up to their own errors; the
    uncertainty of the mean, of a drift's factors too, is in it; the mean of many draws is the
    kriging estimate and their variance the kriging variance, on the support of one reading. The
    model itself is taken as known.

    Parameters
        positions_m, values, error_variance, model   as for krige, values (n,)
        targets_m   (m, 2) metres, m at most MOST_TARGETS
        drift       as for krige
        draws       number of draws d
        seed        of the random numbers
        tick        called with the fraction done; may raise Stopped
    Returns  (d, m) array in the unit of values
    Raises   InputProblem: more than MOST_TARGETS targets, or as krige
    Source   Cressie (1993), Statistics for Spatial Data, 3.6 (conditional simulation), 3.4 (drift)
    """
    targets = np.asarray(targets_m, float)
    if len(targets) > MOST_TARGETS:
        raise InputProblem(f"{len(targets)} places were asked for at once; at most "
                           f"{MOST_TARGETS} are drawn together.")
    values = np.asarray(values, float)[:, None]
    columns, at_targets = drift_columns(drift, len(values), len(targets))
    generator = np.random.default_rng(seed)
    if not model.structured:
        coefficients, root = coefficients_without_structure(values, error_variance, model, columns)
        drawn = coefficients.T + generator.standard_normal((draws, len(root))) @ root.T
        return (drawn @ at_targets.T
                + np.sqrt(model.nugget) * generator.standard_normal((draws, len(targets))))
    tick = tick or (lambda fraction: None)
    system = ReadingsSystem(positions_m, values, error_variance, model, columns)
    places = model.stretched(targets)
    across = model.covariance(cdist(model.stretched(positions_m), places))
    tick(0.2)
    half = solve_triangular(system.lower, across, lower=True)
    centre = (at_targets @ system.coefficients + across.T @ system.residual)[:, 0]
    tick(0.4)
    unexplained = solve_triangular(system.information, at_targets.T - system.whitened.T @ half,
                                   lower=True)
    spread = (model.covariance(cdist(places, places)) - half.T @ half
              + unexplained.T @ unexplained)
    spread[np.diag_indices_from(spread)] += model.nugget
    tick(0.6)
    root = _root(spread)
    tick(0.8)
    drawn = centre + generator.standard_normal((draws, len(targets))) @ root.T
    tick(1.0)
    return drawn


def _root(covariance):
    """A matrix whose product with its transpose is the covariance; what is but rounding is 0.

    Cholesky with pivots, which takes a tenth of the time of eigenvectors.
    """
    factor, pivots, rank, _ = lapack.dpstrf(covariance, lower=1)
    root = np.zeros_like(covariance)
    root[pivots - 1, :rank] = np.tril(factor)[:, :rank]
    return root
