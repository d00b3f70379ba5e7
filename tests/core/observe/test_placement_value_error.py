"""The error of a value from the error of its place."""
import numpy as np
import pytest

from plugin.core.observe.placement_value_error import value_error_of_placement
from plugin.core.problems import InputProblem


def sites(count=60):
    return np.random.default_rng(3).uniform(0, 400, (count, 2))


def test_on_a_slope_the_error_is_what_the_slope_takes_over_that_distance():
    """Along a slow wave the value changes by slope times the way: drawn and compared."""
    places = sites(120)

    def value(at):
        return np.sin(at[:, 0] / 60) + np.cos(at[:, 1] / 60)

    off_m = 12.0
    draw = np.random.default_rng(4)
    moved = places + draw.normal(0, off_m / 2**0.5, places.shape)
    true = np.sqrt(((value(moved) - value(places)) ** 2).mean())
    said = value_error_of_placement(places, value(places), np.full(120, off_m))
    # The models tried are rough at the origin and the wave is smooth: within a factor of 2.
    assert true / 2 < said[0] < true * 2
    assert said == pytest.approx(np.full(120, said[0]))


def test_a_surer_place_has_the_smaller_error_and_a_known_one_none():
    places = sites()
    values = np.sin(places[:, 0] / 60)
    said = value_error_of_placement(places, values, np.linspace(0, 20, 60))
    assert said[0] == 0 and (np.diff(said) >= 0).all() and said[-1] > said[1]


def test_without_structure_no_place_tells_more_than_another():
    values = np.random.default_rng(11).normal(0, 1, 60)
    assert value_error_of_placement(sites(), values, np.full(60, 15.0)) == pytest.approx(
        np.zeros(60))


def test_few_or_equal_readings_are_refused():
    with pytest.raises(InputProblem, match="9 readings"):
        value_error_of_placement(sites(9), np.arange(9.0), np.ones(9))
    with pytest.raises(InputProblem, match="spread of 0"):
        value_error_of_placement(sites(), np.ones(60), np.ones(60))
