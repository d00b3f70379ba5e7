"""The restricted log-likelihood that fit_reml makes greatest, of any model."""
from plugin.core.interpolate.reml import _Likelihood


def restricted_log_likelihood(positions_m, values, error_variance, model, *, drift=None):
    """Arguments as for fit_reml; drift counts as centred and divided by its spread."""
    likelihood = _Likelihood.of(positions_m, values, error_variance, drift)
    return -likelihood.negative(likelihood.matrix(model))[0]
