import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm, truncnorm

from plugin.core.interpolate.censored import draw_censored, normal_beyond
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.kriging import krige, reading_covariance
from plugin.core.observations import ABOVE, BELOW, EXACT

MODEL = CovarianceModel("exponential", 0.2, 4.0, 40.0)
PLACES = np.array([[0, 0], [50, 10], [20, 40], [60, 60], [30, 20], [40, 35.0]])
VALUES = np.array([10, 13, 9, 12, 13.0, 10.5])  # the last two known as limits
CENSORING = np.array([EXACT] * 4 + [ABOVE, BELOW])
ERRORS = np.array([0.1, 0.3, 0.1, 0.2, 0.1, 0.4])


def truncated_by_rejection(draws=400_000):
    """The two hidden readings given the four others, mean unknown, drawn and cut by rejection."""
    covariance = reading_covariance(PLACES, ERRORS, MODEL)
    inverse = np.linalg.inv(covariance[:4, :4])
    across = covariance[4:, :4] @ inverse
    rest = 1 - across.sum(axis=1)
    information = inverse.sum()
    mean = inverse.sum(axis=0) @ VALUES[:4] / information
    centre = mean + across @ (VALUES[:4] - mean)
    spread = covariance[4:, 4:] - across @ covariance[:4, 4:] + np.outer(rest, rest) / information
    drawn = np.random.default_rng(0).multivariate_normal(centre, spread, draws)
    return drawn[(drawn[:, 0] > VALUES[4]) & (drawn[:, 1] < VALUES[5])]


def test_draws_follow_the_truncated_normal_as_rejection_draws_it():
    # 4,000 draws, three sweeps apart and so nearly independent: 5 standard errors of half as many
    drawn = draw_censored(PLACES, VALUES, ERRORS, CENSORING, MODEL, draws=4000, seed=1)[:, 4:]
    expected = truncated_by_rejection()
    assert len(expected) > 5000
    for column in range(2):
        spread = expected[:, column].std()
        assert drawn[:, column].mean() == pytest.approx(
            expected[:, column].mean(), abs=5 * spread / np.sqrt(2000))
        assert drawn[:, column].std() == pytest.approx(spread, rel=5 / np.sqrt(2 * 2000) * 1.5)
    together = np.corrcoef(drawn.T)[0, 1]
    assert together == pytest.approx(np.corrcoef(expected.T)[0, 1], abs=5 / np.sqrt(2000))


def test_draws_lie_beyond_their_limits_and_exact_readings_stay():
    drawn = draw_censored(PLACES, VALUES, ERRORS, CENSORING, MODEL, draws=500, seed=2)
    assert (drawn[:, :4] == VALUES[:4]).all()
    assert (drawn[:, 4] >= VALUES[4]).all()
    assert (drawn[:, 5] <= VALUES[5]).all()
    assert drawn[:, 4].std() > 0.1  # and they vary


def test_a_limit_that_all_others_contradict_still_holds():
    # 40 above neighbours of 10: some 15 standard deviations off
    values = np.where(CENSORING == ABOVE, 40.0, VALUES)
    drawn = draw_censored(PLACES, values, ERRORS, CENSORING, MODEL, draws=100, seed=3)
    assert ((drawn[:, 4] >= 40) & (drawn[:, 4] < 42)).all()
    assert np.isfinite(drawn).all()


def test_the_same_seed_gives_the_same_draws_and_another_others():
    one, same, other = (draw_censored(PLACES, VALUES, ERRORS, CENSORING, MODEL, draws=3, seed=seed)
                        for seed in (4, 4, 5))
    assert (one == same).all()
    assert (one[:, 4:] != other[:, 4:]).all()


def test_a_start_is_carried_on_from_and_left_as_it_was():
    start = np.append(VALUES[:4], [20.0, 1.0])
    draw_censored(PLACES, VALUES, ERRORS, CENSORING, MODEL, start=start, seed=6)
    assert start.tolist() == [*VALUES[:4], 20.0, 1.0]


def test_nothing_censored_is_drawn_as_it_is():
    drawn = draw_censored(PLACES, VALUES, ERRORS, np.zeros(6, int), MODEL, draws=2)
    assert (drawn == VALUES).all()


def test_leaving_censored_depths_out_is_biased_and_drawing_them_is_not():
    # Depths about 10 with variance 4.2; all beyond 11 are only known to be so. Over 40 fields, the
    # mean of 60 readings: leaving them out, or taking the limit for the depth, is more than 4
    # standard errors too shallow; drawing them is within 4.
    generator = np.random.default_rng(8)
    off = {"out": [], "limit": [], "drawn": []}
    for field in range(40):
        places = generator.uniform(0, 200, (60, 2))
        root = np.linalg.cholesky(reading_covariance(places, np.zeros(60), MODEL))
        truth = 10 + root @ generator.standard_normal(60)
        seen, censoring = np.minimum(truth, 11.0), np.where(truth > 11, ABOVE, EXACT)
        drawn = draw_censored(places, seen, np.zeros(60), censoring, MODEL, draws=20, seed=field)
        off["out"].append(seen[censoring == EXACT].mean() - truth.mean())
        off["limit"].append(seen.mean() - truth.mean())
        off["drawn"].append(drawn.mean() - truth.mean())
    scores = {name: np.mean(each) / (np.std(each) / np.sqrt(40)) for name, each in off.items()}
    assert scores["out"] < -4
    assert scores["limit"] < -4
    assert abs(scores["drawn"]) < 4


def test_kriged_draws_are_near_the_hidden_truth_where_the_limit_is_not():
    # mean error of kriging at the places of the hidden readings, over 30 fields: the limits taken
    # for depths are too shallow there by far
    generator = np.random.default_rng(9)
    off = []
    for field in range(30):
        places = generator.uniform(0, 200, (60, 2))
        root = np.linalg.cholesky(reading_covariance(places, np.zeros(60), MODEL))
        truth = 10 + root @ generator.standard_normal(60)
        seen, hidden = np.minimum(truth, 11.0), truth > 11
        drawn = draw_censored(places, seen, np.zeros(60), np.where(hidden, ABOVE, EXACT), MODEL,
                              draws=20, seed=field)
        by_draws = krige(places, drawn.T, np.zeros(60), MODEL, places[hidden] + 0.5)
        by_limit = krige(places, seen, np.zeros(60), MODEL, places[hidden] + 0.5)
        off.append([(by_draws.estimate.mean(axis=1) - truth[hidden]).mean(),
                    (by_limit.estimate - truth[hidden]).mean()])
    (drawn_off, limit_off), error = np.mean(off, axis=0), np.std(off, axis=0)[0] / np.sqrt(30)
    assert abs(drawn_off) < 4 * error + 0.1  # half a metre aside, kriging smooths by the nugget
    assert limit_off < -0.5


@given(st.floats(-6, 8), st.floats(0.001, 0.999))
def test_the_cut_normal_has_the_quantiles_of_an_independent_one(limit, share):
    assert normal_beyond(limit, share) == pytest.approx(
        truncnorm.ppf(share, limit, np.inf), rel=1e-6, abs=1e-6)  # truncnorm's own accuracy


@pytest.mark.parametrize("limit", [10.0, 20.0, 30.0, 36.0])
@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_far_in_the_tail_the_quantile_has_its_share_of_the_tail(limit, share):
    # log P(above found) - log P(above limit) = log(1 - share); logs of 1e-280 keep 13 digits
    found = normal_beyond(limit, share)
    assert norm.logsf(found) - norm.logsf(limit) == pytest.approx(np.log1p(-share), abs=1e-8)


@given(st.floats(-1e3, 1e3), st.floats(0, 1, exclude_max=True))
def test_the_cut_normal_is_a_number_at_or_beyond_its_limit(limit, share):
    found = normal_beyond(limit, share)
    assert np.isfinite(found)
    assert found >= limit


def test_beyond_all_reckoning_it_is_the_limit():
    assert normal_beyond(50.0, 0.7) == 50.0
