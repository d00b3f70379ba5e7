from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from plugin.core.decide.look_again import DoubtLimits
from plugin.core.decide.replant_sensitivity import TIMES, replant_sensitivity
from plugin.core.decide.sensitivity import Turn, turn_of
from plugin.core.decide.tillage_sensitivity import LEFT_PAN, tillage_sensitivity
from plugin.core.problems import Stopped
from tests.core.decide.test_replant_plan import CASE, ROW, TABLE, plan_of, stand_of
from tests.core.decide.test_tillage_depth import TOOL, surface_of
from tests.core.decide.test_tillage_depth import plan_of as tillage_plan_of

WITH_DRYING = replace(CASE, drying_cost=0.045, moisture_kept=20, moisture_replanted=24,
                      base_moisture=15.5, unevenness_loss=3)


@pytest.mark.parametrize(("gain", "now", "turn"), [
    (lambda x: x - 2, 5, Turn(2.0, False, 0, 10)), (lambda x: 7 - x, 5, Turn(7.0, True, 0, 10)),
    (lambda x: x + 1, 5, Turn(None, False, 0, 10)), (lambda x: 2 - x, 2, Turn(2.0, True, 0, 10))])
def test_a_setting_turns_where_its_gain_changes_sign(gain, now, turn):
    found = turn_of(gain, now, 0, 10)
    assert (found.above, found.low, found.high) == (turn.above, turn.low, turn.high)
    assert found.value == (None if turn.value is None else pytest.approx(turn.value, rel=1e-9))


def replant_turns(settings=WITH_DRYING, error=1_500.0, **changed):
    stand = stand_of(ROW, error)
    plan = plan_of(stand, settings=settings, **changed)
    return {one.setting: one for one in replant_sensitivity(plan, stand, TABLE, settings)}, stand


def field_gain(settings, stand, action):
    """Gain per acre of the cells that the entered settings replant or keep, at other settings."""
    whole = plan_of(stand_of(stand.estimate[:, cells(action)], 1_500.0), settings=settings)
    area = sum(zone.area for zone in whole.zones)
    return sum(zone.figures["gain if replanted"][0] for zone in whole.zones) / area


def cells(action):
    return slice(0, 4) if action == "replant" else slice(4, 10)


@pytest.mark.parametrize("part", ["replant", "keep"])
def test_at_each_turn_the_plan_itself_says_that_the_ground_gains_nothing(part):
    found, stand = replant_turns()
    turned = 0
    for name, one in found.items():
        turn = one.worked if part == "replant" else one.spared
        if name == "replant_date" or turn.value is None:
            continue
        gain = field_gain(replace(WITH_DRYING, **{name: turn.value}), stand, part)
        assert gain == pytest.approx(0, abs=1e-5), name  # of some hundred
        turned += 1
    assert turned >= 2


def test_the_price_below_which_replanting_stops_is_as_worked_by_hand():
    # Stand known for sure, no drying: 12,000 keeps 74 % of 200 bu, replanted 91 %: 34 bu. Costs
    # 280 x 33,684.2 / 80,000 x 0.5 + 12 + 25 = 95.947; 95.947 / 34 = 2.822 a bushel.
    found, _ = replant_turns(CASE, error=0.0)
    assert found["crop_price"].worked.value == pytest.approx(2.8220, abs=5e-5)
    assert not found["crop_price"].worked.above and found["crop_price"].now == 4.5
    # 34 x 4.5 = 153, so costs may rise by 57.053 before it stops
    assert found["termination_cost"].worked.value == pytest.approx(12 + 57.053, abs=5e-4)
    assert found["extra_nitrogen_cost"].worked.value == pytest.approx(57.053, abs=5e-4)
    assert found["termination_cost"].worked.above


def test_kept_ground_that_nothing_turns_says_within_which_bounds():
    turn = replant_turns(CASE, error=0.0)[0]["crop_price"].spared
    # 28,000 keeps 99 %, more than the 91 % of the replanted crop: no price makes that pay
    assert (turn.value, turn.low, turn.high) == (None, 4.5 / TIMES, 4.5 * TIMES)


def test_the_date_turns_on_the_first_day_that_differs():
    found, stand = replant_turns()
    turn = found["replant_date"].worked
    on, before = (field_gain(replace(WITH_DRYING, replant_date=day), stand, "replant")
                  for day in (turn.value, turn.value - timedelta(days=1)))
    assert turn.above and on <= 0 < before
    assert turn.low == date(2026, 4, 26) and turn.high == date(2026, 6, 9)
    assert found["replant_date"].now == CASE.replant_date


def test_a_setting_that_moves_nothing_is_left_out_and_one_ground_is_enough():
    assert not {"drying_cost", "moisture_replanted"} & set(replant_turns(CASE)[0])
    stand = stand_of(np.full((1, 5), 30_000.0))
    found = replant_sensitivity(plan_of(stand), stand, TABLE, CASE)
    assert {one.worked for one in found} == {None}


def test_ground_to_look_at_again_turns_nothing():
    stand = stand_of(ROW)
    shifts = np.linspace(-25_000, 25_000, 41)[:, None]
    plan = plan_of(stand, ROW + shifts, np.arange(10), doubt=DoubtLimits(0.0, 1.0))
    assert {zone.action for zone in plan.zones} == {"look again"}
    assert replant_sensitivity(plan, stand, TABLE, CASE) == ()


def test_replant_sensitivity_can_be_stopped():
    def stop(fraction):
        raise Stopped
    stand = stand_of(ROW)
    with pytest.raises(Stopped):
        replant_sensitivity(plan_of(stand), stand, TABLE, CASE, tick=stop)


def tillage_turns(tool=TOOL, bottom=((12.0, 12, 14, 14),), chance=((1.0, 0.8, 0.1, 0.3),)):
    plan = tillage_plan_of(bottom, chance, tool)
    surfaces = surface_of(bottom), surface_of(chance, "pan chance", "")
    return {one.setting: one for one in tillage_sensitivity(plan, *surfaces, tool, "ac")}


def test_tillage_turns_as_worked_by_hand():
    # Tilled ground holds a pan with 0.9, left ground with 0.2. At a limit of 0.5 a pass of 24 means
    # that a pan left loses 48: tilling pays up to 0.9 x 48 = 43.20 and at 0.2 x 48 = 9.60; at a
    # pass of 24 from a loss of 24 / 0.9 = 26.67 and 24 / 0.2 = 120 on.
    found = tillage_turns()
    worked = {name: (one.worked.value, one.worked.above) for name, one in found.items()}
    assert worked == {"chance_limit": (pytest.approx(0.9), True),
                      "tillage_cost": (pytest.approx(43.2), True),
                      LEFT_PAN: (pytest.approx(26.667, abs=5e-4), False),
                      "tillage_margin": (pytest.approx(6), True)}  # 18 less a bottom of 12
    assert {name: (one.spared.value, one.spared.above) for name, one in found.items()
            if one.spared} == {"chance_limit": (pytest.approx(0.2), False),
                               "tillage_cost": (pytest.approx(9.6), False),
                               LEFT_PAN: (pytest.approx(120), True)}
    assert found[LEFT_PAN].now == 48 and found["tillage_cost"].unit == "USD/ac"


def test_at_a_turned_limit_the_plan_is_another_one():
    bottom, chance = [[12.0] * 4], [[0.9, 0.9, 0.2, 0.2]]
    limit = tillage_turns(bottom=bottom, chance=chance)["chance_limit"]
    for value, actions in ((limit.worked.value + 1e-6, {"leave"}),
                           (limit.spared.value - 1e-6, {"till"})):
        plan = tillage_plan_of(bottom, chance, replace(TOOL, chance_limit=value))
        assert {zone.action for zone in plan.zones} == actions


def test_a_pass_that_costs_nothing_or_ground_that_is_never_left_has_no_money_to_turn():
    assert set(tillage_turns(replace(TOOL, cost_per_area=0))) == {"chance_limit", "tillage_margin"}
    assert set(tillage_turns(replace(TOOL, chance_limit=0))) == {"chance_limit", "tillage_margin"}


def test_left_ground_without_any_chance_is_turned_by_no_loss():
    turn = tillage_turns(chance=((1.0, 1, 0, 0),))[LEFT_PAN].spared
    assert turn.value is None
