"""Strata by covariates and the stops they get, as worked by hand."""
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugin.core.problems import InputProblem
from plugin.core.walk.covariate_strata import LEAST_EACH, allocated_stops, covariate_strata


def test_one_covariate_is_parted_at_its_quantiles():
    values = np.arange(12.0)[::-1, None]
    assert covariate_strata(values, 3).tolist() == [2] * 4 + [1] * 4 + [0] * 4


def test_ties_stay_together_and_empty_strata_go():
    for values in ([1, 1, 1, 1, 9], [1, 9, 9, 9, 9]):
        found = covariate_strata(np.array(values, float)[:, None], 3)
        assert found.tolist() == [int(value == 9) for value in values]


def test_cells_without_a_value_belong_to_none():
    assert covariate_strata([[1.0], [np.nan], [2.0]], 2).tolist() == [0, -1, 1]


def test_several_covariates_find_the_groups_there_are():
    draw = np.random.default_rng(1)
    middle = np.repeat([[0, 100], [5, 900], [9, 100]], 50, axis=0)
    found = covariate_strata(middle + draw.normal(0, [0.3, 20], (150, 2)), 3)
    assert found.tolist() == [0] * 50 + [1] * 50 + [2] * 50  # by the mean of the first


@pytest.mark.parametrize(("values", "words"), [
    ([[np.nan], [np.nan]], "no value anywhere"), ([[3.0], [3.0]], "one and the same")])
def test_covariates_that_tell_nothing_are_refused(values, words):
    with pytest.raises(InputProblem, match=words):
        covariate_strata(values, 2)


def test_stops_go_by_area_or_by_area_and_spread():
    # 20 stops to areas 1, 1, 2: 5, 5, 10. With spreads 3, 1, 1 the weights are 3, 1, 2.
    assert allocated_stops(20, [1, 1, 2]).tolist() == [5, 5, 10]
    assert allocated_stops(12, [1, 1, 2], [3, 1, 1]).tolist() == [6, 2, 4]
    # 7 by areas 1, 1, 1: 2.33 each, and the one left to the first.
    assert allocated_stops(7, [1, 1, 1]).tolist() == [3, 2, 2]
    # A small stratum keeps its two; the other 8 go 1 to 3.
    assert allocated_stops(10, [1, 50, 150]).tolist() == [2, 2, 6]
    assert allocated_stops(6, [1, 2], [0, 0]).tolist() == [2, 4]


@given(st.lists(st.tuples(st.floats(0.01, 100), st.floats(0, 10)), min_size=1, max_size=8),
       st.integers(0, 100))
def test_stops_add_up_and_none_goes_without(strata, more):
    areas, spreads = zip(*strata)
    stops = LEAST_EACH * len(areas) + more
    for found in (allocated_stops(stops, areas), allocated_stops(stops, areas, spreads)):
        assert found.sum() == stops and found.min() >= LEAST_EACH


def test_too_few_stops_are_refused():
    with pytest.raises(InputProblem, match="5 stops .* 3 strata"):
        allocated_stops(5, [1, 1, 1])
