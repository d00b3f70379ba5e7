import numpy as np
import pytest
from scipy.linalg import null_space
from scipy.optimize import minimize
from scipy.spatial.distance import pdist, squareform

from plugin.core.interpolate.covariance import CANDIDATES, FAMILIES, NUGGET, CovarianceModel
from plugin.core.interpolate.kriging import reading_covariance
from plugin.core.interpolate.reml import _Likelihood, fit_reml
from plugin.core.problems import InputProblem
from tests.core.interpolate.restricted_likelihood import restricted_log_likelihood

MODEL = CovarianceModel("spherical", 0.4, 2.0, 50.0)


def simulated(model, seed, count=60, extent=100.0, errors=0.0):
    generator = np.random.default_rng(seed)
    places = generator.uniform(0, extent, (count, 2))
    errors = np.full(count, errors)
    root = np.linalg.cholesky(reading_covariance(places, errors, model))
    return places, 20 + root @ generator.standard_normal(count), errors


def test_the_likelihood_is_that_of_contrasts_free_of_the_mean():
    # K'z for an orthonormal K orthogonal to 1 is normal with covariance K'VK; its determinant is
    # det V x (1'V^-1 1) / n, so its log-likelihood is 0.5 log n above the one without the n.
    places, values, errors = simulated(MODEL, 1, errors=0.3)
    for model in (MODEL, CovarianceModel("exponential", 0.1, 1.0, 9.0), CovarianceModel(NUGGET, 2)):
        contrasts = null_space(np.ones((1, 60)))
        covariance = contrasts.T @ reading_covariance(places, errors, model) @ contrasts
        told = contrasts.T @ values
        _, log_determinant = np.linalg.slogdet(covariance)
        expected = -0.5 * (log_determinant + told @ np.linalg.solve(covariance, told)
                           + 59 * np.log(2 * np.pi))
        found = restricted_log_likelihood(places, values, errors, model)
        assert found == pytest.approx(expected - 0.5 * np.log(60), rel=1e-10)


def test_the_slopes_are_those_of_finite_differences():
    # central differences with a step of 1e-5: their error is some 1e-9 of the third derivative
    places, values, errors = simulated(MODEL, 2, errors=0.3)
    likelihood = _Likelihood(squareform(pdist(places)), values, errors)

    def matrix(part):
        nugget, partial_sill, range_m = np.exp(np.log([0.5, 1.5, 40.0]) + part)
        return likelihood.matrix(CovarianceModel("spherical", nugget, partial_sill, range_m))

    steps = 1e-5 * np.eye(3)
    derivatives = [(matrix(step) - matrix(-step)) / 2e-5 for step in steps]
    _, slopes = likelihood.negative(matrix(0), *derivatives)
    by_difference = [(likelihood.negative(matrix(step))[0] - likelihood.negative(matrix(-step))[0])
                     / 2e-5 for step in steps]
    assert slopes == pytest.approx(by_difference, rel=1e-5, abs=1e-6)


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("seed", [3, 4, 5])
def test_the_fit_is_the_top_that_a_search_without_slopes_finds(family, seed):
    places, values, errors = simulated(MODEL, seed, errors=0.1)
    fit, = fit_reml(places, values, errors, families=(family,))
    model = fit.model

    def negative(logs):
        return -restricted_log_likelihood(places, values, errors,
                                          CovarianceModel(family, *np.exp(logs)))

    start = np.log([model.nugget, model.partial_sill, model.range_m])
    assert fit.log_likelihood == pytest.approx(-negative(start), rel=1e-9)
    widest = np.log(pdist(places).max() / FAMILIES[family].reach)
    spread = np.log(values.var())
    limits = [(spread - 13.8, spread + 4.6)] * 2 + [(0.0, widest)]
    searched = min(minimize(negative, begin, method="Nelder-Mead", bounds=limits,
                             options={"maxiter": 400}).fun
                    for begin in (start, np.log([0.5, 1.0, 15.0])))
    # a spherical likelihood has kinks where a pair leaves the range: hence not closer
    assert fit.log_likelihood >= -searched - 0.01


def test_without_structure_the_nugget_is_the_variance_less_the_error():
    # Equal errors e: s2 (with n - 1) = nugget + e. Log-likelihood by hand:
    # -0.5 [(n-1) log(2 pi s2) + log n + (n - 1)]
    places, values, errors = simulated(CovarianceModel(NUGGET, 4.0), 6, errors=0.5)
    fit, = fit_reml(places, values, errors, families=(NUGGET,))
    variance = values.var(ddof=1)
    assert fit.model.nugget == pytest.approx(variance - 0.5, rel=1e-4)  # where the search stops
    assert fit.log_likelihood == pytest.approx(
        -0.5 * (59 * np.log(2 * np.pi * variance) + np.log(60) + 59), rel=1e-9)


def test_readings_no_more_spread_than_their_errors_leave_hardly_a_nugget():
    places, values, _ = simulated(CovarianceModel(NUGGET, 1.0), 7)
    fit, = fit_reml(places, values, np.full(60, 2.0), families=(NUGGET,))
    assert fit.model.nugget < 1e-3 * values.var()


def test_aicc_counts_parameters_against_contrasts():
    # 60 readings are 59 contrasts: 2k + 2k(k+1)/(59-k-1) is 2 + 4/57 and 6 + 24/55
    for fit in fit_reml(*simulated(MODEL, 8)):
        k = 1 if fit.model.family == NUGGET else 3
        assert fit.aicc == pytest.approx(
            -2 * fit.log_likelihood + {1: 2 + 4 / 57, 3: 6 + 24 / 55}[k], rel=1e-9)


def test_five_readings_can_only_bear_a_mean():
    # 4 contrasts less 3 parameters leave no freedom: the correction is without end
    fits = fit_reml(*simulated(MODEL, 9, count=5))
    assert fits[0].model.family == NUGGET
    assert [fit.aicc for fit in fits[1:]] == [np.inf, np.inf]


def test_the_best_candidate_comes_first():
    fits = fit_reml(*simulated(MODEL, 8))
    assert [fit.aicc for fit in fits] == sorted(fit.aicc for fit in fits)
    assert {fit.model.family for fit in fits} == set(CANDIDATES)


@pytest.mark.parametrize("family", ["spherical", "exponential"])
def test_known_parameters_come_back_on_average(family):
    # 30 sets of 80 readings, mean of log variance at three distances against the truth's, within
    # 4 standard errors of the mean of the sets and 0.1 for what logs of estimates are biased by.
    truth = CovarianceModel(family, 0.5, 2.0, 40.0 if family == "spherical" else 13.0)
    lags = np.array([5.0, 20.0, 60.0])
    found = []
    for seed in range(30):
        fit, = fit_reml(*simulated(truth, 100 + seed, count=80, extent=200.0), families=(family,))
        found.append(np.log(fit.model.semivariance(lags)))
    off = np.mean(found, axis=0) - np.log(truth.semivariance(lags))
    assert (np.abs(off) < 4 * np.std(found, axis=0) / np.sqrt(30) + 0.1).all()


def test_known_errors_are_kept_apart_from_the_nugget():
    # 20 sets with a nugget of 0.2 and errors of 1.5: the nugget alone comes back, not 1.7. Its
    # standard deviation is below 0.4: 4 standard errors of 20 are 0.36.
    truth = CovarianceModel("spherical", 0.2, 3.0, 60.0)
    found = [fit_reml(*simulated(truth, 200 + seed, count=80, errors=1.5),
                      families=("spherical",))[0].model.nugget for seed in range(20)]
    assert np.mean(found) == pytest.approx(0.2, abs=0.36)


def test_pure_noise_is_given_the_mean_nearly_always():
    # Two parameters more cost 4.4; the likelihood gains that by chance in less than a tenth of the
    # sets: of 40, more than 10 would be 4 standard deviations.
    chosen = [fit_reml(*simulated(CovarianceModel(NUGGET, 1.0), 300 + seed, count=40))[0]
              for seed in range(40)]
    assert sum(fit.model.family != NUGGET for fit in chosen) <= 10


def test_a_clear_pattern_is_not_given_the_mean():
    chosen = [fit_reml(*simulated(MODEL, 400 + seed))[0] for seed in range(10)]
    assert all(fit.model.structured for fit in chosen)


def test_shift_scale_and_order_carry_through():
    places, values, errors = simulated(MODEL, 10, errors=0.2)
    order = np.random.default_rng(0).permutation(60)
    for one, other in zip(fit_reml(places, values, errors),
                          fit_reml(places[order] + [5e5, 4e6], 1e3 * values[order] - 7,
                                   1e6 * errors[order])):
        assert one.model.family == other.model.family
        # flat optima: the search stops where the likelihood changes by 1e-9 of itself
        assert other.model.sill == pytest.approx(1e6 * one.model.sill, rel=0.02)
        assert other.model.semivariance(20.0) == pytest.approx(
            1e6 * one.model.semivariance(20.0), rel=0.02)
        assert other.log_likelihood == pytest.approx(
            one.log_likelihood - 59 * np.log(1e3), abs=1e-3)


def test_ranges_stay_within_the_extent():
    # a plane: without a limit the range would run away
    places, _, errors = simulated(MODEL, 11)
    extent = pdist(places).max()
    for fit in fit_reml(places, places @ [1.0, 0.5], errors):
        assert fit.model.effective_range_m <= extent * (1 + 1e-9)


def test_progress_is_told_all_along_up_to_each_candidate():
    told = []
    fit_reml(*simulated(MODEL, 12, count=20), tick=told.append)
    assert told == sorted(told) and {round(share, 9) for share in told} >= {
        round(number / 3, 9) for number in (1, 2, 3)}


@pytest.mark.parametrize(("values", "message"), [
    ([1, 2], "2 readings with a spread of 0.25"), ([4, 4, 4, 4], "4 readings with a spread of 0"),
    ([], "0 readings with a spread of 0")])
def test_too_little_to_fit_is_refused(values, message):
    count = len(values)
    with pytest.raises(InputProblem, match=message):
        fit_reml(np.arange(2.0 * count).reshape(-1, 2), values, np.zeros(count))
