"""Leave-one-out validation in closed form, against the plain mean."""
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve

from .readings_system import (
    drift_columns,
    factor_of_information,
    factorised,
    reading_covariance,
)

NORMAL_90 = 1.6448536269514722  # 95 % point of the normal distribution
COLUMNS = 256  # of the inverse solved for between two ticks: some 20 ms of 2,000 readings


@dataclass(frozen=True)
class Validation:
    """How well readings left out are predicted by the others.

    errors          (n,) reading less prediction
    variance        (n,) expected squared error, the reading's own error included
    mean_error, rmse            in the readings' unit
    rmse_of_mean                of predicting each by the mean of the others
    standardised_square_mean    near 1 when the stated errors are right
    standardised_square_median  near 0.455 when they are right and normal
    coverage_90                 share of readings inside their 90 % interval
    """
    errors: np.ndarray
    variance: np.ndarray
    mean_error: float
    rmse: float
    rmse_of_mean: float
    standardised_square_mean: float
    standardised_square_median: float
    coverage_90: float

    @property
    def skill(self):
        """Share of the mean's squared error that the map takes away; at 0 the mean is as good."""
        return 1 - (self.rmse / self.rmse_of_mean) ** 2 if self.rmse_of_mean > 0 else 0.0


def leave_one_out(positions_m, values, error_variance, model, *, drift=None, tick=None):
    """Return the validation of a model on all readings, each predicted from all the others.

    The model stays as fitted to all of them, which flatters it a little. Clustered readings
    flatter it too. Memory grows with the square of n, time with its cube, once.

    Parameters
        positions_m     (n, 2) metres, n at least 2
        values          (n,) any unit
        error_variance  (n,) unit squared
        model           CovarianceModel
        drift           None, or (n,) or (n, p) drift at the readings, as for fit_reml
        tick            called with the fraction done; may raise Stopped
    Returns  Validation
    Raises   InputProblem: as krige
    Source   Dubrule (1983), Mathematical Geology 15:687-699; the median of 0.455:
             Lark (2000), European Journal of Soil Science 51:717-728 (cited from memory)
    """
    values = np.asarray(values, float)
    project = projected_precision(positions_m, error_variance, model, drift=drift, tick=tick)
    variance = 1 / np.diag(project)
    return validation_of(values, (project @ values) * variance, variance)


def validation_of(values, errors, variance):
    """Return the Validation of readings (n,) by their errors (n,) and the variances expected."""
    count = len(values)
    of_mean = (values - values.mean()) * count / (count - 1)
    standardised = errors**2 / variance
    return Validation(
        errors, variance, float(errors.mean()), float(np.sqrt((errors**2).mean())),
        float(np.sqrt((of_mean**2).mean())), float(standardised.mean()),
        float(np.median(standardised)), float((standardised <= NORMAL_90**2).mean()))


def projected_precision(positions_m, error_variance, model, *, drift=None, tick=None):
    """Return B (n, n): the readings' inverse covariance with the unknown mean projected out.

    Of readings z, value i given all others is normal with mean z_i - (B z)_i / B_ii and variance
    1 / B_ii. With drift the mean is a constant and an unknown multiple of each column.
    """
    matrix = reading_covariance(positions_m, error_variance, model)
    count = len(matrix)
    columns = drift_columns(None if drift is None else (drift, drift), count, count)[0]
    factor, inverse = factorised(matrix), np.eye(count, order="F")
    for start in range(0, count, COLUMNS):
        block = slice(start, start + COLUMNS)
        if tick is not None:
            tick(start / count)
        inverse[:, block] = cho_solve(factor, inverse[:, block])
    seen = inverse @ columns
    half = np.linalg.solve(factor_of_information(columns.T @ seen), seen.T)
    return inverse - half.T @ half
