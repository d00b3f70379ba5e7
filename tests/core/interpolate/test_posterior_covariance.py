import numpy as np
import pytest

from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.kriging import krige
from plugin.core.interpolate.posterior_covariance import Posterior
from tests.core.interpolate.universal_kriging import errors_together

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


def figures(places):
    """A slope, and another layer."""
    return np.column_stack([places, np.sin(places[:, 0] / 15)])


@pytest.mark.parametrize("model", MODELS)
def test_with_a_drift_it_is_the_covariance_of_universal_krigings_errors(model):
    posterior = Posterior(SITES, ERRORS, model, drift=figures(SITES))
    found = posterior.between(PLACES, PLACES, drift=(figures(PLACES), figures(PLACES)))
    expected = errors_together(model, SITES, ERRORS, PLACES, (figures(SITES), figures(PLACES)))
    assert found == pytest.approx(expected, abs=1e-9 * expected.max())  # rounding only
    assert posterior.variance(PLACES, drift=figures(PLACES)) == pytest.approx(
        np.diag(expected), rel=1e-8)
    some = posterior.between(PLACES[:2], PLACES[2:], drift=(figures(PLACES[:2]),
                                                            figures(PLACES[2:])))
    assert some == pytest.approx(found[:2, 2:], rel=1e-9)


@pytest.mark.parametrize("model", MODELS)
def test_a_reading_takes_away_what_it_tells_of_the_drift_too(model):
    # cov(i, j) - cov(i, s) cov(s, j) / (var(s) + nugget + error) is that of kriging again with a
    # reading at s, which centres and scales the drift anew
    posterior, error = Posterior(SITES, ERRORS, model, drift=figures(SITES)), 0.7
    place = np.array([[160.0, 60.0]])  # east of all readings, where the slope is known least
    towards = posterior.between(PLACES, place, drift=(figures(PLACES), figures(place)))
    read = posterior.variance(place, drift=figures(place))[0] + model.nugget + error
    told = (posterior.between(PLACES, PLACES, drift=(figures(PLACES), figures(PLACES)))
            - towards @ towards.T / read)
    sites = np.vstack([SITES, place])
    again = Posterior(sites, np.append(ERRORS, error), model, drift=figures(sites))
    found = again.between(PLACES, PLACES, drift=(figures(PLACES), figures(PLACES)))
    assert told == pytest.approx(found, abs=1e-9 * np.diag(told).max())
    # and it tells more than it would of a mean that is the same everywhere
    plain = Posterior(SITES, ERRORS, model).between(PLACES, place)
    assert (np.abs(towards) > np.abs(plain)).any()
