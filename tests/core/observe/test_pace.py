"""The length of a pace and its error, as worked by hand."""
import pytest

from plugin.core.observe.pace import calibrated_pace, require_pace
from plugin.core.problems import InputProblem


def test_three_walks_give_the_pace_and_its_error():
    # 100 m in 110, 112 and 114 paces: mean 112, s 2, error 2 / 112 sqrt(4 / 3).
    found = calibrated_pace(100.0, [110, 112, 114])
    assert found.length_m == pytest.approx(100 / 112)
    assert found.error == pytest.approx(2 / 112 * (4 / 3) ** 0.5)


@pytest.mark.parametrize(("known", "paces", "words"), [
    (100.0, [112], "1 walk"), (100.0, [], "0 walk"), (0.0, [1, 2], "no calibration"),
    (100.0, [112, 0], "no calibration"), (100.0, [112, float("nan")], "no calibration"),
    (float("nan"), [112, 113], "no calibration"), (100.0, [10, 11], "9.52 m"),
    (30.48, [112, 114], "0.27 m")])
def test_what_is_no_calibration_is_refused(known, paces, words):
    with pytest.raises(InputProblem, match=words):
        calibrated_pace(known, paces)


def test_feet_given_for_metres_are_refused():
    with pytest.raises(InputProblem, match="2.62 m"):
        require_pace(2.62)  # 2.62 ft are a usual pace
