import numpy as np
import pytest
from scipy.special import gamma, kv

from plugin.core.interpolate.covariance import FAMILIES, NUGGET, CovarianceModel
from plugin.core.problems import InputProblem


def test_the_spherical_model_is_worked_by_hand_and_ends_at_its_range():
    # 8 x (1 - 1.5 x 0.5 + 0.5 x 0.125) = 2.5 at half the range
    model = CovarianceModel("spherical", 2.0, 8.0, 10.0)
    assert model.covariance([0, 5, 10, 11]) == pytest.approx([8, 2.5, 0, 0], abs=1e-12)
    assert model.semivariance([0, 5, 10, 11]) == pytest.approx([0, 7.5, 10, 10], abs=1e-12)
    assert (model.sill, model.effective_range_m) == (10, 10)


def test_the_exponential_model_has_fallen_to_a_part_in_e_at_its_range_parameter():
    model = CovarianceModel("exponential", 0.0, 2.0, 10.0)
    assert model.covariance([0, 10]) == pytest.approx([2, 2 / np.e], rel=1e-12)


@pytest.mark.parametrize("family", FAMILIES)
def test_the_slope_is_the_derivative_of_the_correlation(family):
    # central difference: its error is some step squared, 1e-10, and rounding 1e-16 / 1e-5
    u, step = np.array([0.1, 0.5, 0.9, 1.2, 3.0]), 1e-5
    kind = FAMILIES[family]
    assert kind.slope(u) == pytest.approx(
        (kind.correlation(u + step) - kind.correlation(u - step)) / (2 * step), abs=1e-8)


def test_the_gaussian_model_is_worked_by_hand():
    # 2 exp(-(15 / 10)2) = 2 exp(-2.25)
    model = CovarianceModel("gaussian", 0.0, 2.0, 10.0)
    assert model.covariance([0, 15]) == pytest.approx([2, 2 * np.exp(-2.25)], rel=1e-12)


@pytest.mark.parametrize(("family", "smoothness"), [
    ("exponential", 0.5), ("matern_3_2", 1.5), ("matern_5_2", 2.5)])
def test_the_matern_models_are_the_general_one_of_their_smoothness(family, smoothness):
    u = np.array([0.01, 0.5, 1.0, 4.0, 9.0])
    general = 2 ** (1 - smoothness) / gamma(smoothness) * u**smoothness * kv(smoothness, u)
    assert FAMILIES[family].correlation(u) == pytest.approx(general, rel=1e-9)  # kv's own accuracy


@pytest.mark.parametrize("family", [name for name in FAMILIES if name != "spherical"])
def test_the_effective_range_is_where_correlation_falls_to_five_percent(family):
    # ranges are kept to three decimals
    model = CovarianceModel(family, 0.0, 1.0, 7.0)
    near, far = model.effective_range_m - 7 * 6e-4, model.effective_range_m + 7 * 6e-4
    assert model.covariance(near) > 0.05 > model.covariance(far)


@pytest.mark.parametrize("family", FAMILIES)
def test_the_covariance_of_places_is_positive_definite(family):
    places = np.random.default_rng(1).uniform(0, 100, (60, 2))
    apart = np.linalg.norm(places[:, None] - places, axis=-1)
    least = np.linalg.eigvalsh(CovarianceModel(family, 0.0, 1.0, 40.0).covariance(apart)).min()
    assert least > -1e-13  # 60 eigenvalues that sum to 60: rounding


@pytest.mark.parametrize("model", [CovarianceModel(NUGGET, 3.0),
                                   CovarianceModel("spherical", 3.0, 0.0, 10.0)])
def test_a_model_without_structure_knows_no_likeness(model):
    assert not model.structured
    assert model.covariance([[0.0, 1.0]]).tolist() == [[0, 0]]
    assert model.semivariance([0, 1]).tolist() == [0, 3]
    assert (model.sill, model.effective_range_m) == (3.0, 0.0)


@pytest.mark.parametrize(("parts", "message"), [
    (("cubic", 1.0), "no covariance model 'cubic'; known are nugget, spherical, exponential"),
    (("spherical", -1.0, 1.0, 1.0), "needs a nugget and a partial sill of 0 or more"),
    (("spherical", 0.0, -1.0, 1.0), "needs a nugget"),
    (("spherical", 0.0, 1.0, 0.0), "a range above 0 m"),
    (("spherical", np.nan, 1.0, 1.0), "needs a nugget")])
def test_a_model_that_cannot_be_is_refused(parts, message):
    with pytest.raises(InputProblem, match=message):
        CovarianceModel(*parts)


def test_a_nested_model_is_the_sum_of_its_structures():
    nested = CovarianceModel("spherical", 1.0, 8.0, 20.0, 30.0, 0.5, long_sill=5.0,
                             long_range_m=90.0)
    parts = CovarianceModel("spherical", 0.0, 3.0, 20.0), CovarianceModel("spherical", 0, 5, 90)
    apart = np.array([0.0, 5.0, 20.0, 50.0, 90.0, 100.0])
    assert nested.covariance(apart) == pytest.approx(
        parts[0].covariance(apart) + parts[1].covariance(apart), abs=1e-14)
    assert (nested.nested, nested.sill) == (True, 9.0)
    assert nested.structures == ((3.0, 20.0), (5.0, 90.0))
    assert nested.covariance(nested.effective_range_m) == pytest.approx(0.05 * 8, rel=1e-9)
    # without a share of its own the long range says nothing
    plain = CovarianceModel("spherical", 1.0, 8.0, 20.0)
    assert (plain.nested, plain.structures) == (False, ((8.0, 20.0),))
    assert CovarianceModel("nugget", 1.0).structures == ()


def test_a_long_structure_too_faint_to_count_does_not_lengthen_the_effective_range():
    faint = CovarianceModel("spherical", 0.0, 100.0, 20.0, long_sill=2.0, long_range_m=900.0)
    assert faint.effective_range_m == 20.0


@pytest.mark.parametrize("long", [{"long_sill": 9.0, "long_range_m": 50.0},
                                  {"long_sill": -1.0, "long_range_m": 50.0},
                                  {"long_sill": 2.0, "long_range_m": 10.0}])
def test_a_nested_model_that_cannot_be_is_refused(long):
    said = "8.0, {long_sill} was .* {long_range_m} m".format(**long)
    with pytest.raises(InputProblem, match=said):
        CovarianceModel("spherical", 1.0, 8.0, 20.0, **long)
