"""Leave-one-out validation in which a reading takes no part in the fit it is predicted by."""
import numpy as np

from .leave_one_out import projected_precision, validation_of

FOLDS = 10  # parts that the readings are dealt into


def refitted_check(positions_m, values, error_variance, fit, *, drift=None, seed=0, tick=None):
    """Return the validation of a way of fitting, not of a model: fitted anew without each part.

    The readings are dealt at random into FOLDS parts. For each part a model is fitted to all
    others; by it each reading of the part is predicted from all the other readings. So no reading
    has a say in the model that predicts it, at the price of FOLDS fits.

    Parameters
        positions_m     (n, 2) metres, n at least 2
        values          (n,) any unit
        error_variance  (n,) unit squared
        fit             function of a mask (n,) of readings, the function to tell the fraction done
                        to, that returns the CovarianceModel fitted to them
        drift           None, or (n,) or (n, p) drift at the readings
        seed            of the deal
        tick            called with the fraction done; may raise Stopped
    Returns  Validation
    Raises   InputProblem: as krige
    Source   Hastie, Tibshirani and Friedman (2009), The Elements of Statistical Learning, 2nd
             edition, section 7.10 (from memory)
    """
    tick = tick or (lambda fraction: None)
    values = np.asarray(values, float)
    errors, variance = np.empty(len(values)), np.empty(len(values))
    folds = min(FOLDS, len(values))
    part_of = np.random.default_rng(seed).permutation(len(values)) % folds
    for fold in range(folds):
        part = part_of == fold
        model = fit(~part, lambda share, fold=fold: tick((fold + 0.9 * share) / folds))
        project = projected_precision(positions_m, error_variance, model, drift=drift)
        variance[part] = 1 / np.diag(project)[part]
        errors[part] = (project @ values)[part] * variance[part]
    tick(1.0)
    return validation_of(values, errors, variance)
