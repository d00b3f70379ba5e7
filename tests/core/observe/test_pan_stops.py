from statistics import median

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugin.core.observations import ABOVE, BELOW, EXACT
from plugin.core.observe.pan_stops import depth_error_variance, median_of_insertions
from plugin.core.problems import InputProblem

DEPTHS = st.floats(0.01, 1.0)


@given(st.lists(DEPTHS, min_size=1, max_size=9))
def test_of_exact_depths_it_is_the_median(depths):
    value, censoring = median_of_insertions(depths, [EXACT] * len(depths))
    assert (value, censoring) == (pytest.approx(median(depths), rel=1e-12), EXACT)


@pytest.mark.parametrize(("values", "censoring", "expected"), [
    ([20, 30, 60], [EXACT, EXACT, ABOVE], (30, EXACT)),       # the deep one is deep anyway
    ([20, 10, 60], [EXACT, BELOW, ABOVE], (20, EXACT)),
    ([20, 60, 50], [EXACT, ABOVE, ABOVE], (50, ABOVE)),
    ([30, 10, 12], [EXACT, BELOW, BELOW], (12, BELOW)),
    ([20, 60], [EXACT, ABOVE], (40, ABOVE)),                  # half of 20 and of more than 60
    ([20, 10], [EXACT, BELOW], (15, BELOW)),
    ([10, 60], [BELOW, ABOVE], (30, ABOVE)),                  # at least half of 0 and 60
    ([60], [ABOVE], (60, ABOVE)),
    ([10, 20, 40, 60], [BELOW, EXACT, EXACT, ABOVE], (30, EXACT))])
def test_depths_known_only_in_part_take_their_rank(values, censoring, expected):
    value, kind = median_of_insertions(values, censoring)
    assert (value, kind) == (pytest.approx(expected[0], rel=1e-12), expected[1])


@given(st.lists(st.tuples(DEPTHS, st.sampled_from([EXACT, EXACT, ABOVE, BELOW])), min_size=1,
                max_size=8), st.randoms(use_true_random=False))
def test_the_order_of_insertions_changes_nothing(insertions, shuffler):
    shuffled = list(insertions)
    shuffler.shuffle(shuffled)
    assert median_of_insertions(*zip(*insertions)) == pytest.approx(
        median_of_insertions(*zip(*shuffled)), rel=1e-12)


@given(st.lists(DEPTHS, min_size=1, max_size=7), st.floats(0.05, 0.9))
def test_a_probe_that_went_to_one_depth_never_says_more_than_it_saw(depths, reach):
    # Tops deeper than the reach are seen only as deeper: what the median says must hold of the
    # median of the true depths.
    seen = [min(depth, reach) for depth in depths]
    censoring = [ABOVE if depth > reach else EXACT for depth in depths]
    value, kind = median_of_insertions(seen, censoring)
    if kind == EXACT:
        assert value == pytest.approx(median(depths), rel=1e-12)
    else:
        assert kind == ABOVE
        assert median(depths) >= value - 1e-12  # rounding


@given(st.lists(DEPTHS, min_size=1, max_size=7), st.floats(0.05, 0.9))
def test_hard_ground_from_one_first_reading_never_says_more_than_it_saw(depths, first):
    seen = [max(depth, first) for depth in depths]
    censoring = [BELOW if depth < first else EXACT for depth in depths]
    value, kind = median_of_insertions(seen, censoring)
    if kind == EXACT:
        assert value == pytest.approx(median(depths), rel=1e-12)
    else:
        assert kind == BELOW
        assert median(depths) <= value + 1e-12  # rounding


def test_no_insertion_has_no_median():
    with pytest.raises(InputProblem, match="A stop without an insertion has no median"):
        median_of_insertions([], [])


def test_a_step_spreads_a_crossing_evenly_over_itself():
    # Uniform over 0.0762 m: the variance of evenly spread places, by a sum
    places = (np.arange(100_000) + 0.5) / 100_000 * 0.0762
    assert depth_error_variance(0.0762, False) == pytest.approx(places.var(), rel=1e-9)


def test_a_felt_depth_is_good_to_four_centimetres_and_insertions_share_the_error():
    assert np.sqrt(depth_error_variance(0.0, True)) == pytest.approx(0.04, rel=1e-12)
    assert depth_error_variance([0.06, 0.06], [False, True], [3, 4]) == pytest.approx(
        [1e-4, 4e-4], rel=1e-12)
