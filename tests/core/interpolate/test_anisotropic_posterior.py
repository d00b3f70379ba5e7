"""Draws and error covariances of a model that reaches further along a heading."""
import numpy as np
import pytest

from plugin.core.interpolate.conditional_draws import conditional_draws
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.kriging import krige
from plugin.core.interpolate.posterior_covariance import Posterior

ALONG = CovarianceModel("exponential", 0.3, 2.0, 30.0, heading_deg=30.0, ratio=0.4)
GENERATOR = np.random.default_rng(2)
PLACES, VALUES = GENERATOR.uniform(0, 100, (30, 2)), GENERATOR.normal(20, 3, 30)
ERRORS, TARGETS = np.full(30, 0.2), GENERATOR.uniform(0, 100, (8, 2))
KRIGED = krige(PLACES, VALUES, ERRORS, ALONG, TARGETS)


def test_the_error_variance_is_that_of_kriging_without_the_nugget():
    posterior = Posterior(PLACES, ERRORS, ALONG)
    assert posterior.variance(TARGETS) == pytest.approx(KRIGED.variance - 0.3, rel=1e-9)
    assert np.diag(posterior.between(TARGETS, TARGETS)) == pytest.approx(
        KRIGED.variance - 0.3, rel=1e-9)


def test_draws_have_the_mean_and_the_variance_of_kriging():
    drawn = conditional_draws(PLACES, VALUES, ERRORS, ALONG, TARGETS, draws=20_000, seed=1)
    # of 20,000 draws the mean is off by 1/141 standard deviation and a variance by 1 %; 4 of these
    off = (drawn.mean(axis=0) - KRIGED.estimate) / np.sqrt(KRIGED.variance)
    assert np.abs(off).max() < 4 / np.sqrt(20_000)
    assert drawn.var(axis=0) == pytest.approx(KRIGED.variance, rel=0.04)
