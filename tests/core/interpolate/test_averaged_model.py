import numpy as np
import pytest
from scipy.linalg import null_space
from scipy.spatial.distance import cdist
from scipy.stats import multivariate_normal

from plugin.core.interpolate import averaged_model as module
from plugin.core.interpolate.averaged_model import (
    UNBIASED,
    WIDE,
    averaged_model,
    averaged_models,
    likely_models,
    mean_model,
)
from plugin.core.interpolate.covariance import NUGGET, CovarianceModel
from plugin.core.interpolate.kriging import reading_covariance

FLAT = CovarianceModel(NUGGET, 1.0)
ROUND = CovarianceModel("exponential", 1.0, 1.0, 10.0)
TURNED = CovarianceModel("exponential", 1.0, 1.0, 10.0, 30.0, 0.5)


def readings(count=12, seed=1, model=None):
    generator = np.random.default_rng(seed)
    where = generator.uniform(0, 100, (count, 2))
    matrix = reading_covariance(where, np.zeros(count), model or CovarianceModel(NUGGET, 4.0))
    return where, 20 + np.linalg.cholesky(matrix) @ generator.standard_normal(count)


def test_without_structure_and_errors_the_variance_is_the_textbooks():
    # Uniform in the standard deviation, the variance of n readings with sum of squares S is
    # inverse gamma of n - 2 degrees of freedom, its mean S / (n - 4). The ends of what is tried
    # hold less than 1e-6 of the weight, and errors of 1e-6 are taken off.
    where, values = readings(40)
    found = averaged_model(where, values, np.zeros(40), FLAT)
    assert found.nugget == pytest.approx(values.var() * 40 / 36, rel=1e-5)
    assert (found.family, found.partial_sill) == (NUGGET, 0.0)


@pytest.mark.parametrize("like", [ROUND, TURNED])
@pytest.mark.parametrize("errors", [np.full(12, 0.5), np.linspace(0.1, 2.0, 12)])
@pytest.mark.parametrize("trend", [False, True])
def test_the_average_is_that_of_densities_of_contrasts_worked_out_one_by_one(
        monkeypatch, like, errors, trend):
    monkeypatch.setattr(module, "RANGES", 3)
    monkeypatch.setattr(module, "SHARES", 3)
    monkeypatch.setattr(module, "VARIANCES", 4)
    where, values = readings()
    drift = where if trend else None
    found = averaged_model(where, values, errors, like, drift=drift)
    # the restricted likelihood is the density of contrasts that no mean enters
    columns = np.column_stack([np.ones(12), where]) if trend else np.ones((12, 1))
    contrasts = null_space(columns.T).T
    left = contrasts @ values
    spread = left @ left / len(left)
    apart = cdist(like.stretched(where), like.stretched(where))
    nearest = np.median(np.where(np.eye(12) > 0, np.inf, apart).min(axis=1)) / 2
    reaches = np.geomspace(max(nearest, 0.04 * apart.max()), apart.max(), 3)
    total = nugget = partial_sill = log_range = 0.0
    for range_m in reaches / 2.996:
        for share in (0.0, 0.5, 1.0):
            for sill in spread * np.geomspace(0.01, 10, 4):
                matrix = sill * ((1 - share) * np.exp(-apart / range_m) + share * np.eye(12))
                matrix += np.diag(errors + 1e-6 * spread)
                weight = np.sqrt(sill) * multivariate_normal.pdf(
                    left, cov=contrasts @ matrix @ contrasts.T)
                weight *= 2 if share == 1 else 1  # as likely as the two others together
                total += weight
                nugget += weight * share * sill
                partial_sill += weight * (1 - share) * sill
                log_range += weight * (1 - share) * sill * np.log(range_m)
    assert found.nugget == pytest.approx(nugget / total, rel=1e-8)  # rounding of 12 by 12 algebra
    assert found.partial_sill == pytest.approx(partial_sill / total, rel=1e-8)
    assert found.range_m == pytest.approx(np.exp(log_range / partial_sill), rel=1e-8)
    assert (found.family, found.heading_deg, found.ratio) == (
        like.family, like.heading_deg, like.ratio)


def test_units_and_origin_change_nothing_but_the_units():
    where, values = readings()
    errors = np.linspace(0.1, 2.0, 12)
    one = averaged_model(where, values, errors, ROUND)
    two = averaged_model(where * 3 + 500, values * 10 - 7, errors * 100, ROUND)
    assert (two.nugget, two.partial_sill, two.range_m) == pytest.approx(
        (100 * one.nugget, 100 * one.partial_sill, 3 * one.range_m), rel=1e-8)


def test_pattern_shows_in_the_partial_sill_and_noise_in_the_nugget():
    shares = []
    for model in (CovarianceModel("exponential", 0.0, 4.0, 30.0), CovarianceModel(NUGGET, 4.0)):
        found = [averaged_model(*readings(60, seed, model), np.zeros(60), ROUND)
                 for seed in range(5)]
        shares.append(np.mean([one.partial_sill / one.sill for one in found]))
    # 1 and 0 in truth; 60 readings leave some of either open
    assert shares[0] > 0.75
    assert shares[1] < 0.3


def test_known_errors_as_large_as_the_spread_still_leave_some_variance():
    # the peak of the likelihood is a nugget of 0 here, which few readings cannot show
    where, values = readings(20)
    found = averaged_model(where, values, np.full(20, 1.2 * values.var(ddof=1)), FLAT)
    assert 0.05 * values.var() < found.nugget < values.var()


def test_models_are_averaged_as_worked_by_hand():
    # (1 + 3) / 2; (4 + 0) / 2; the flat one has no weight on the range
    found = mean_model([CovarianceModel("spherical", 1.0, 4.0, 50.0), CovarianceModel(NUGGET, 3.0)])
    assert (found.family, found.nugget, found.partial_sill) == ("spherical", 2.0, 2.0)
    assert found.range_m == pytest.approx(50.0, rel=1e-12)
    # weights 1 and 3: 20^(1/4) * 320^(3/4) = 20 * 16^(3/4) = 160
    found = mean_model([CovarianceModel("spherical", 0.0, 1.0, 20.0),
                        CovarianceModel("spherical", 0.0, 3.0, 320.0)])
    assert found.range_m == pytest.approx(160.0, rel=1e-12)
    assert mean_model([CovarianceModel(NUGGET, 1.0), CovarianceModel(NUGGET, 3.0)]) == (
        CovarianceModel(NUGGET, 2.0))


def test_families_that_differ_are_averaged_by_their_effective_ranges():
    spherical, other = (CovarianceModel("spherical", 0.0, 1.0, 90.0),
                        CovarianceModel("exponential", 0.0, 1.0, 30.0, 20.0, 0.5))
    found = mean_model([other, spherical, spherical])
    assert found.family == "spherical"
    # three equal weights: 90^(2/3) * (2.996 * 30)^(1/3)
    assert found.range_m == pytest.approx(90 ** (2 / 3) * 89.88 ** (1 / 3), rel=1e-9)
    assert mean_model([other, other, spherical]).heading_deg == 20.0


def test_without_errors_and_structure_the_priors_divide_by_as_many_readings_as_they_say():
    # the sum of squares over n - 4 and over n - 1
    where, values = readings(12)
    wide, unbiased = averaged_models(where, values, np.zeros(12), FLAT, priors=(WIDE, UNBIASED))
    square = ((values - values.mean())**2).sum()
    assert wide.nugget == pytest.approx(square / 8, rel=1e-2)  # the grid ends at 10 variances
    assert unbiased.nugget == pytest.approx(square / 11, rel=1e-3)
    assert averaged_model(where, values, np.zeros(12), FLAT) == wide
    structured = averaged_models(where, values, np.zeros(12), ROUND, priors=(WIDE, UNBIASED))
    assert structured[0] == averaged_model(where, values, np.zeros(12), ROUND)
    assert structured[1].sill < structured[0].sill


@pytest.mark.parametrize("like", [ROUND, CovarianceModel("nugget", 1.0)])
def test_likely_models_are_drawn_as_often_as_their_weights_say(like):
    where, values = readings()
    drawn = likely_models(where, values, np.full(12, 0.5), like, 4000, seed=2)
    averaged = averaged_model(where, values, np.full(12, 0.5), like)
    assert sum(times for _, times in drawn) == 4000
    assert len({model for model, _ in drawn}) == len(drawn)
    nugget, partial_sill = (sum(getattr(model, part) * times for model, times in drawn) / 4000
                            for part in ("nugget", "partial_sill"))
    # evenly spread: a sum over n points is off by 1 / n of the range of what is added up, 10 S here
    assert nugget == pytest.approx(averaged.nugget, rel=0.01)
    assert partial_sill == pytest.approx(averaged.partial_sill, rel=0.01, abs=1e-12)
    assert likely_models(where, values, np.full(12, 0.5), like, 7, seed=5) == likely_models(
        where, values, np.full(12, 0.5), like, 7, seed=5)


def test_without_structure_likely_models_say_so():
    where = readings()[0]
    noise = np.random.default_rng(8).normal(20, 2, 12)
    drawn = likely_models(where, noise, np.zeros(12), ROUND, 200)
    flat = sum(times for model, times in drawn if model.family == "nugget")
    assert 100 < flat < 200  # held as likely as not beforehand, and nothing speaks against it
