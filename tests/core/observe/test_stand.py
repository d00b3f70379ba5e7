import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugin.core.observe.stand import (
    REPLICATE_ROWS_WANTED,
    hoop_area_m2,
    row_area_m2,
    row_dispersion,
    stand_at_stops,
)
from plugin.core.problems import InputProblem

ROUNDING = 1e-12


def test_counts_of_a_stop_are_added_up_over_their_ground():
    # Stop 7: 10 + 30 plants on 2 + 3 m2 = 8 a m2 (not the mean of 5 and 10); stop 2: 12 on 4.
    found = stand_at_stops([7, 2, 7], [10, 12, 30], [2.0, 4.0, 3.0])
    assert found.stops.tolist() == [2, 7]
    assert found.density == pytest.approx([3, 8], rel=ROUNDING)
    assert (found.plants.tolist(), found.area_m2.tolist()) == ([12, 40], [4, 5])


def test_without_more_knowledge_a_count_is_poisson():
    # 52 plants on 9 m2: the variance is that mean over the ground of each stop, 4 and 5 m2
    found = stand_at_stops([7, 2, 7], [10, 12, 30], [2.0, 4.0, 3.0])
    assert (found.dispersion, found.error_source) == (1.0, "Poisson")
    assert found.error_variance == pytest.approx([52 / 9 / 4, 52 / 9 / 5], rel=ROUNDING)


def test_seeds_dropped_make_the_count_binomial():
    # 52 plants on 9 m2; of 8 seeds a m2, 1 - (52/9)/8 = 5/18 did not come up; variance 5/18 D/A
    found = stand_at_stops([7, 2, 7], [10, 12, 30], [2.0, 4.0, 3.0], seeds_per_m2=8.0)
    assert found.error_source == "seeds dropped"
    assert found.dispersion == pytest.approx(5 / 18, rel=ROUNDING)
    assert found.error_variance == pytest.approx([52 / 9 / 4 * 5 / 18, 52 / 9 / 5 * 5 / 18],
                                                 rel=ROUNDING)


@pytest.mark.parametrize("seeds", [5.0, 52 / 9, None])
def test_no_more_seeds_than_plants_is_no_binomial(seeds):
    found = stand_at_stops([1], [52], [9.0], seeds_per_m2=seeds)
    assert (found.dispersion, found.error_source) == (1.0, "Poisson")


def test_a_stop_without_a_plant_is_not_certain():
    # 0 on 2 m2 and 18 on 4 m2: mean density 3, so the variances are 3 / 2 and 3 / 4
    found = stand_at_stops([1, 2], [0, 18], [2.0, 4.0])
    assert found.density.tolist() == [0, 4.5]
    assert found.error_variance == pytest.approx([1.5, 0.75], rel=ROUNDING)


def test_a_field_without_a_plant_has_a_stand_of_zero():
    found = stand_at_stops([1, 2], [0, 0], [2.0, 4.0], seeds_per_m2=8.0)
    assert found.density.tolist() == [0, 0]
    assert found.error_source == "Poisson"


def test_the_dispersion_of_equal_rows_is_the_pooled_variance_over_the_mean():
    # For rows of equal ground the Pearson statistic of a stop is (k - 1) s2 / mean: an
    # independent form of the same sum.
    generator = np.random.default_rng(5)
    rows = generator.poisson(20, (8, 4))
    pooled = (3 * rows.var(axis=1, ddof=1) / rows.mean(axis=1)).sum() / (8 * 3)
    found = row_dispersion(np.repeat(np.arange(8), 4), rows.ravel(), np.full(32, 2.5))
    assert found == pytest.approx(pooled, rel=ROUNDING)


def test_the_dispersion_of_unequal_rows_is_worked_by_hand():
    # A stop of rows 1 and 3 m2 long with 4 and 4 plants: 8 on 4, so 2 and 6 were expected:
    # (4-2)2/2 + (4-6)2/6 = 2.667 with one degree of freedom. 20 such stops: the same.
    stops = np.repeat(np.arange(20), 2)
    found = row_dispersion(stops, np.full(40, 4), np.tile([1.0, 3.0], 20))
    assert found == pytest.approx(8 / 3, rel=ROUNDING)


def test_single_rows_and_empty_stops_say_nothing_of_the_spread():
    stops = np.repeat(np.arange(20), 2)
    plain = row_dispersion(stops, np.tile([3, 5], 20), np.ones(40))
    more = row_dispersion([*stops, 50, 51, 51], [*np.tile([3, 5], 20), 9, 0, 0], np.ones(43))
    assert plain == more == pytest.approx(20 * (1 / 4 + 1 / 4) / 20, rel=ROUNDING)


@pytest.mark.parametrize(("stops", "trusted"), [
    (REPLICATE_ROWS_WANTED - 1, False), (REPLICATE_ROWS_WANTED, True)])
def test_the_spread_of_rows_is_used_from_enough_degrees_of_freedom(stops, trusted):
    found = stand_at_stops([0], [40], [5.0], row_stops=np.repeat(np.arange(stops), 2),
                           row_plants=np.tile([3, 5], stops), row_area_m2=np.ones(2 * stops),
                           seeds_per_m2=10.0)
    # else the binomial one: 1 - 8/10
    assert found.error_source == ("rows" if trusted else "seeds dropped")
    assert found.dispersion == pytest.approx(0.5 if trusted else 0.2, rel=ROUNDING)


def test_no_rows_is_no_dispersion():
    assert row_dispersion([], [], []) is None


@given(st.lists(st.tuples(st.integers(1, 4), st.integers(0, 40), st.floats(0.5, 20)), min_size=1,
                max_size=12), st.randoms(use_true_random=False))
def test_the_order_of_counts_changes_nothing(counts, shuffler):
    shuffled = list(counts)
    shuffler.shuffle(shuffled)
    one, other = (stand_at_stops(*zip(*listed)) for listed in (counts, shuffled))
    assert one.stops.tolist() == other.stops.tolist()
    assert one.density == pytest.approx(other.density, rel=ROUNDING)
    assert one.error_variance == pytest.approx(other.error_variance, rel=ROUNDING)


@pytest.mark.parametrize("emergence", [0.6, 0.9])
def test_the_stated_binomial_variance_is_what_repeated_counts_show(emergence):
    # 34 seeds on 4.047 m2, 20,000 stops. The relative standard error of a variance from n
    # near-normal values is sqrt(2 / n) = 1 %; 4 of them.
    generator = np.random.default_rng(11)
    plants = generator.binomial(34, emergence, 20_000)
    found = stand_at_stops(np.arange(20_000), plants, np.full(20_000, 4.047),
                           seeds_per_m2=34 / 4.047)
    assert found.error_variance.mean() == pytest.approx(found.density.var(), rel=0.04)


def test_the_stated_variance_from_rows_is_what_uneven_stands_show():
    # Negative-binomial rows of variance over mean 3: four rows a stop, 10,000 stops. Heavier tails
    # than normal (excess kurtosis below 1): relative standard error below sqrt(3/10,000) = 1.7 %;
    # 4 of them.
    generator = np.random.default_rng(12)
    rows = generator.negative_binomial(10, 1 / 3, (10_000, 4))  # mean 20, variance 60
    stops = np.arange(10_000)
    found = stand_at_stops(stops, rows.sum(axis=1), np.full(10_000, 8.0),
                           row_stops=np.repeat(stops, 4), row_plants=rows.ravel(),
                           row_area_m2=np.full(40_000, 2.0))
    assert found.dispersion == pytest.approx(3.0, rel=0.07)
    assert found.error_variance.mean() == pytest.approx(found.density.var(), rel=0.07)


@pytest.mark.parametrize(("counts", "message"), [
    (([], [], []), "no stand count to work with"),
    (([1, 2], [-1, 4], [1, 1]), "Of 2 stand counts, 1 have no count of plants and 0 no area"),
    (([1, 2], [np.nan, 4], [1, 0]), "1 have no count of plants and 1 no area"),
    (([1, 2], [3, 4], [np.nan, -1]), "0 have no count of plants and 2 no area")])
def test_counts_that_say_nothing_are_refused(counts, message):
    with pytest.raises(InputProblem, match=message):
        stand_at_stops(*counts)


def test_areas_are_length_by_width_by_rows_and_the_circle():
    assert row_area_m2(5.0, 0.75, rows=[1, 4]) == pytest.approx([3.75, 15.0], rel=ROUNDING)
    assert hoop_area_m2(0.5, hoops=[1, 3]) == pytest.approx(
        [np.pi / 16, 3 * np.pi / 16], rel=ROUNDING)
