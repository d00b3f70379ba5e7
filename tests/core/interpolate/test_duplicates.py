import numpy as np
import pytest

from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.duplicates import SAME_PLACE_M, merge_places
from plugin.core.interpolate.kriging import krige
from plugin.core.observations import ABOVE, BELOW, EXACT, Observations


def test_readings_of_one_place_are_averaged_in_order_of_first_sight():
    # 4, 6 and 8 at one place: 6, with (1 + 2 + 3) / 9 of error variance
    found = merge_places(Observations.of(
        "stand", "", [[9, 9], [1, 1], [9, 9], [0, 0], [9, 9]], [4, 1, 6, 5, 8],
        error_variance=[1, 5, 2, 7, 3], labels=["a", "b", "c", "d", "e"]))
    assert found.positions_m.tolist() == [[9, 9], [1, 1], [0, 0]]
    assert found.values == pytest.approx([6, 1, 5], rel=1e-12)
    assert found.error_variance == pytest.approx([6 / 9, 5, 7], rel=1e-12)
    assert found.labels == ("a and 2 more there", "b", "d")


def test_without_two_at_a_place_nothing_is_touched():
    one = Observations.of("stand", "", [[0, 0], [3 * SAME_PLACE_M, 0]], [1, 2])
    assert merge_places(one) is one


def test_readings_within_a_millimetre_are_at_one_place():
    found = merge_places(Observations.of("stand", "", [[5, 5], [5.001, 4.999]], [1, 2]))
    assert found.values.tolist() == [1.5]


def test_censored_readings_are_left_as_they_are():
    found = merge_places(Observations.of(
        "top", "in", np.zeros((5, 2)), [3, 9, 5, 9, 1],
        censoring=[EXACT, ABOVE, EXACT, ABOVE, BELOW]))
    assert found.values.tolist() == [4, 9, 9, 1]
    assert found.censoring.tolist() == [EXACT, ABOVE, ABOVE, BELOW]


def test_kriging_the_average_is_kriging_the_readings():
    # Equal errors, no nugget: the average holds all that the readings told.
    generator = np.random.default_rng(1)
    places = np.repeat(generator.uniform(0, 50, (8, 2)), 3, axis=0)
    readings = Observations.of("stand", "", places, generator.normal(size=24),
                               error_variance=np.full(24, 0.5))
    model = CovarianceModel("exponential", 0.0, 1.0, 20.0)
    targets = generator.uniform(0, 50, (5, 2))
    whole = krige(places, readings.values, readings.error_variance, model, targets)
    merged = merge_places(readings)
    parts = krige(merged.positions_m, merged.values, merged.error_variance, model, targets)
    assert len(merged) == 8
    assert parts.estimate == pytest.approx(whole.estimate, rel=1e-9, abs=1e-9)
    assert parts.variance == pytest.approx(whole.variance, rel=1e-9)
