import numpy as np
import pytest

from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.kriging import krige
from plugin.core.interpolate.leave_one_out import leave_one_out
from plugin.core.interpolate.refitted_check import FOLDS, refitted_check

MODEL = CovarianceModel("spherical", 0.5, 3.0, 60.0)


def readings(count=23):
    generator = np.random.default_rng(1)
    return (generator.uniform(0, 100, (count, 2)), generator.normal(10, 2, count),
            generator.uniform(0.1, 0.5, count))


@pytest.mark.parametrize("slope", [False, True])
def test_with_one_model_throughout_it_is_leave_one_out(slope):
    where, values, errors = readings()
    drift = where if slope else None
    found = refitted_check(where, values, errors, lambda kept, tick: MODEL, drift=drift)
    plain = leave_one_out(where, values, errors, MODEL, drift=drift)
    assert found.errors == pytest.approx(plain.errors, rel=1e-9)
    assert found.variance == pytest.approx(plain.variance, rel=1e-9)
    assert found.skill == pytest.approx(plain.skill, rel=1e-9)


def test_each_reading_is_predicted_from_all_others_by_the_fit_without_its_part():
    where, values, errors = readings()
    fits = []

    def fit(kept, tick):
        model = CovarianceModel("spherical", values[kept].var(), 3.0, 60.0)
        fits.append((kept, model))
        return model

    found = refitted_check(where, values, errors, fit, seed=3)
    assert len(fits) == FOLDS
    assert np.sum([~kept for kept, _ in fits], axis=0).tolist() == [1] * 23
    for kept, model in fits:
        for left in np.flatnonzero(~kept):
            others = np.arange(23) != left
            again = krige(where[others], values[others], errors[others], model, where[[left]])
            assert found.errors[left] == pytest.approx(values[left] - again.estimate[0], rel=1e-9)
            assert found.variance[left] == pytest.approx(again.variance[0] + errors[left], rel=1e-9)


def test_few_readings_are_left_out_one_by_one():
    where, values, errors = readings(4)
    kept = []
    refitted_check(where, values, errors, lambda mask, tick: kept.append(mask.sum()) or MODEL)
    assert kept == [3] * 4


def test_it_tells_how_far_it_is():
    told = []
    refitted_check(*readings(), lambda kept, tick: tick(1.0) or MODEL, tick=told.append)
    assert told == sorted(told) and len(told) == FOLDS + 1 and told[-1] == 1.0
