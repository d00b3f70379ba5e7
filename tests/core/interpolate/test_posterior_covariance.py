import numpy as np
import pytest

from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.kriging import krige
from plugin.core.interpolate.posterior_covariance import Posterior

GENERATOR = np.random.default_rng(41)
SITES = GENERATOR.uniform(0, 100, (15, 2))
ERRORS = GENERATOR.uniform(0.2, 2.0, 15)
PLACES = GENERATOR.uniform(0, 100, (6, 2))
MODELS = [CovarianceModel("spherical", 1.5, 6.0, 70.0),
          CovarianceModel("exponential", 0.0, 4.0, 25.0), CovarianceModel("nugget", 3.0)]


def variance_of_weighted_sum(model, weights):
    """Variance of the error of kriging sum(weights x value at PLACES), by its definition.

    The kriging weights of a sum are the sums of the kriging weights; they are read off by kriging
    unit vectors. The error is the sum less the weighted readings, and its variance that of a
    linear combination of the structured parts, of which the mean cancels as weights add up.
    """
    unit = krige(SITES, np.eye(len(SITES)), ERRORS, model, PLACES).estimate  # (m, n) weights
    combined = np.concatenate([weights, -weights @ unit])
    points = np.vstack([PLACES, SITES])
    apart = np.linalg.norm(points[:, None] - points, axis=-1)
    own = np.concatenate([np.zeros(len(PLACES)), model.nugget + ERRORS])
    return combined @ (model.covariance(apart) + np.diag(own)) @ combined


@pytest.mark.parametrize("model", MODELS)
def test_the_variance_of_a_sum_over_places_is_that_of_its_kriging_error(model):
    # A covariance matrix is right when it gives every weighted sum its variance.
    covariance = Posterior(SITES, ERRORS, model).between(PLACES, PLACES)
    for weights in np.vstack([np.eye(6), np.random.default_rng(2).normal(size=(8, 6))]):
        assert weights @ covariance @ weights == pytest.approx(
            variance_of_weighted_sum(model, weights), rel=1e-9)  # rounding only


@pytest.mark.parametrize("model", MODELS)
def test_with_the_nugget_added_the_variance_is_krigings(model):
    kriged = krige(SITES, np.zeros(15), ERRORS, model, PLACES).variance
    posterior = Posterior(SITES, ERRORS, model)
    assert posterior.variance(PLACES) + model.nugget == pytest.approx(kriged, rel=1e-10)
    assert np.diag(posterior.between(PLACES, PLACES)) == pytest.approx(
        posterior.variance(PLACES), rel=1e-10)


@pytest.mark.parametrize("model", MODELS)
def test_what_a_reading_takes_away_is_what_kriging_again_with_it_takes_away(model):
    # var(j) - cov(j, s)^2 / (var(s) + nugget + error) for a reading at s, whatever it reads
    posterior, place, error = Posterior(SITES, ERRORS, model), np.array([[40.0, 60.0]]), 0.7
    read = posterior.variance(place)[0] + model.nugget + error
    told = posterior.variance(PLACES) - posterior.between(PLACES, place)[:, 0]**2 / read
    again = Posterior(np.vstack([SITES, place]), np.append(ERRORS, error), model)
    assert told == pytest.approx(again.variance(PLACES), rel=1e-9)
