from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from plugin.core.decide.tillage_depth import (
    TillageSettings,
    depth_to_set,
    require_some_pan,
    tillage_plan,
)
from plugin.core.grid import Grid
from plugin.core.problems import InputProblem
from plugin.core.surface import Surface
from plugin.core.zone.workable import WorkableShape

OUTSIDE = -1
ACRE_M2 = 4046.8564224
TOOL = TillageSettings(least=10, greatest=18, step=1, margin=1, cost_per_area=24, currency="USD")


def surface_of(estimate, name="pan bottom", unit="in", error=0.0, inside=None, cell=10.0):
    estimate = np.asarray(estimate, float)
    return Surface(
        name=name, unit=unit, grid=Grid(0.0, 0.0, cell, *estimate.shape),
        inside=np.ones(estimate.shape) if inside is None else np.asarray(inside, float),
        estimate=estimate, standard_error=np.broadcast_to(float(error), estimate.shape), account={})


def plan_of(bottom, chance=1.0, tool=TOOL, error=0.0, inside=None, **changed):
    bottom = surface_of(bottom, error=error, inside=inside)
    chance = surface_of(np.broadcast_to(chance, bottom.grid.shape), "pan chance", "")
    given = {"area_unit": "ac", "shape": WorkableShape(), **changed}
    return tillage_plan(bottom, chance, tool, **given)


def test_the_worked_profile_is_tilled_at_17_inches():
    # bottom 15 + (320 - 300) / (320 - 240) x 3 = 15.75 in, plus 1 in, up to the next inch
    assert depth_to_set(15.75, TOOL) == 17


@pytest.mark.parametrize(("bottom", "depth"), [
    (15.0, 16), (15.001, 17), (4.0, 10), (9.0, 10), (17.0, 18)])
def test_depths_are_rounded_up_and_never_shallower_than_the_tool_runs(bottom, depth):
    assert depth_to_set(bottom, TOOL) == depth


def test_a_depth_that_only_rounding_takes_too_deep_is_run_at_the_greatest():
    # 14.5 + 1 = 15.5 would be 16 by steps of 2; the tool goes to 15.8 and clears it
    tool = replace(TOOL, step=2, greatest=15.8)
    assert depth_to_set([14.5, 14.8], tool).tolist() == [15.8, 15.8]
    assert np.isnan(depth_to_set(14.9, tool))


def test_a_depth_on_a_step_is_not_pushed_over_it_by_binary_fractions():
    # 30 x 0.1 is a little above 3 x 1 in binary; 2.9 + 0.1 likewise is not exactly 3
    tool = TillageSettings(least=0.1, greatest=9, step=0.1, margin=0.1, cost_per_area=1,
                           currency="USD")
    bottoms = np.arange(1, 80) / 10
    assert depth_to_set(bottoms, tool) == pytest.approx(bottoms + 0.1, abs=1e-9)


def test_each_patch_of_one_depth_is_a_zone_and_the_rest_is_left():
    plan = plan_of([[12.0, 12.5, 15.5, 15.5, 11.0, 11.0]], [[1, 1, 1, 1, 0.2, 0.4]])
    by_action = sorted((zone.action, zone.rate, round(zone.area * ACRE_M2)) for zone in plan.zones)
    assert by_action == [("leave", 0, 200), ("till", 13, 100), ("till", 14, 100), ("till", 17, 200)]


def test_a_left_zone_saves_the_cost_of_the_pass_over_its_area_and_tilling_saves_nothing():
    plan = plan_of([[12.0] * 4], [[1, 1, 0.2, 0.4]])
    left, = (zone for zone in plan.zones if zone.action == "leave")
    tilled, = (zone for zone in plan.zones if zone.action == "till")
    saved = 24 * 200 / ACRE_M2
    assert left.gain == pytest.approx(saved) and left.gain_per_area == 24
    assert left.gain_low == left.gain == left.gain_high and left.chance == pytest.approx(0.3)
    assert tilled.gain == 0 and tilled.figures["cost of tilling"] == (pytest.approx(saved), "USD")
    assert plan.gain == pytest.approx(saved)


def test_where_the_pan_is_deeper_than_the_tool_no_depth_is_set_and_it_is_said():
    plan = plan_of([[12.0, 12, 17.5, 20]])
    beyond, = (zone for zone in plan.zones if zone.action == "cannot reach")
    assert (beyond.rate, beyond.gain) == (0, 0) and "cost of tilling" not in beyond.figures
    assert beyond.area == pytest.approx(200 / ACRE_M2)
    assert any("deeper than the tool reaches (18 in)" in caution for caution in plan.cautions)
    assert not any("deeper than the tool" in caution for caution in plan_of([[12.0]]).cautions)


def test_a_chance_of_just_the_limit_is_tilled():
    assert [zone.action for zone in plan_of([[12.0]], 0.5).zones] == ["till"]


def test_the_chance_to_clear_the_bottom_is_that_of_the_normal():
    # set at 13 in: cells of 12 and 11.5 in (12.5 rounds to 13) with an error of 2 in
    zone, = plan_of([[12.0, 11.5]], error=2.0).zones
    worked = 100 * np.mean([norm.cdf(0.5), norm.cdf(0.75)])
    assert zone.figures["chance that the depth clears the bottom"] == (pytest.approx(worked), "%")
    assert zone.figures["standard error of the bottom"] == (pytest.approx(2.0), "in")
    assert zone.figures["mean pan bottom"] == (pytest.approx(11.75), "in")
    sure, = plan_of([[12.0, 11.5]]).zones
    assert sure.figures["chance that the depth clears the bottom"][0] == 100


def test_a_small_deep_patch_is_enlarged_and_never_run_shallower():
    # One cell in seven needs 17 in, where the others need 13; two cells are the least to work.
    before, after, deep = plan_of([[12.0, 12, 12, 16, 12, 12, 12]],
                                  shape=WorkableShape(smallest_area_m2=200)).zones
    assert (before.rate, after.rate, deep.rate) == (13, 13, 17)
    assert deep.area == pytest.approx(300 / ACRE_M2)  # a ring around it, one cell on each side
    assert all(zone.figures["chance that the depth clears the bottom"][0] == 100
               for zone in (before, after, deep))


def test_a_small_shallow_patch_is_run_as_deep_as_the_ground_around_it():
    zone, = plan_of([[16.0, 16, 12, 16, 16]], shape=WorkableShape(smallest_area_m2=150)).zones
    assert zone.rate == 17
    assert zone.figures["chance that the depth clears the bottom"][0] == pytest.approx(100)


def test_cells_outside_the_field_have_no_zone_and_shares_count():
    plan = plan_of([[12.0, 12.0, np.nan]], inside=[[1, 0.25, 0]])
    assert plan.zone_map.labels.tolist() == [[0, 0, OUTSIDE]]
    assert plan.zones[0].area == pytest.approx(125 / ACRE_M2)


def test_zone_areas_sum_to_the_field():
    rng = np.random.default_rng(8)
    plan = plan_of(rng.uniform(9, 20, (25, 30)), rng.uniform(0, 1, (25, 30)), error=1.0,
                   shape=WorkableShape(machine_width_m=40, smallest_area_m2=1_000))
    assert sum(zone.area for zone in plan.zones) == pytest.approx(750 * 100 / ACRE_M2)
    assert all(zone.rate in {0, *range(10, 19)} for zone in plan.zones)
    assert all((zone.rate > 0) == (zone.action == "till") for zone in plan.zones)


def test_centimetres_and_hectares_give_the_same_plan():
    bottom = np.array([[12.0, 12.0, 15.5, 11.0]])
    chance = np.array([[1, 1, 1, 0.1]])
    tool = TillageSettings(least=25.4, greatest=45.72, step=2.54, margin=2.54, depth_unit="cm",
                           cost_per_area=24 * 2.4710538, currency="EUR")
    metric = tillage_plan(surface_of(bottom * 2.54, unit="cm"),
                          surface_of(chance, "pan chance", ""), tool, area_unit="ha",
                          shape=WorkableShape())
    us = plan_of(bottom, chance)
    assert [zone.rate for zone in metric.zones] == pytest.approx([z.rate * 2.54 for z in us.zones])
    assert metric.gain == pytest.approx(us.gain, rel=1e-6)  # digits of the factor
    assert (metric.rate_unit, metric.currency) == ("cm", "EUR")


def test_the_plan_says_what_it_rests_on_and_what_to_mind():
    plan = plan_of([[12.0]])
    assert plan.settings["tillage_margin"] == (1, "in")
    assert plan.settings["tillage_cost"] == (24, "USD/ac")
    assert any("Forest Service" in source for source in plan.sources)
    said = " ".join(plan.cautions)
    for topic in ("utilities", "811", "tile", "moisture", "erodible", "Dig to confirm",
                  "Local extension"):
        assert topic in said
    assert "margin of" not in said
    assert any("margin of 3 in is more than 2 in (5.08 cm)" in caution
               for caution in plan_of([[12.0]], tool=replace(TOOL, margin=3)).cautions)


@pytest.mark.parametrize(("changed", "message"), [
    ({"least": 20}, r"tillage_least \(20 in\) is deeper than tillage_greatest \(18 in\)"),
    ({"step": 0}, "tillage_step is 0 in. Enter a number above 0"),
    ({"step": None}, "tillage_step is empty"), ({"margin": -1}, "tillage_margin is -1 in"),
    ({"cost_per_area": None}, "tillage_cost is empty. Enter a number of 0 or more"),
    ({"chance_limit": 1.5}, "chance_limit is 1.5"), ({"greatest": 0}, "tillage_greatest is 0 in"),
    ({"least": -2}, "tillage_least is -2 in")])
def test_a_setting_that_cannot_be_is_refused_with_what_to_enter(changed, message):
    with pytest.raises(InputProblem, match=message):
        replace(TOOL, **changed)


@pytest.mark.parametrize(("bottom", "chance", "message"), [
    (surface_of([[30.0]], unit="cm"), surface_of([[1]], "pan chance", ""),
     "pan bottom is in cm; this plan needs in"),
    (surface_of([[12.0]]), surface_of([[1]], "pan chance", "", cell=5.0),
     "pan chance and pan bottom are not on the same grid: .* 5 and 10 m"),
    (surface_of([[12.0]]), surface_of([[55.0]], "pan chance", ""),
     "pan chance: 1 of 1 cells inside the field hold no chance between 0 and 1"),
    (surface_of([[12.0, np.nan]]), surface_of([[1, 1]], "pan chance", ""),
     "pan bottom: 1 of 2 cells inside the field have no estimate")])
def test_surfaces_that_do_not_fit_are_refused(bottom, chance, message):
    with pytest.raises(InputProblem, match=message):
        tillage_plan(bottom, chance, TOOL, area_unit="ac", shape=WorkableShape())


def test_a_field_without_any_pan_gets_no_plan_and_one_with_pan_everywhere_is_asked_about():
    none = surface_of([[0.0, 0, 0]], "Chance of a pan", "", inside=[[1, 1, 0]])
    with pytest.raises(InputProblem, match="Chance of a pan is 0 everywhere: no stop met a pan"):
        require_some_pan(none)
    require_some_pan(replace(none, estimate=np.array([[0, 0.1, 0]])))
    assert any("Every stop met a pan" in caution for caution in plan_of([[12.0, 12]]).cautions)
    some = plan_of([[12.0, 12]], [[1, 0.9]])
    assert not any("Every stop met a pan" in caution for caution in some.cautions)
