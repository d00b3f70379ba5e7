import numpy as np
import pytest
from scipy.optimize import least_squares

from plugin.core.interpolate.covariance import FAMILIES, NUGGET, CovarianceModel
from plugin.core.interpolate.variogram import Variogram
from plugin.core.interpolate.variogram_fit import (
    WEIGHTS,
    fit_nested_variogram,
    fit_variogram,
    start_model,
)
from plugin.core.problems import InputProblem

LAGS = np.arange(1, 16) * 10.0
PAIRS = np.array([40, 90, 130, 170, 200, 220, 240, 250, 255, 250, 240, 225, 205, 180, 160])


def variogram_of(semivariance, distances=LAGS, pairs=PAIRS):
    return Variogram(np.asarray(distances, float), np.asarray(semivariance, float), pairs,
                     np.asarray(distances, float), float(distances[-1]), "matheron")


def rough(seed=1, nugget=2.0):
    """A spherical variogram with errors of some 5 %."""
    gamma = CovarianceModel("spherical", nugget, 8.0, 90.0).semivariance(LAGS)
    return variogram_of(gamma * np.random.default_rng(seed).normal(1, 0.05, len(LAGS)))


def weighted(bins, model, weights):
    gamma = model.semivariance(bins.distances_m)
    weight = {"pairs_by_distance": bins.pairs / bins.distances_m**2, "pairs": bins.pairs,
              "pairs_by_semivariance": bins.pairs / gamma**2,
              "equal": np.ones(len(gamma))}[weights]
    return float(weight @ (bins.semivariance - gamma)**2)


def searched(bins, family, weights, start):
    """The least weighted sum that a search along slopes finds, from a start of all parameters."""
    weight = {"pairs_by_distance": bins.pairs / bins.distances_m**2, "pairs": bins.pairs,
              "equal": np.ones(len(bins.pairs))}[weights]

    def off(parts):
        u = bins.distances_m / parts[-1]
        nugget = parts[0] if len(parts) == 3 else 0.0
        model = nugget + parts[-2] * (1 - FAMILIES[family].correlation(u))
        return np.sqrt(weight) * (bins.semivariance - model)

    found = least_squares(off, start, bounds=(0, np.inf), xtol=1e-14, ftol=1e-14, gtol=1e-14,
                          x_scale=np.abs(start))
    return 2 * found.cost


@pytest.mark.parametrize("weights", WEIGHTS)
@pytest.mark.parametrize("family", FAMILIES)
def test_a_model_is_found_again_from_its_own_variogram(family, weights):
    truth = CovarianceModel(family, 2.0, 8.0, 80.0 / FAMILIES[family].reach)
    fit = fit_variogram(variogram_of(truth.semivariance(LAGS)), family, weights=weights)
    # the sum is flat within the root of rounding, 1e-8, of its bottom at 0
    assert [fit.model.nugget, fit.model.partial_sill, fit.model.range_m] == pytest.approx(
        [2.0, 8.0, truth.range_m], rel=1e-5)
    assert fit.weighted_sse == pytest.approx(0, abs=1e-8) and fit.range_found
    assert fit.weights == weights


@pytest.mark.parametrize("weights", ["pairs_by_distance", "pairs", "equal"])
@pytest.mark.parametrize("family", FAMILIES)
def test_no_other_search_finds_a_nearer_model(family, weights):
    bins = rough()
    fit = fit_variogram(bins, family, weights=weights)
    assert fit.weighted_sse == pytest.approx(weighted(bins, fit.model, weights), rel=1e-9)

    starts = [[nugget, 10 - nugget, reach / FAMILIES[family].reach]
              for nugget in (0.5, 3.0) for reach in (50.0, 120.0)]
    best = min(searched(bins, family, weights, start) for start in starts)
    assert fit.weighted_sse == pytest.approx(best, rel=1e-8)  # both are within rounding of it


def test_weights_by_the_model_are_those_of_the_model_that_is_returned():
    bins = rough()
    fit = fit_variogram(bins, "spherical", weights="pairs_by_semivariance")
    assert fit.weighted_sse == pytest.approx(
        weighted(bins, fit.model, "pairs_by_semivariance"), rel=1e-6)  # where reweighting ends


def test_a_nugget_below_zero_is_set_to_zero_and_the_rest_fitted_again():
    # it starts level, so that the straight start of a spherical model would begin below 0
    bins = variogram_of(CovarianceModel("gaussian", 0.0, 8.0, 60.0).semivariance(LAGS))
    fit = fit_variogram(bins, "spherical")
    assert fit.model.nugget == 0 and fit.range_found
    assert fit.weighted_sse == pytest.approx(
        searched(bins, "spherical", "pairs_by_distance", [8.0, 120.0]), rel=1e-8)


def test_a_variogram_that_falls_has_no_structure():
    fit = fit_variogram(variogram_of(10 - LAGS / 50), "exponential", weights="pairs")
    assert (fit.model.partial_sill, fit.model.structured, fit.range_found) == (0, False, False)
    # the weighted mean is the nearest level
    assert fit.model.nugget == pytest.approx(PAIRS @ (10 - LAGS / 50) / PAIRS.sum(), rel=1e-12)


def test_a_variogram_that_only_rises_does_not_tell_the_range():
    fit = fit_variogram(variogram_of(1 + LAGS), "spherical")
    assert not fit.range_found
    assert fit.model.range_m > 4.9 * LAGS[-1]  # the end of what is tried is 5 times


def test_a_variogram_level_from_the_second_lag_does_not_tell_the_range():
    # exp(-h / a) with a few times less than the first lag would pass nearest to the first bin
    fit = fit_variogram(variogram_of([9.8, *[10.0] * 14]), "exponential")
    assert fit.model.structured and not fit.range_found
    assert fit.model.effective_range_m == pytest.approx(LAGS[0], rel=0.05)  # one step of ranges


def test_the_nugget_model_is_the_weighted_mean():
    # N / h^2 of 10, 20 m with 1, 4 pairs: equal weights; mean of 3 and 5, off by 1 each
    bins = variogram_of([3, 5], [10, 20], np.array([1, 4]))
    fit = fit_variogram(bins, NUGGET)
    assert fit.model == CovarianceModel(NUGGET, 4.0)
    assert fit.weighted_sse == pytest.approx(2 * 0.01, rel=1e-12)


@pytest.mark.parametrize("weights", WEIGHTS)
def test_the_unit_of_values_and_of_distance_goes_through(weights):
    bins = rough()
    fit = fit_variogram(bins, "exponential", weights=weights)
    scaled = fit_variogram(variogram_of(bins.semivariance * 9, LAGS * 4), "exponential",
                           weights=weights)
    # the bottom of the sum is flat: its place is sure to the root of rounding
    assert [scaled.model.nugget, scaled.model.partial_sill, scaled.model.range_m] == pytest.approx(
        [fit.model.nugget * 9, fit.model.partial_sill * 9, fit.model.range_m * 4], rel=1e-5)


def test_the_start_is_worked_by_hand():
    # a third of 150 m; mean of 1, 2, 3; of 11 to 15, less the nugget
    start = start_model(variogram_of(np.arange(1, 16)), "exponential")
    assert start == CovarianceModel("exponential", 2.0, 11.0, 50.0)
    assert start_model(variogram_of(np.arange(1, 16)), NUGGET) == CovarianceModel(NUGGET, 13.0)
    assert start_model(variogram_of(np.full(15, -1.0)), "spherical").sill == 0


def test_a_bin_of_readings_at_one_place_does_not_weigh():
    bins = rough()
    with_zero = variogram_of([50, *bins.semivariance], [0, *LAGS], np.array([9, *PAIRS]))
    assert fit_variogram(with_zero, "spherical").model == fit_variogram(bins, "spherical").model


def test_a_variogram_below_zero_after_taking_off_errors_has_a_model_all_the_same():
    fit = fit_variogram(variogram_of(np.full(15, -2.0)), "spherical")
    assert fit.model.sill == 0 and not fit.range_found
    by_model = fit_variogram(variogram_of(np.full(15, -2.0)), "spherical",
                             weights="pairs_by_semivariance")
    assert by_model.model.sill == 0


@pytest.mark.parametrize(("bins", "family", "weights", "message"), [
    (rough(), "cubic", "pairs", "no covariance model 'cubic'; known are nugget, spherical"),
    (rough(), "spherical", "h", "no weights 'h'; known are pairs_by_distance, pairs"),
    (variogram_of([1, 2, 3], [0, 1, 2], PAIRS[:3]), "spherical", "equal",
     "of 2 bins cannot show a spherical model; at least 4 bins")])
def test_what_cannot_be_fitted_is_refused(bins, family, weights, message):
    with pytest.raises(InputProblem, match=message):
        fit_variogram(bins, family, weights=weights)


LONG_LAGS = np.arange(1, 21) * 10.0
NESTED = {"spherical": CovarianceModel("spherical", 1.0, 8.0, 40.0, long_sill=5.0,
                                       long_range_m=170.0),
          "exponential": CovarianceModel("exponential", 1.0, 8.0, 12.0, long_sill=5.0,
                                         long_range_m=80.0)}


@pytest.mark.parametrize("weights", ["pairs_by_distance", "pairs", "equal"])
@pytest.mark.parametrize("family", NESTED)
def test_a_nested_model_is_found_again_from_its_own_variogram(family, weights):
    true = NESTED[family]
    bins = variogram_of(true.semivariance(LONG_LAGS), LONG_LAGS, np.arange(20, 220, 10))
    found = fit_nested_variogram(bins, family, weights=weights)
    assert found.range_found
    # the sum of squares is 0 at the bottom and flat around it: the simplex stops at some 1e-4
    assert [found.model.nugget, found.model.partial_sill, found.model.range_m,
            found.model.long_sill, found.model.long_range_m] == pytest.approx(
        [true.nugget, true.partial_sill, true.range_m, true.long_sill, true.long_range_m],
        rel=2e-3)
    one = fit_variogram(bins, family, weights=weights)
    assert found.weighted_sse < 1e-3 * one.weighted_sse


def test_a_second_structure_is_never_further_from_the_variogram_than_one():
    for seed in range(5):
        one = fit_variogram(rough(seed), "spherical")
        two = fit_nested_variogram(rough(seed), "spherical")
        assert two.weighted_sse <= one.weighted_sse * (1 + 1e-6)
        assert min(two.model.nugget, two.model.long_sill) >= 0


def test_a_variogram_that_falls_is_not_nested():
    fit = fit_nested_variogram(variogram_of(10 - LAGS / 50), "exponential")
    assert (fit.model.structured, fit.range_found) == (False, False)


@pytest.mark.parametrize(("bins", "family", "weights", "message"), [
    (LAGS, "spherical", "pairs_by_semivariance", "pairs_by_semivariance"),
    (LAGS, NUGGET, "pairs", "no structures"),
    (LAGS, "cubic", "pairs", "cubic"),
    (LAGS[:6], "spherical", "pairs", "6 bins .* at least 7")])
def test_what_cannot_be_nested_is_refused(bins, family, weights, message):
    with pytest.raises(InputProblem, match=message):
        fit_nested_variogram(variogram_of(bins, bins, PAIRS[:len(bins)]), family, weights=weights)
