import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugin.core.observe.clustered import mean_over_stops, share_over_stops
from plugin.core.problems import InputProblem


def test_the_mean_over_stops_as_worked_by_hand():
    # Stops of means 2.0, 2.5 and 1.5: mean 2.0, deviation 0.5, error 0.5 / sqrt(3) = 0.28868.
    # t of 2 degrees of freedom, 95 %: 2.91999; half width 0.84293.
    found = mean_over_stops([1, 1, 2, 3, 3], [1.5, 2.5, 2.5, 1.0, 2.0])
    assert (found.mean, found.low, found.high) == pytest.approx((2.0, 1.15707, 2.84293), abs=1e-5)
    assert (found.readings, found.stops) == (5, 3)
    assert found.deviation == pytest.approx(np.std([1.5, 2.5, 2.5, 1.0, 2.0], ddof=1), rel=1e-12)


def test_one_stop_gives_a_mean_without_an_interval_and_gaps_are_not_counted():
    found = mean_over_stops([4, 4, 5], [2.0, 3.0, np.nan])
    assert (found.mean, found.low, found.high, found.readings, found.stops) == (
        2.5, None, None, 2, 1)
    assert mean_over_stops([1], [2.0]).deviation is None
    with pytest.raises(InputProblem, match="None of 1 readings has a value"):
        mean_over_stops([1], [np.nan])


def test_a_share_of_like_stops_has_wilsons_interval():
    # 5 of 10 in each of two stops: 10 of 20, no spread between them. Wilson, 90 %: z 1.64485,
    # half width 1.64485 sqrt(0.25/20 + 2.70554/1600) / (1 + 2.70554/20) = 0.17259.
    found = share_over_stops([1, 2], [5, 5], [10, 10])
    assert (found.low, found.high) == pytest.approx((0.32741, 0.67259), abs=1e-5)
    assert (found.share, found.readings, found.stops) == (0.5, 20, 2)


def test_a_share_of_unlike_stops_is_as_unsure_as_the_stops():
    # All at one stop, none at the other: spread 2/1 x (5^2 + 5^2) / 400 = 0.25, at random
    # 0.0125: twenty readings are worth one. Wilson of 0.5 of 1: half width 0.42723.
    found = share_over_stops([1, 2], [10, 0], [10, 10])
    assert (found.low, found.high) == pytest.approx((0.07276, 0.92724), abs=1e-5)


def test_a_share_of_nothing_or_of_more_than_all_is_refused():
    with pytest.raises(InputProblem, match="0 of 0 is no share"):
        share_over_stops([1], [0], [0])
    with pytest.raises(InputProblem, match="3 of 2 is no share"):
        share_over_stops([1], [3], [2])


@given(st.lists(st.tuples(st.integers(1, 4), st.integers(0, 9), st.integers(0, 9)), min_size=1))
def test_a_share_lies_in_its_interval_and_that_between_0_and_1(rows):
    stops, up, down = zip(*rows)
    of = [a + b for a, b in zip(up, down)]
    if not sum(of):
        return
    found = share_over_stops(stops, up, of)
    # rounding of the interval's ends where the share is 0 or 1
    assert 0 <= found.low <= found.share + 1e-12 and found.share - 1e-12 <= found.high <= 1
