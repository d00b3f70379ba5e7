import numpy as np
import pytest

from plugin.core.decide.nitrate_rules import (
    NitrogenSite,
    asked_by,
    load_nitrate_rule,
    nitrate_rules,
    nitrogen_needed,
)
from plugin.core.decide.rate_zones import RateSettings, to_step
from plugin.core.decide.sidedress import sidedress_plan
from plugin.core.grid import Grid
from plugin.core.problems import InputProblem
from plugin.core.surface import Surface
from plugin.core.zone.workable import WorkableShape

ACRE_M2 = 4046.8564224
IOWA = load_nitrate_rule("sidedress_iowa_1997")
SITE = NitrogenSite(crop="corn", rate_unit="lb/ac", yield_unit="bu/ac", wet_spring=False)
SPREAD = RateSettings("nitrogen", "lb/ac", "USD", step=20, greatest=150, usual_rate=120,
                      price=0.5)


def nitrate_of(estimate, unit="ppm", error=0.0, inside=None):
    estimate = np.asarray(estimate, float)
    return Surface(name="Nitrate", unit=unit, grid=Grid(0.0, 0.0, 10.0, *estimate.shape),
                   inside=np.ones(estimate.shape) if inside is None else np.asarray(inside, float),
                   estimate=estimate, standard_error=np.full(estimate.shape, error), account={})


def plan_of(estimate, site=SITE, spread=SPREAD, deviation=0.0, unit="ppm", inside=None):
    nitrate = nitrate_of(estimate, unit, deviation, inside)
    cells = np.flatnonzero(nitrate.inside)
    wobble = np.random.default_rng(5).normal(0, deviation, (500, 1))  # all cells together
    draws = nitrate.estimate.ravel()[cells] + wobble
    return sidedress_plan(nitrate, draws, cells, IOWA, site, spread, area_unit="ac",
                          shape=WorkableShape())


def test_each_zone_gets_what_its_cells_need_to_the_step():
    # 17 ppm: (25 - 17) x 8 = 64, to the 20: 60; 30 ppm: none; 1 ppm: 192, held to 140
    plan = plan_of([[17.0, 17.0, 30.0, 30.0, 1.0]])
    assert sorted((zone.action, zone.rate, round(zone.area * ACRE_M2)) for zone in plan.zones) \
        == [("apply", 60, 200), ("apply", 140, 100), ("none", 0, 200)]
    assert plan.rate_unit == "lb/ac"


def test_a_zone_saves_the_difference_to_the_usual_rate():
    plan = plan_of([[17.0, 17.0]])
    zone, = plan.zones
    assert zone.gain_per_area == pytest.approx((120 - 60) * 0.5)
    assert plan.gain == pytest.approx(30 * 200 / ACRE_M2) == plan.gain_low == plan.gain_high
    assert zone.figures["amount"] == (pytest.approx(60 * 200 / ACRE_M2), "lb")
    assert zone.figures["cost"] == (pytest.approx(30 * 200 / ACRE_M2), "USD")


@pytest.mark.parametrize("spread", [
    RateSettings("nitrogen", "lb/ac", "USD", step=20, greatest=150, price=0.5),
    RateSettings("nitrogen", "lb/ac", "USD", step=20, greatest=150, usual_rate=120)])
def test_without_a_usual_rate_or_a_price_nothing_is_saved(spread):
    assert plan_of([[17.0, 17.0]], spread=spread).gain == 0


def test_the_band_of_the_need_is_that_of_the_nitrate():
    # 17 +- 2 ppm (normal): the need is 64 +- 16 lb, nine times in ten 64 +- 1.645 x 16
    zone, = plan_of([[17.0, 17.0]], deviation=2.0).zones
    assert zone.figures["need, low"][0] == pytest.approx(64 - 26.3, abs=3)  # 500 draws
    assert zone.figures["need, high"][0] == pytest.approx(64 + 26.3, abs=3)
    assert zone.chance > 0.99


def test_a_zone_at_the_critical_content_needs_nitrogen_about_half_the_time():
    # half a step, 10 lb, is 1.25 ppm below 25: at 23.75 the chance is a half
    zone, = plan_of([[23.75, 23.75]], deviation=2.0).zones
    assert zone.chance == pytest.approx(0.5, abs=0.07)  # three standard errors of 500 draws


def test_settings_source_and_cautions_travel_with_the_plan():
    plan = plan_of([[17.0, 20.0]])
    assert plan.settings["nitrate_rule"] == ("Late-spring nitrate test, Iowa 1997", "")
    assert plan.settings["wet_spring"] == ("no", "")
    assert plan.settings["nitrogen_greatest"] == (150, "lb/ac")
    assert "PM 1714" in plan.sources[0] and "second-hand" in plan.sources[0]
    assert any("wells" in caution for caution in plan.cautions)


def test_cells_outside_the_field_weigh_nothing():
    plan = plan_of([[17.0, np.nan]], inside=[[1, 0]])
    zone, = plan.zones
    assert zone.area == pytest.approx(100 / ACRE_M2) and zone.rate == 60


def test_a_nitrate_estimate_below_none_counts_as_none():
    zone, = plan_of([[-1.0, -1.0]], spread=RateSettings("nitrogen", "lb/ac", "USD", 10, 500)).zones
    assert zone.rate == 200


def test_rates_stop_at_the_last_step_within_the_greatest():
    assert to_step([-3, 9, 11, 149, 500], SPREAD).tolist() == [0, 0, 20, 140, 140]
    # half way goes up, also where a conversion has shaved a little off it
    assert to_step([30, 50, 50 - 1e-9], SPREAD).tolist() == [40, 60, 60]
    tenths = RateSettings("nitrogen", "lb/ac", "USD", 0.1, 0.3)
    assert to_step(5, tenths) == pytest.approx(0.3)


@pytest.mark.parametrize(("site", "said"), [
    ({"crop": "soybean"}, "grows soybean; the rule .* is for corn"),
    ({"crop": None}, "a crop not entered"),
    ({"crop": "corn"}, "wet_spring is empty.*whether rain"),
    ({"crop": "corn", "wet_spring": True}, "manure_since_harvest is empty")])
def test_what_the_rule_needs_and_the_field_lacks_is_named(site, said):
    site = NitrogenSite(rate_unit="lb/ac", yield_unit="bu/ac", **site)
    with pytest.raises(InputProblem, match=said):
        plan_of([[17.0, 17.0]], site=site)


def test_a_surface_of_something_else_is_refused():
    with pytest.raises(InputProblem, match="Nitrate is in lb/ac; this plan needs ppm"):
        plan_of([[17.0, 17.0]], unit="lb/ac")


@pytest.mark.parametrize(("changed", "said"), [
    ({"step": 0}, "nitrogen_step"), ({"greatest": 5}, "nitrogen_greatest"),
    ({"least": 150}, "nitrogen_least is 150 lb/ac"),
    ({"usual_rate": -1}, "usual_nitrogen"), ({"price": -0.1}, "nitrogen_price is -0.1 USD/lb")])
def test_settings_that_make_no_sense_are_named(changed, said):
    with pytest.raises(InputProblem, match=said):
        RateSettings("nitrogen", "lb/ac", "USD", **{"step": 20, "greatest": 150, **changed})


def test_zones_that_need_more_than_the_greatest_rate_are_told():
    # 1 ppm: 192 lb, held to 140; 17 ppm: 64
    plan = plan_of([[17.0, 17.0, 1.0]])
    assert plan.cautions[0].startswith("In 1 of 2 zones the need is above the greatest nitrogen")
    assert {zone.rate: zone.figures["need"][0] for zone in plan.zones} == pytest.approx(
        {60.0: 64.0, 140.0: 192.0})
    assert not any("greatest" in caution for caution in plan_of([[17.0, 17.0]]).cautions)


def test_a_rate_below_the_least_is_the_least_or_none_whichever_is_nearer():
    spread = RateSettings("nitrogen", "lb/ac", "USD", step=20, greatest=150, least=50)
    # 50 is no multiple of 20: the first that can be set is 60
    assert (spread.first, spread.last) == (60, 140)
    assert to_step([0, 29, 31, 65, 71, 200], spread).tolist() == [0, 0, 60, 60, 80, 140]
    assert plan_of([[17.0, 17.0]], spread=spread).settings["nitrogen_least"] == (50, "lb/ac")


def test_a_zone_tells_between_which_contents_its_rate_holds_and_what_a_ppm_moves():
    # 60 lb: 80 from a need of 70 on, 25 - 70 / 8 = 16.25; 40 below 50, above 25 - 50 / 8 = 18.75
    low, = plan_of([[17.0, 17.0]]).zones
    assert low.figures["more up to a nitrate of"] == (pytest.approx(16.2), "ppm")
    assert low.figures["less from a nitrate of"] == (pytest.approx(18.8), "ppm")
    assert low.figures["rate for 1 ppm of nitrate"] == (pytest.approx(8), "lb/ac")
    assert low.figures["money for 1 ppm of nitrate"] == (pytest.approx(4), "USD/ac")
    # at 1 ppm the need, 192, is above the greatest rate: no content asks for more, and an error
    # moves nothing
    held, = plan_of([[1.0, 1.0]]).zones
    assert "more up to a nitrate of" not in held.figures
    assert held.figures["rate for 1 ppm of nitrate"][0] == 0


def test_the_need_of_a_zone_follows_its_mean_nitrate_and_not_its_ups_and_downs():
    # 400 cells of 25 ppm, each give or take 5 by itself: the rule, made for a sample of many
    # cores, asks for nothing; cell by cell it would ask for 8 x 5 x 0.399 = 16 lb on average
    nitrate = nitrate_of(np.full((20, 20), 25.0))
    draws = np.random.default_rng(8).normal(25.0, 5.0, (300, 400))
    zone, = sidedress_plan(nitrate, draws, np.arange(400), IOWA, SITE, SPREAD, area_unit="ac",
                           shape=WorkableShape()).zones
    assert zone.rate == 0 and zone.figures["need, high"][0] < 5 and zone.chance < 0.01


def test_the_nitrate_that_is_there_is_told_as_mass():
    # 17 ppm of 12 in, at 3.6 lb/ac a ppm and foot: 61 lb/ac
    zone, = plan_of([[17.0, 17.0]]).zones
    assert zone.figures["nitrate nitrogen in the soil"] == (pytest.approx(61, abs=0.6), "lb/ac")


@pytest.mark.parametrize("name", nitrate_rules())
def test_a_rule_needs_what_it_asks_for_and_nothing_else(name):
    rule, told = load_nitrate_rule(name), {
        "expected_yield": 170, "usual_rate": 150, "previous_crop": "corn", "wet_spring": True,
        "manure_since_harvest": True, "manure_earlier": True, "mixed_cover_crop": False}
    asked = asked_by(rule, wet_spring=True)

    def needed(names):
        return nitrogen_needed(rule, NitrogenSite(crop="corn", rate_unit="lb/ac",
                                                  yield_unit="bu/ac",
                                                  **{one: told[one] for one in names}), [12.0])

    assert needed(asked) == needed(told)
    for one in asked:
        with pytest.raises(InputProblem, match=f"field, {one} is empty"):
            needed(set(asked) - {one})
