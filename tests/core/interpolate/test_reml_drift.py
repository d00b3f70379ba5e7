"""Restricted likelihood with drift and with a heading."""
import numpy as np
import pytest
from scipy.linalg import null_space
from scipy.stats import multivariate_normal

from plugin.core.interpolate.covariance import FAMILIES, NUGGET, CovarianceModel
from plugin.core.interpolate.kriging import krige
from plugin.core.interpolate.leave_one_out import leave_one_out, projected_precision
from plugin.core.interpolate.readings_system import reading_covariance
from plugin.core.interpolate.reml import fit_reml
from plugin.core.problems import InputProblem
from tests.core.interpolate.restricted_likelihood import restricted_log_likelihood

MODEL = CovarianceModel("exponential", 0.5, 2.0, 15.0)
ALONG = CovarianceModel("exponential", 0.05, 2.0, 40.0, heading_deg=20.0, ratio=0.25)


def simulated(model, seed, count=60, slope=(0.0, 0.0)):
    generator = np.random.default_rng(seed)
    places = generator.uniform(0, 100, (count, 2))
    root = np.linalg.cholesky(reading_covariance(places, np.zeros(count), model))
    return (places, 10 + places @ slope + root @ generator.standard_normal(count),
            np.zeros(count))


def test_the_likelihood_is_the_normal_density_of_contrasts_free_of_the_drift():
    # K'z of an orthonormal K with K'X = 0; restricted log-likelihood: less log|X'X| / 2, with X
    # of a constant and columns scaled to mean 0 and standard deviation 1 (Harville 1974)
    places, values, errors = simulated(MODEL, 1, slope=(0.1, 0.2))
    errors = errors + 0.3
    columns = np.column_stack([np.ones(60), (places - places.mean(axis=0)) / places.std(axis=0)])
    contrasts = null_space(columns.T)
    for model in (MODEL, ALONG):
        covariance = contrasts.T @ reading_covariance(places, errors, model) @ contrasts
        density = multivariate_normal(np.zeros(57), covariance).logpdf(contrasts.T @ values)
        expected = density - 0.5 * np.linalg.slogdet(columns.T @ columns)[1]
        assert restricted_log_likelihood(places, values, errors, model, drift=places) == (
            pytest.approx(expected, rel=1e-10))


def test_a_trend_added_to_the_values_changes_no_fit_with_drift():
    places, values, errors = simulated(MODEL, 3)
    for one, other in zip(fit_reml(places, values, errors, drift=places),
                          fit_reml(places, values + places @ [3.0, -1.0], errors, drift=places)):
        assert one.model.family == other.model.family
        assert one.log_likelihood == pytest.approx(other.log_likelihood, abs=1e-5)  # two searches


def test_without_drift_a_trend_passes_for_a_long_range_and_with_it_for_none():
    places, values, errors = simulated(CovarianceModel(NUGGET, 1.0), 4, slope=(0.3, 0.0))
    assert fit_reml(places, values, errors)[0].model.structured
    best = fit_reml(places, values, errors, drift=places)[0].model
    # 1.0 is the truth; its estimate from 57 degrees of freedom is off by 19 % as a rule
    assert (best.family, best.nugget) == (NUGGET, pytest.approx(1.0, rel=0.5))


@pytest.mark.parametrize("family", FAMILIES)
def test_no_heading_or_ratio_near_the_fitted_one_is_more_likely(family):
    places, values, errors = simulated(ALONG, 5, count=80)
    fit = min((fit for fit in fit_reml(places, values, errors, families=(family,),
                                       heading_deg=20.0)), key=lambda fit: -fit.log_likelihood)
    best = fit.model
    for factor in (0.97, 1.03):
        ratio = min(best.ratio * factor, 1.0)
        near = CovarianceModel(family, best.nugget, best.partial_sill, best.range_m,
                               best.heading_deg, ratio)
        assert restricted_log_likelihood(places, values, errors, near) <= (
            fit.log_likelihood + 1e-4 * abs(fit.log_likelihood))


@pytest.mark.parametrize(("asked", "found"), [(20.0, 20.0), (110.0, 20.0)])
def test_the_longer_range_is_found_along_the_heading_or_across_it(asked, found):
    fits = [fit_reml(*simulated(ALONG, 50 + seed, count=100), families=("exponential",),
                     heading_deg=asked)[0].model for seed in range(5)]
    assert [fit.heading_deg for fit in fits] == [found] * 5
    # 0.25 is the truth; single fits of 100 readings scatter by a third
    assert np.median([fit.ratio for fit in fits]) == pytest.approx(0.25, rel=0.4)


def test_a_heading_that_tells_nothing_costs_a_parameter_and_is_not_chosen():
    chosen = [fit_reml(*simulated(MODEL, 80 + seed), families=("exponential",),
                       heading_deg=0.0)[0].model.ratio for seed in range(5)]
    assert chosen.count(1.0) >= 4  # one parameter too many is let in in about one of eight


def test_readings_left_out_with_drift_are_those_predicted_without_them():
    places, values, errors = simulated(MODEL, 6, count=20, slope=(0.1, 0.0))
    found = leave_one_out(places, values, errors, MODEL, drift=places)
    for left in range(20):
        others = np.arange(20) != left
        alone = krige(places[others], values[others], errors[others], MODEL, places[left:left + 1],
                      drift=(places[others], places[left:left + 1]))
        assert found.errors[left] == pytest.approx(values[left] - alone.estimate[0], abs=1e-8)
        assert found.variance[left] == pytest.approx(alone.variance[0], rel=1e-8)


def test_the_projected_precision_knows_no_drift():
    places, _, errors = simulated(MODEL, 7)
    project = projected_precision(places, errors, MODEL, drift=places)
    assert np.abs(project @ np.column_stack([np.ones(60), places])).max() < 1e-10  # rounding


def test_values_that_the_drift_explains_are_refused():
    places, _, errors = simulated(MODEL, 8)
    with pytest.raises(InputProblem, match="60 readings follow the slope or the layers"):
        fit_reml(places, places @ [1.0, 2.0], errors, drift=places)
