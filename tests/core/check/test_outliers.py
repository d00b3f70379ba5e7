"""Isolated outliers: slips stand out; slopes, patches and noise do not."""
import numpy as np
import pytest

from plugin.core.check.outliers import check_outliers
from plugin.core.check.reading_set import ReadingSet


def lattice(side=8, apart=30.0):
    return np.array([(apart * east, apart * north) for north in range(side)
                     for east in range(side)])


def readings(places, values):
    return ReadingSet("probe_points", "pH", "", np.arange(1, len(values) + 1),
                      np.asarray(places, float), np.asarray(values, float))


def noise(count=64, seed=1):
    return np.random.default_rng(seed).normal(0, 0.1, count)


def flagged(places, values, **options):
    return [flag.fid for flag in check_outliers(readings(places, values), **options)]


def test_a_slip_of_the_decimal_point_stands_out():
    values = 6.3 + noise()
    values[20] = 63.0
    found = check_outliers(readings(lattice(), values))
    assert [flag.fid for flag in found] == [21]
    assert "pH is 63" in found[0].what and "6 neighbours" in found[0].what
    assert found[0].position_m == (120.0, 60.0)


def test_a_patch_a_slope_and_noise_do_not():
    places = lattice()
    patch = 6.3 + noise() - 1.5 * (places[:, 0] < 90) * (places[:, 1] < 90)
    slope = 5.0 + places[:, 0] / 60 + noise()
    assert flagged(places, patch) == [] and flagged(places, slope) == []
    # 4 robust deviations of normal noise: 6 in 100,000, but of few neighbours; hardly any.
    assert sum(len(flagged(places, 6.3 + noise(seed=seed))) for seed in range(40)) <= 4


def test_a_value_odd_for_its_place_but_usual_in_the_set_is_not_isolated_enough():
    places = lattice()
    slope = 5.0 + places[:, 0] / 60 + noise()
    slope[0] = slope[7]  # the value of the other end of the slope
    assert flagged(places, slope) == []


def test_shift_scale_and_order_change_nothing():
    places, values = lattice(), 6.3 + noise()
    values[[5, 40]] = 9.0, 3.0
    assert sorted(flagged(places, values)) == [6, 41]
    assert flagged(places * 7 + 1e6, values * 25.4 - 3) == [6, 41]
    order = np.random.default_rng(2).permutation(64)
    assert sorted(order[np.array(flagged(places[order], values[order])) - 1]) == [5, 40]


def test_what_is_skewed_is_judged_by_its_logarithm():
    places = lattice()
    values = 20 * np.exp(np.random.default_rng(3).normal(0, 0.7, 64))
    values[10] = 2_000.0
    assert flagged(places, values, skewed=True) == [11]
    assert len(flagged(places, values)) > 1  # which plain figures would not do
    values[30] = 0.0
    assert flagged(places, values, skewed=True) == [11]
    said = check_outliers(readings(places, values), skewed=True)[0]
    assert "is 2,000;" in said.what and "far from the whole set (19" in said.why


def test_readings_at_one_place_are_no_neighbours_of_each_other():
    places = np.repeat(lattice(4), 3, axis=0)
    values = 6.3 + noise(48)
    values[9:12] = 9.0  # all three of one place
    assert flagged(places, values) == [10, 11, 12]


@pytest.mark.parametrize(("places", "values"), [
    (np.zeros((0, 2)), []), (lattice(3), np.arange(9.0)), (np.zeros((20, 2)), np.arange(20.0)),
    (np.full((20, 2), np.nan), np.arange(20.0)), (lattice(), np.full(64, 6.0)),
    (lattice(), np.full(64, np.nan))])
def test_nothing_is_flagged_where_nothing_can_be_said(places, values):
    assert flagged(places, values) == []


def test_one_odd_value_among_equal_ones_is_left_to_the_limits():
    values = np.full(64, 6.0)
    values[3] = 7.0
    assert flagged(lattice(), values) == []
