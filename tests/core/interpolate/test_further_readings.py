import numpy as np
import pytest

from plugin.core.interpolate import further_readings as module
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.further_readings import expected_skill, further_readings
from plugin.core.interpolate.kriging import krige
from plugin.core.interpolate.readings_system import reading_covariance

FAINT = CovarianceModel("exponential", 2.0, 6.0, 60.0)
GROUND = np.stack(np.meshgrid(np.arange(5.0, 500, 10), np.arange(5.0, 500, 10)), -1).reshape(-1, 2)


def places(count, seed=1):
    return np.random.default_rng(seed).uniform(0, 500, (count, 2))


def test_the_skill_to_expect_is_that_of_fields_drawn_from_the_model():
    where, targets, errors = places(25), places(30, 5), np.linspace(0.2, 2.0, 25)
    every = np.append(errors, np.full(30, np.median(errors)))
    root = np.linalg.cholesky(reading_covariance(np.vstack([where, targets]), every, FAINT))
    drawn = root @ np.random.default_rng(2).standard_normal((55, 4000))
    kriged = np.array([krige(where, values, errors, FAINT, targets).estimate
                       for values in drawn[:25].T]).T
    of_map = ((drawn[25:] - kriged) ** 2).mean()
    of_mean = ((drawn[25:] - drawn[:25].mean(axis=0)) ** 2).mean()
    # either mean is off by 0.7 % as a rule, and they go together
    assert expected_skill(where, errors, FAINT, targets) == pytest.approx(
        1 - of_map / of_mean, abs=0.01)


def test_a_pattern_finer_than_the_gaps_asks_for_readings_that_fill_them():
    where, errors = places(20), np.zeros(20)
    now = expected_skill(where, errors, FAINT, GROUND)
    more = further_readings(where, errors, FAINT, GROUND, now + 0.1)
    assert more in (10, 20, 40)
    at_random = np.vstack([where, places(more, 3)])
    assert now < expected_skill(at_random, np.zeros(20 + more), FAINT, GROUND)
    assert further_readings(where, errors, FAINT, GROUND, now) == 5  # the least tried
    assert further_readings(where, errors, FAINT, GROUND, now + 0.02) <= more


def test_where_nothing_goes_together_no_number_is_enough():
    nearly_none = CovarianceModel("exponential", 4.0, 0.01, 40.0)
    assert further_readings(places(20), np.zeros(20), nearly_none, GROUND, 0.05) is None


def test_small_fields_and_large_sets_end():
    assert further_readings(places(20), np.zeros(20), FAINT, GROUND[:1], 0.99) is None
    assert further_readings(places(20), np.zeros(20), FAINT, places(20), 1.0) is None
    assert further_readings(places(990), np.zeros(990), FAINT, GROUND, 0.0) is None


def test_it_tells_how_far_it_is():
    told = []
    further_readings(places(20), np.zeros(20), FAINT, GROUND, 0.99, tick=told.append)
    assert told == sorted(told) and len(told) >= len(module.SHARES) and told[-1] == 1.0
