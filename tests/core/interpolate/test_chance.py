import numpy as np
import pytest

from plugin.core.grid import Grid
from plugin.core.interpolate.chance import chance
from plugin.core.problems import InputProblem
from plugin.core.surface import Surface


def surface(estimate, standard_error):
    estimate = np.array([estimate], float)
    return Surface("top", "in", Grid(0, 1, 1, *estimate.shape), np.isfinite(estimate) * 1.0,
                   estimate, np.array([standard_error], float), {})


def test_the_chance_is_the_normal_distributions():
    # 0, 1 and -1.6449 standard errors: tables give 0.5, 0.8413 and 0.05
    made = surface([10, 8, 13.2897], [2, 2, 2])
    assert chance(made, 10, "below")[0] == pytest.approx([0.5, 0.8413, 0.05], abs=5e-5)
    assert chance(made, 10, "above")[0] == pytest.approx([0.5, 0.1587, 0.95], abs=5e-5)


def test_both_sides_make_one():
    made = surface(np.linspace(-50, 50, 21), np.full(21, 3.0))
    assert chance(made, 4, "below") + chance(made, 4, "above") == pytest.approx(
        np.ones((1, 21)), abs=1e-15)


def test_far_off_the_chance_does_not_round_to_nothing():
    # ten standard errors: 7.62e-24 in tables
    assert chance(surface([10], [1]), 0, "below")[0, 0] == pytest.approx(7.62e-24, rel=1e-3)


def test_a_value_known_for_certain_is_on_one_side_or_on_the_limit():
    assert chance(surface([9, 10, 11], [0, 0, 0]), 10, "below").tolist() == [[1, 0.5, 0]]
    assert chance(surface([9, 10, 11], [0, 0, 0]), 10, "above").tolist() == [[0, 0.5, 1]]


def test_outside_the_field_there_is_no_chance():
    assert np.isnan(chance(surface([np.nan, 9], [np.nan, 1]), 9, "below")[0]).tolist() == [
        True, False]


@pytest.mark.parametrize(("limit", "side", "message"), [
    (9, "beneath", "asked 'beneath' the limit 9; the side must be below or above"),
    (np.nan, "below", "the limit nan"), (np.inf, "above", "the limit inf")])
def test_a_question_without_an_answer_is_refused(limit, side, message):
    with pytest.raises(InputProblem, match=message):
        chance(surface([9], [1]), limit, side)


def test_a_chance_is_drawn_from_yes_and_no_alone():
    from plugin.core.interpolate.chance import require_yes_or_no
    from plugin.core.observations import Observations
    require_yes_or_no(Observations.of("pan", "", [[0, 0], [1, 0]], [0.0, 1.0]))
    with pytest.raises(InputProblem, match="pan 2: 0.5 is neither 0 .* 1 of 2 values"):
        require_yes_or_no(Observations.of("pan", "", [[0, 0], [1, 0]], [0.0, 0.5]))
