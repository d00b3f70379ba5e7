from dataclasses import replace

import numpy as np
import pytest

from plugin.core.decide.compaction_rating import rate_compaction
from plugin.core.deliver.plan_account import (
    area_of,
    not_told,
    plan_account,
    replant_headline,
    tillage_headline,
)
from plugin.core.grid import Grid
from plugin.core.plan import Plan, PlanZone
from plugin.core.zone_map import ZoneMap

MAP = ZoneMap(Grid(0, 1, 1, 1, 1), np.ones((1, 1)), np.zeros((1, 1), int), (), "plan", "")


def zone(label, action, rate, area, gain=0.0, **figures):
    return PlanZone(label=label, action=action, rate=rate, area=area,
                    gain_per_area=gain / area, gain=gain, gain_low=gain - 500,
                    gain_high=gain + 500, chance=0.926, figures=figures)


def plan(*zones, rate_unit="seeds/ac", gain=4321.0):
    return Plan(name="Replant plan", rate_unit=rate_unit, area_unit="ac", currency="USD",
                zone_map=MAP, zones=zones,
                settings={"seed_cost": (250.0, "USD"), "table": ("corn 1994", "")},
                sources=("A table (1994)",), cautions=("Check first.",), gain=gain,
                gain_low=gain - 1000, gain_high=gain + 1000)


REPLANT = plan(zone(0, "keep", 0.0, 60.0, **{"seed units": (0.0, "seed units")}),
               zone(1, "replant", 34_000.0, 20.0, 3000.0,
                    **{"seed units": (8.5, "seed units"), "yield kept": (71.6, "% of full yield")}),
               zone(2, "replant", 34_000.0, 6.5, 1321.0, **{"seed units": (2.8, "seed units")}))


def test_the_account_says_each_zone_in_figures():
    found = plan_account(REPLANT, title="Replant", headline="Do it.",
                         break_even=(17_450.0, "plants/ac"))
    assert [each["zone"] for each in found["zones"]] == ["1", "2", "3"]
    second = found["zones"][1]
    assert second["action"] == "replant"
    assert {name: second[name]["text"] for name in
            ("rate", "area", "gain_per_area", "gain", "interval", "chance")} == {
        "rate": "34,000 seeds/ac", "area": "20.0 ac", "gain_per_area": "USD 150.00/ac",
        "gain": "USD 3,000", "interval": "USD 2,500 to USD 3,500", "chance": "93 %"}
    assert second["figures"]["yield kept"] == {
        "value": 71.6, "unit": "% of full yield", "text": "72 % of full yield"}
    assert second["figures"]["seed units"]["text"] == "8.5 seed units"
    assert found["break_even"]["value"] == 17_450.0


def test_the_account_adds_up_and_carries_what_the_plan_rests_on():
    found = plan_account(REPLANT, title="Replant", headline="Do it.")
    totals = found["totals"]
    assert {name: each["value"] for name, each in totals["area_by_action"].items()} == {
        "keep": 60.0, "replant": 26.5}
    assert (totals["gain"]["text"], totals["interval"]["text"]) == (
        "USD 4,321", "USD 3,321 to USD 5,321")
    assert found["settings"] == [
        {"name": "Seed cost", "figure": {"value": 250.0, "unit": "USD", "text": "USD 250"}},
        {"name": "Table", "figure": {"value": "corn 1994", "unit": "", "text": "corn 1994"}}]
    assert (found["sources"], found["cautions"]) == (["A table (1994)"], ["Check first."])
    assert (found["title"], found["headline"], found["break_even"]) == ("Replant", "Do it.", None)


def test_settings_are_called_as_the_form_calls_them_and_what_is_empty_is_no_0():
    name, other = REPLANT.settings
    found = plan_account(REPLANT, title="", headline="", names={name: "Cost of seed"},
                         not_entered=(other,))
    assert [(one["name"], one["figure"]["text"]) for one in found["settings"]] == [
        ("Cost of seed", "USD 250"), ("Table", "not entered")]
    assert found["settings"][1]["figure"]["value"] == "not entered"


@pytest.mark.parametrize(("value", "text"), [
    (float("nan"), "not known"), (None, "not known"), (-0.2, "0 % of full yield")])
def test_a_percentage_that_is_missing_or_nothing_reads_so(value, text):
    made = plan(zone(0, "keep", 0.0, 1.0, **{"yield kept": (value, "% of full yield")}))
    found = plan_account(made, title="", headline="")
    assert found["zones"][0]["figures"]["yield kept"]["text"] == text


def test_areas_of_an_action_are_added_up():
    assert area_of(REPLANT, "replant") == 26.5
    assert area_of(REPLANT, "till") == 0


def test_the_replant_headline_is_the_decision_in_one_sentence():
    assert replant_headline(REPLANT) == (
        "Replant 26.5 ac of 86.5 ac: expected gain USD 4,321 (nine times in ten USD 3,321 to "
        "USD 5,321), 11.3 seed units.")


def test_nothing_to_replant_is_a_decision_too():
    assert replant_headline(plan(zone(0, "keep", 0.0, 60.0))) == (
        "Keep the stand everywhere: replanting is not expected to pay in any zone.")


@pytest.mark.parametrize(("depths", "words"), [([14, 14], "14.0 in deep"),
                                               ([17, 14], "14.0 in to 17.0 in deep")])
def test_the_tillage_headline_says_where_and_how_deep(depths, words):
    zones = [zone(number, "till", depth, 10.0) for number, depth in enumerate(depths)]
    made = plan(*zones, zone(2, "leave", 0.0, 30.0), zone(3, "cannot reach", 0.0, 5.0),
                rate_unit="in", gain=600.0)
    assert tillage_headline(made) == (
        f"Loosen 20.0 ac of 55.0 ac, {words}, and leave 30.0 ac: USD 600 less than tilling all of "
        "it; on 5.0 ac the hard layer lies deeper than the tool reaches.")


def test_a_field_tilled_as_a_whole_has_no_saving_to_name():
    assert tillage_headline(plan(zone(0, "till", 14, 55.0), rate_unit="in")) == (
        "Loosen all of it, 55.0 ac, 14.0 in deep.")


def test_a_layer_that_the_tool_cannot_reach_is_not_called_absent():
    made = plan(zone(0, "cannot reach", 0.0, 25.0), zone(1, "leave", 0.0, 30.0), rate_unit="in")
    assert tillage_headline(made) == (
        "Loosen nothing with this tool: on 25.0 ac of 55.0 ac the hard layer lies deeper than it "
        "reaches.")


@pytest.mark.parametrize(("name", "value", "unit", "text"), [
    ("standard error of the bottom", 0.54, "cm", "0.5 cm"),
    ("mean pan bottom", 34.3, "cm", "34 cm"),
    ("chance that the depth clears the bottom", 99.97, "%", "over 99 %"),
    ("cells that would gain", 0.2, "%", "0 %")])
def test_a_zone_s_figures_are_rounded_by_what_they_are(name, value, unit, text):
    found = plan_account(plan(zone(0, "till", 40.0, 1.0, **{name: (value, unit)})), title="",
                         headline="")
    assert found["zones"][0]["figures"][name] == {"value": value, "unit": unit, "text": text}


def test_nothing_to_till_is_a_decision_too():
    assert tillage_headline(plan(zone(0, "leave", 0.0, 30.0), rate_unit="in")) == (
        "Leave the ground alone: no zone is likely enough to hold a pan the tool can break.")


AGAIN = zone(3, "look again", 0.0, 12.5, **{"seed units": (0.0, "seed units")})


def test_ground_to_look_at_again_is_in_the_headline():
    made = replace(REPLANT, zones=(*REPLANT.zones, AGAIN))
    assert replant_headline(made).endswith(
        "11.3 seed units. Look again at 12.5 ac before deciding.")
    assert replant_headline(plan(zone(0, "keep", 0.0, 60.0), AGAIN)) == (
        "Replant nothing yet: look again at 12.5 ac of 72.5 ac, where it is in doubt whether "
        "replanting pays.")


def test_fuel_saved_is_in_the_headline_where_it_is_known():
    made = replace(plan(zone(0, "till", 14, 55.0), rate_unit="in"), figures={
        "one depth to compare with": (17.0, "in"), "fuel saved": (52.4, "gal", 35.1, 69.6)})
    assert tillage_headline(made) == (
        "Loosen all of it, 55.0 ac, 14.0 in deep. Against 17.0 in all over it takes 52 gal (35 gal "
        "to 70 gal) less fuel.")
    same = replace(made, figures={**made.figures, "fuel saved": (0.0, "gal", 0.0, 0.0)})
    assert tillage_headline(same) == "Loosen all of it, 55.0 ac, 14.0 in deep."


def test_figures_of_the_field_come_with_their_range_and_cautions_before_those_of_the_plan():
    made = replace(REPLANT, figures={"fuel saved": (52.4, "gal", 35.1, 69.6),
                                     "hours": (6.71, "h")})
    rating = rate_compaction(np.arange(20) < 11)
    found = plan_account(made, title="", headline="", cautions=("Dry soil.",), rating=rating)
    saved = found["figures"]["fuel saved"]
    assert (saved["value"], saved["text"]) == (52.4, "52 gal (35 gal to 70 gal)")
    assert set(found["ranges"]) == {"fuel saved"}
    ends = found["ranges"]["fuel saved"]
    assert (ends["low"]["value"], ends["high"]["value"]) == (35.1, 69.6)
    assert found["figures"]["hours"] == {"value": 6.71, "unit": "h", "text": "6.7 h"}
    assert found["cautions"] == ["Dry soil.", "Check first."]
    assert found["rating"]["rating"] == "moderate" and found["rating"]["from_memory"]
    assert "Agronomy Facts 63" in found["rating"]["text"]


@pytest.mark.parametrize(("lacking", "said"), [
    ((), ()),
    (("Fuel price",), ("What the fuel saved is worth is not told: enter Fuel price in the record's "
                       "field.",)),
    (("Tractor", "Shanks"), ("Draft, power, fuel and hours are not told, since the record's field "
                             "leaves these empty: Tractor, Shanks. Enter them to compare the plan "
                             "with one depth all over.",))])
def test_what_keeps_energy_from_being_told_is_named(lacking, said):
    assert not_told(lacking) == said
