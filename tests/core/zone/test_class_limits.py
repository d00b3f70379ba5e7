from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from plugin.core.grid import Grid
from plugin.core.problems import InputProblem
from plugin.core.surface import Surface
from plugin.core.zone import class_limits
from plugin.core.zone.class_limits import equal_area_limits, natural_breaks


def surface(values, inside=None):
    values = np.atleast_2d(np.array(values, float))
    inside = np.isfinite(values).astype(float) if inside is None else np.atleast_2d(inside)
    return Surface("stand", "plants/ac", Grid(0.0, 0.0, 5.0, *values.shape), inside, values,
                   np.zeros(values.shape), {})


def deviations(values, weights, limits):
    """Weighted squared deviations from the class means."""
    classes = np.searchsorted(limits, values, side="right")
    return sum(weights[classes == one] @ (values[classes == one] - np.average(
        values[classes == one], weights=weights[classes == one]))**2 for one in np.unique(classes))


def test_each_class_holds_the_same_area():
    assert equal_area_limits(surface([8, 1, 2, 3, 4, 5, 6, 7, np.nan]), 4).tolist() == [3, 5, 7]


def test_half_a_cell_is_half_an_area():
    # areas 0.5, 0.5, 1, 1 of the values 1 to 4: below 3 lies 1 of 3, below 4 lies 2 of 3
    assert equal_area_limits(surface([1, 2, 3, 4], [0.5, 0.5, 1, 1]), 3).tolist() == [3, 4]


def test_natural_breaks_part_what_lies_apart():
    assert natural_breaks(surface([1, 2, 10, 11, 12, 30, 2]), 3).tolist() == [10, 30]


@settings(max_examples=50)
@given(arrays(float, st.integers(4, 9), elements=st.integers(0, 50), unique=True),
       st.integers(2, 4), st.integers(0, 10**6))
def test_no_other_limits_leave_smaller_deviations(values, count, seed):
    weights = np.random.default_rng(seed).uniform(0.1, 1, len(values))
    found = natural_breaks(surface(values, weights), count)
    least = min(deviations(values, weights, list(limits))
                for limits in combinations(np.sort(values)[1:], count - 1))
    assert deviations(values, weights, found) == pytest.approx(least, rel=1e-9, abs=1e-9)


def test_of_many_values_limits_are_off_by_one_part_of_the_range_at_most(monkeypatch):
    values = np.random.default_rng(2).gamma(2.0, 10.0, 1500)
    exact = natural_breaks(surface(values), 5)
    monkeypatch.setattr(class_limits, "MOST_EXACT", 300)
    coarse = natural_breaks(surface(values), 5)
    assert np.abs(coarse - exact).max() <= np.ptp(values) / 300
    weights = np.ones(len(values))
    assert deviations(values, weights, coarse) < 1.001 * deviations(values, weights, exact)


@pytest.mark.parametrize("method", [equal_area_limits, natural_breaks])
def test_limits_follow_a_change_of_unit(method):
    values = np.random.default_rng(4).normal(size=60)
    assert method(surface(3 * values + 7), 4) == pytest.approx(3 * method(surface(values), 4) + 7)


@pytest.mark.parametrize("method", [equal_area_limits, natural_breaks])
@pytest.mark.parametrize(("values", "count", "message"), [
    ([1, 2, 3], 1, "1 classes were asked for; enter 2 to 12"),
    ([1, 2, 3], 13, "13 classes were asked for; enter 2 to 12"),
    ([5, 5, 6], 3, "2 distinct values in the field; 3 classes were asked for. Ask for fewer")])
def test_a_count_that_cannot_be_is_refused(method, values, count, message):
    with pytest.raises(InputProblem, match=message):
        method(surface(values), count)


def test_a_field_of_mostly_one_value_has_no_classes_of_equal_area():
    with pytest.raises(InputProblem, match="70% of the field has the value 5"):
        equal_area_limits(surface([5] * 7 + [6, 7, 8]), 3)
