"""The covariance of readings among each other, factorised, and what it tells of their drift."""
import numpy as np
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.spatial.distance import cdist

from ..problems import InputProblem

LEAST_INFORMATION = 1e-10  # of one drift column beside the others, as a share of its own


def reading_covariance(positions_m, error_variance, model):
    """Return the (n, n) covariance of the readings, nugget and own errors on the diagonal.

    Raises   InputProblem: readings with neither nugget nor error share a place
    """
    positions, errors = np.asarray(positions_m, float), np.asarray(error_variance, float)
    check_places(positions, errors, model)
    stretched = model.stretched(positions)
    matrix = model.covariance(cdist(stretched, stretched))
    matrix[np.diag_indices_from(matrix)] += model.nugget + errors
    return matrix


def check_places(positions, errors, model):
    """Raise InputProblem where readings with neither nugget nor error share a place.

    Rounding can hide such a singular matrix from the solvers, which then return noise.
    """
    exact = positions[model.nugget + errors == 0]
    if len(np.unique(exact, axis=0)) < len(exact):
        raise undetermined(len(positions))


def factorised(matrix):
    """Return scipy's lower Cholesky factor of a covariance matrix, for cho_solve.

    Raises   InputProblem: the matrix is not positive definite
    """
    try:
        return cho_factor(matrix, lower=True)
    except np.linalg.LinAlgError as singular:
        raise undetermined(len(matrix)) from singular


def undetermined(count):
    """The InputProblem of readings that do not determine the estimates."""
    return InputProblem(
        f"{count} readings do not determine the estimates: some share one place, or lie too close "
        "together for a model as smooth, and neither a nugget nor an error of their own tells them "
        "apart. Average the readings of a place, give their errors, or take a family that is less "
        "smooth.")


def drift_columns(drift, readings, targets):
    """Return the (n, q) and (m, q) columns that the mean is made of: a constant, then the drift.

    Drift is centred and scaled by what the readings show of it, which changes no estimate.

    Parameters
        drift     None, or a pair: (n,) or (n, p) at the readings, (m,) or (m, p) at the targets
        readings  n
        targets   m
    Raises   InputProblem: shapes that do not match, a figure missing, a column that is the same
             at all readings, or as many columns as readings
    """
    if drift is None:
        return np.ones((readings, 1)), np.ones((targets, 1))
    at_readings, at_targets = (np.asarray(part, float) for part in drift)
    at_readings = at_readings.reshape(len(at_readings), -1)
    at_targets = at_targets.reshape(len(at_targets), at_readings.shape[1])
    if (len(at_readings), len(at_targets)) != (readings, targets):
        raise InputProblem(f"Drift came for {len(at_readings)} readings and {len(at_targets)} "
                           f"targets; there are {readings} and {targets}.")
    for place, part in (("readings", at_readings), ("targets", at_targets)):
        missing = np.count_nonzero(~np.isfinite(part).all(axis=1))
        if missing:
            raise InputProblem(f"Drift is missing at {missing} of {len(part)} {place}.")
    if readings <= 1 + at_readings.shape[1]:
        raise InputProblem(f"{readings} readings cannot show a drift of {at_readings.shape[1]} "
                           "columns and a constant; more readings are needed.")
    centre, spread = at_readings.mean(axis=0), at_readings.std(axis=0)
    flat = np.flatnonzero(spread <= 1e-12 * np.abs(at_readings).max(axis=0))
    if len(flat):
        raise InputProblem(f"Column {flat[0] + 1} of the drift is the same at all {readings} "
                           "readings, which then cannot show its effect. Leave it out.")
    return tuple(np.column_stack([np.ones(len(part)), (part - centre) / spread])
                 for part in (at_readings, at_targets))


class ReadingsSystem:
    """What is the same for all targets: the factor, the mean's coefficients, the residuals.

    lower         (n, n) lower Cholesky factor of the readings' covariance
    whitened      (n, q) lower^-1 times the drift columns
    information   (q, q) lower Cholesky factor of the information on the coefficients
    coefficients  (q, d) of the mean, by generalised least squares
    residual      (n, d) inverse covariance times readings less their mean

    Parameters
        positions_m, error_variance, model   as for krige
        values   (n, d)
        columns  (n, q) of drift_columns
    Raises   InputProblem: the readings do not determine the estimates
    """

    def __init__(self, positions_m, values, error_variance, model, columns):
        matrix = reading_covariance(positions_m, error_variance, model)
        self.norm = np.abs(matrix).sum(axis=0).max()
        factor = factorised(matrix)
        self.lower = np.asfortranarray(np.tril(factor[0]))
        self.whitened = solve_triangular(self.lower, columns, lower=True)
        self.information = factor_of_information(self.whitened.T @ self.whitened)
        self.coefficients = cho_solve((self.information, True),
                                      self.whitened.T @ solve_triangular(self.lower, values,
                                                                         lower=True))
        self.residual = cho_solve(factor, values - columns @ self.coefficients)


def factor_of_information(information):
    """Return the lower Cholesky factor of the (q, q) information on a drift's coefficients.

    Raises   InputProblem: some columns are, or nearly are, sums of others
    """
    own = np.diag(information)
    try:
        factor = np.linalg.cholesky(information)
    except np.linalg.LinAlgError:
        factor = np.zeros_like(information)
    if (np.diag(factor)**2 < LEAST_INFORMATION * own).any():
        raise InputProblem("Some columns of the drift say the same at the readings (of readings "
                           "in one line, easting and northing do), so their effects cannot be "
                           "told apart. Leave one of them out.")
    return factor
