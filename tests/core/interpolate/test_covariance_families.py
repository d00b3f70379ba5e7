import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import gamma, kv

from plugin.core.interpolate.covariance import CANDIDATES, FAMILIES, CovarianceModel
from plugin.core.interpolate.reml import fit_reml

MATERN = {"exponential": 0.5, "matern_3_2": 1.5, "matern_5_2": 2.5}


@pytest.mark.parametrize(("family", "smoothness"), MATERN.items())
def test_materns_family_is_that_of_its_bessel_functions(family, smoothness):
    u = np.array([0.01, 0.3, 1.0, 2.7, 9.0])
    expected = u**smoothness * kv(smoothness, u) / (2**(smoothness - 1) * gamma(smoothness))
    assert FAMILIES[family].correlation(u) == pytest.approx(expected, rel=1e-12)  # scipy's kv


def test_the_gaussian_is_worked_by_hand():
    model = CovarianceModel("gaussian", 1.0, 2.0, 10.0)
    assert model.covariance([0, 10, 20]) == pytest.approx([2, 2 / np.e, 2 / np.e**4], rel=1e-12)


@pytest.mark.parametrize("family", FAMILIES)
def test_correlation_is_one_at_no_distance_and_five_percent_at_the_reach(family):
    kind = FAMILIES[family]
    assert kind.correlation(np.array([0.0])).tolist() == [1]
    if family == "spherical":  # it ends there
        assert kind.correlation(np.array([kind.reach])) == 0
    else:  # the reach is kept with four digits; correlation falls by 0.15 a unit at most there
        assert kind.correlation(np.array([kind.reach])) == pytest.approx([0.05], abs=2e-4)


@settings(max_examples=60)
@given(u=st.floats(1e-3, 20), family=st.sampled_from(sorted(FAMILIES)))
def test_the_slope_is_that_of_a_small_step_and_never_rises(u, family):
    kind, step = FAMILIES[family], 1e-6
    if abs(u - 1) < 1e-5:  # the spherical's second derivative jumps there
        u += 1e-4
    here, there = kind.correlation(np.array([u - step, u + step]))
    # rounding of the difference: 1e-16 over the step
    assert kind.slope(np.array([u]))[0] == pytest.approx((there - here) / (2 * step), abs=1e-8)
    assert kind.slope(np.array([u]))[0] <= 0


@settings(max_examples=60)
@given(seed=st.integers(0, 10**6), count=st.integers(2, 40), range_m=st.floats(1, 1e4),
       family=st.sampled_from(sorted(FAMILIES)))
def test_no_combination_of_places_has_a_variance_below_zero(seed, count, range_m, family):
    places = np.random.default_rng(seed).uniform(0, 100, (count, 2))
    apart = np.linalg.norm(places[:, None] - places, axis=-1)
    matrix = CovarianceModel(family, 0.0, 1.0, range_m).covariance(apart)
    assert np.linalg.eigvalsh(matrix).min() > -1e-12  # rounding of sums over 40 numbers up to 1


@pytest.mark.parametrize("family", ["gaussian", "matern_3_2", "matern_5_2"])
def test_a_family_outside_the_automatic_ones_is_fitted_on_request(family):
    generator = np.random.default_rng(6)
    positions = generator.uniform(0, 300, (120, 2))
    truth = CovarianceModel(family, 1.0, 9.0, 120 / FAMILIES[family].reach)
    apart = np.linalg.norm(positions[:, None] - positions, axis=-1)
    root = np.linalg.cholesky(truth.covariance(apart) + np.eye(120))
    values = root @ generator.standard_normal(120)
    fit, = fit_reml(positions, values, np.zeros(120), families=(family,))
    assert fit.model.family == family
    # one field of 120 readings shows the range to a third or so, the nugget to a quarter
    assert fit.model.effective_range_m == pytest.approx(120, rel=0.4)
    assert fit.model.nugget == pytest.approx(1.0, rel=0.5)
    tried = {one.model.family for one in fit_reml(positions, values, np.zeros(120))}
    assert tried == set(CANDIDATES) and family not in tried
