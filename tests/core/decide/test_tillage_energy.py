from dataclasses import replace

import numpy as np
import pytest

from plugin.core.decide.draft import Outfit, pass_at
from plugin.core.decide.tillage_energy import Rig, tillage_energy
from plugin.core.units import METRIC, US, convert
from tests.core.decide.test_tillage_depth import TOOL, plan_of

OUTFIT = Outfit(tool="subsoiler_narrow", texture="medium", tools=5, width_m=3.80, speed_km_h=6.5,
                field_efficiency=0.85, tractor="front_wheel_assist", surface="tilled",
                rated_pto_kw=130)
RIG = Rig(OUTFIT, METRIC, fuel_price=1.2)
ACRE_HA = 0.40468564224


def test_nothing_worked_takes_nothing_and_is_not_told():
    assert tillage_energy([0, 0], [3, 4], RIG, depth_unit="cm", area_unit="ha") is None
    left = plan_of([[12.0, 12]], 0.1, rig=replace(RIG, units=US))
    assert left.figures == {} and not any("Draft" in caution for caution in left.cautions)


def test_ends_of_the_fuel_saved_are_those_of_the_table_s_range():
    found = tillage_energy([38, 28, 0], [1, 2, 3], RIG, depth_unit="cm", area_unit="ha")
    for saved, factor in ((found.saved_low, 0.5), (found.fuel_saved, 1), (found.saved_high, 1.5)):
        deep, shallow = pass_at([0.38, 0.28], OUTFIT, draft_factor=factor).fuel_l_per_ha
        assert saved == pytest.approx([0, 2 * (deep - shallow), 3 * deep])
    assert found.fuel.sum() + found.fuel_saved.sum() == pytest.approx(found.fuel_of_one)
    assert found.hours_of_one == pytest.approx(6 / 2.0995, rel=1e-4)  # 2.0995 ha/h by hand
    assert found.hours.sum() == pytest.approx(3 / 2.0995, rel=1e-4)


def test_both_unit_systems_tell_the_same():
    metric = tillage_energy([38.1, 25.4], [1, 2], RIG, depth_unit="cm", area_unit="ha")
    us = tillage_energy([15, 10], np.array([1, 2]) / ACRE_HA, replace(RIG, units=US),
                        depth_unit="in", area_unit="ac")
    for name, there, here in (("fuel", "gal", "L"), ("draft", "lbf", "kN"), ("power", "hp", "kW"),
                              ("fuel_saved", "gal", "L"), ("saved_high", "gal", "L")):
        assert convert(getattr(us, name), there, here) == pytest.approx(getattr(metric, name))
    assert us.hours == pytest.approx(metric.hours) and us.load == pytest.approx(metric.load)


def rigged(price=3.0, **changed):
    """Two zones of 13 and 17 in, and one left, each of 200 m2."""
    rig = Rig(replace(OUTFIT, **changed), US, price)
    return plan_of([[12.0, 12, 16, 16, 12, 12]], [[1, 1, 1, 1, 0, 0]], rig=rig)


def test_a_shallower_zone_gains_the_fuel_it_saves_and_a_left_one_its_whole_pass():
    plan = rigged()
    shallow, deep = sorted((zone for zone in plan.zones if zone.action == "till"),
                           key=lambda zone: zone.rate)
    left, = (zone for zone in plan.zones if zone.action == "leave")
    assert (shallow.rate, deep.rate, left.gain_per_area) == (13, 17, 24)
    litres = np.subtract(*pass_at([17 * 0.0254, 13 * 0.0254], OUTFIT).fuel_l_per_ha) * 0.02
    assert shallow.gain == pytest.approx(litres / 3.785411784 * 3.0)
    # the part of the fuel that goes with the draft, half of it less and more
    assert (shallow.gain_low, shallow.gain_high) == pytest.approx(
        (0.5 * shallow.gain, 1.5 * shallow.gain))
    assert (deep.gain, deep.gain_low, deep.gain_high) == pytest.approx((0, 0, 0), abs=1e-12)
    assert plan.gain == pytest.approx(left.gain + shallow.gain)
    assert plan.gain_low == pytest.approx(left.gain + shallow.gain_low)


def test_the_field_is_told_fuel_hours_and_money_against_the_deepest_depth():
    plan = rigged()
    figures = plan.figures
    assert figures["one depth to compare with"] == (17, "in")
    saved, unit, low, high = figures["fuel saved"]
    assert unit == "gal" and 0 < low < saved < high
    assert figures["fuel at one depth"][0] - figures["fuel by this plan"][0] == pytest.approx(saved)
    assert figures["worth of the fuel saved"][0] == pytest.approx(3 * saved)
    assert figures["hours at one depth"][0] == pytest.approx(
        1.5 * figures["hours by this plan"][0])
    zone = next(zone for zone in plan.zones if zone.rate == 17)
    assert zone.figures["fuel per area"][0] == pytest.approx(
        zone.figures["fuel"][0] / zone.area)
    assert plan.settings["tillage_speed"] == (pytest.approx(6.5 / 1.609344), "mph")
    assert any("D497" in source for source in plan.sources)


def test_without_a_price_fuel_is_told_and_no_money_made_of_it():
    plan = rigged(price=None)
    assert "fuel saved" in plan.figures and "worth of the fuel saved" not in plan.figures
    assert plan.gain == plan.gain_low == plan.gain_high == pytest.approx(24 * 200 / 4046.8564224)
    assert "fuel_price" not in plan.settings


def test_ground_that_the_tool_cannot_reach_is_in_neither_sum():
    without = plan_of([[12.0, 16]], rig=Rig(OUTFIT, US))
    with_it = plan_of([[12.0, 16, 30, 30]], rig=Rig(OUTFIT, US))
    for name in ("fuel by this plan", "fuel at one depth", "hours at one depth"):
        assert with_it.figures[name][0] == pytest.approx(without.figures[name][0])


def test_a_depth_that_the_tractor_cannot_pull_is_named_with_the_power_it_takes():
    plan = rigged(rated_pto_kw=100)
    shallow, deep = (zone for zone in sorted(plan.zones, key=lambda zone: zone.rate)
                     if zone.action == "till")
    assert shallow.figures["share of the tractor's power"][0] < 100
    share = deep.figures["share of the tractor's power"][0]
    assert share > 100
    assert f"in zone {deep.label + 1} (17 in: {share:.0f} %). Drive slower" in plan.cautions[0]
    assert "cannot pull" not in " ".join(rigged().cautions)


def test_a_plan_without_a_rig_is_as_it_was():
    plan = plan_of([[12.0, 12, 16, 16]], tool=TOOL)
    assert plan.figures == {} and "tillage_tool" not in plan.settings
    assert all("draft" not in zone.figures for zone in plan.zones)
