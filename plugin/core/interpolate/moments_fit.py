"""Models of large sets by the method of moments: all pairs of readings, through their variogram."""
import numpy as np

from .covariance import NUGGET
from .reml import Fit
from .variogram import experimental_variogram
from .variogram_fit import LEAST_NESTED_BINS, fit_nested_variogram, fit_variogram

BINS = 20
CUTOFF_SHARE = 0.5   # of the longer side of the readings' bounding box: common practice
PAIRS_SHARE = 0.9    # of the work, that goes into the pairs of some thousand readings
PARAMETERS = {"nugget": 1, "single": 3, "nested": 5}


def fit_moments(positions_m, values, error_variance, *, families, tick=None):
    """Return candidates fitted to the variogram of all readings, the best (smallest AICc) first.

    Of each family one structure with a nugget is fitted, and two of them, by least squares with
    weights N / h^2; a second structure that takes no sill makes no candidate. AICc takes the
    weighted residuals of the bins for independent, which they are not: it ranks the candidates,
    no more. There is none where fewer than LEAST_NESTED_BINS bins hold pairs. Time grows with the
    square of n.

    Parameters
        positions_m     (n, 2) metres, not all at one place
        values          (n,) any unit, not all equal
        error_variance  (n,) known error variance of each value, unit squared, taken off
        families        NUGGET or names in FAMILIES
        tick            called with the fraction done; may raise Stopped
    Returns  list of Fit, without a likelihood (None)
    Raises   InputProblem: as experimental_variogram
    Source   Webster and McBratney (1989), Journal of Soil Science 40:493-496, AIC of variogram
             models; corrected for few bins as Hurvich and Tsai (1989), Biometrika 76:297-307
             (both from memory)
    """
    tick = tick or (lambda fraction: None)
    cutoff = CUTOFF_SHARE * float(np.ptp(positions_m, axis=0).max())
    variogram = experimental_variogram(positions_m, values, cutoff_m=cutoff, bins=BINS,
                                       error_variance=error_variance,
                                       tick=lambda part: tick(PAIRS_SHARE * part))
    count = np.count_nonzero(variogram.distances_m > 0)
    if count < LEAST_NESTED_BINS:
        return []
    fits, nested = [], []
    for done, family in enumerate(families):
        tick(PAIRS_SHARE + (1 - PAIRS_SHARE) * done / len(families))
        fits.append(fit_variogram(variogram, family))
        if family != NUGGET:
            nested.append(fit_nested_variogram(
                variogram, family, tick=lambda part, done=done: tick(
                    PAIRS_SHARE + (1 - PAIRS_SHARE) * (done + part) / len(families))))
    fits += [fit for fit in nested if fit.model.nested]
    tick(1.0)
    return sorted((Fit(fit.model, None, _aicc(fit, count)) for fit in fits),
                  key=lambda fit: fit.aicc)


def _aicc(fit, count):
    kind = ("nested" if fit.model.nested else
            NUGGET if fit.model.family == NUGGET else "single")
    parameters = PARAMETERS[kind]
    left = count - parameters - 1
    correction = 2 * parameters * (parameters + 1) / left if left > 0 else np.inf
    return float(count * np.log(max(fit.weighted_sse, np.finfo(float).tiny) / count)
                 + 2 * parameters + correction)
