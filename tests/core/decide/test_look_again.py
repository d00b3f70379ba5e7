import numpy as np
import pytest

from plugin.core.decide.look_again import DoubtLimits, figures_of_looking, worth_of_looking
from plugin.core.problems import InputProblem


def test_between_the_limits_there_is_doubt_and_on_them_none():
    held = DoubtLimits(0.25, 0.75).hold([0, 0.25, 0.26, 0.74, 0.75, 1])
    assert held.tolist() == [False, False, True, True, False, False]


def test_equal_limits_leave_nothing_in_doubt():
    assert not DoubtLimits(0.4, 0.4).hold(np.linspace(0, 1, 101)).any()


@pytest.mark.parametrize(("limits", "message"), [
    ((0.8, 0.2), r"CHANCE_KEEP \(0.8\) is above CHANCE_REPLANT \(0.2\)"),
    ((-0.1, 0.5), "CHANCE_KEEP is -0.1"), ((0.5, 1.1), "CHANCE_REPLANT is 1.1")])
def test_limits_that_cannot_be_are_refused(limits, message):
    with pytest.raises(InputProblem, match=message):
        DoubtLimits(*limits)


def test_a_look_is_worth_what_knowing_saves_over_deciding_now():
    # zone 1: -100 or +300, even chances: now replant for 100, knowing 150: worth 50.
    # zone 2: -300 or +100: now keep for 0, knowing 50: worth 50. zone 3 always gains: worth 0.
    gains = np.array([[-100.0, -300, 20], [300, 100, 40]])
    assert worth_of_looking(gains).tolist() == [50, 50, 0]


def test_the_field_is_told_with_the_ground_in_doubt_as_worked_by_hand():
    replanted, looked_at = np.array([[10.0], [30.0]]), np.array([[-100.0], [300.0]])
    found = figures_of_looking(replanted, looked_at, "USD")
    # sums -90 and 330, whose 5 % and 95 % points lie 5 % inwards
    value, unit, low, high = found["gain if the ground to look at again is replanted too"]
    assert (value, unit) == (120, "USD") and (low, high) == pytest.approx((-69, 309))
    # looked at first it is replanted in the second case alone: sums 10 and 330
    value, _, low, high = found["gain if that ground is replanted just where it pays"]
    assert value == 170 and (low, high) == pytest.approx((26, 314))
    assert found["most that a further look is worth"] == (50, "USD")


def test_without_ground_in_doubt_there_is_nothing_to_tell():
    assert figures_of_looking(np.ones((3, 1)), np.ones((3, 0)), "USD") == {}
