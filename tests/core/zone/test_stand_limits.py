import pytest

from plugin.core.problems import InputProblem
from plugin.core.zone.stand_limits import limits_below_target


def test_limits_are_half_seven_and_nine_tenths_of_the_target():
    assert limits_below_target(32_000) == pytest.approx([16_000, 22_400, 28_800], rel=1e-12)


@pytest.mark.parametrize("target", [0, -5, float("nan")])
def test_a_target_of_nothing_is_refused(target):
    with pytest.raises(InputProblem, match=f"The target stand is {target}; it must be above 0"):
        limits_below_target(target)
