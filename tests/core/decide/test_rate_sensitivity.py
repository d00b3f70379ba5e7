"""Which setting, alone, moves the rate of nitrogen or lime by a step, worked by hand."""
import numpy as np
import pytest

from plugin.core.decide.lime_methods import load_lime_method
from plugin.core.decide.nitrate_rules import NitrogenSite, load_nitrate_rule
from plugin.core.decide.rate_sensitivity import lime_sensitivity, sidedress_sensitivity
from plugin.core.decide.rate_zones import RateSettings
from plugin.core.deliver.sensitivity_account import RATE_TITLES, sensitivity_account
from tests.core.decide.test_lime import surface_of

NITROGEN = RateSettings("nitrogen", "lb/ac", "USD", step=10, greatest=200, price=0.6)
LIME = RateSettings("lime", "ton/ac", "USD", step=0.5, greatest=4, price=30)


def of_nitrogen(rule, nitrate=14.0, spread=NITROGEN, **site):
    site = NitrogenSite(**{"crop": "corn", "rate_unit": "lb/ac", "yield_unit": "bu/ac", **site})
    found = sidedress_sensitivity(
        surface_of("Nitrate", np.full((2, 3), nitrate), "ppm"), load_nitrate_rule(rule), site,
        spread, yield_unit="bu/ac")
    return {one.setting: one for one in found}


def of_lime(method, target, spread=LIME, buffer_ph=6.4):
    found = lime_sensitivity(
        surface_of("pH", [[5.5, 5.5]]), surface_of("Buffer pH", [[buffer_ph, buffer_ph]]),
        load_lime_method(method), spread, target_ph=target, depth_m=6 * 0.0254, depth_unit="in",
        effective_percent=100)
    return {one.setting: one for one in found}


def values(one):
    return [one.worked.value, one.spared.value]


def test_pennsylvanias_rate_moves_with_yield_manure_and_the_crop_before():
    # 1.1 y - (3.5 + 1.75) 14: 113.5 of 170 bu, to the step 110; 115 at 171.36, 105 at 162.27 bu
    found = of_nitrogen("sidedress_pennsylvania", expected_yield=170, previous_crop="corn",
                        manure_since_harvest=True, manure_earlier=True)
    assert values(found["expected_yield"]) == pytest.approx([188.5 / 1.1, 178.5 / 1.1])
    assert found["expected_yield"].worked.above and not found["expected_yield"].spared.above
    # no manure since: 187 - 2.5 x 14 = 152; none before: 187 - 3.5 x 14 = 138: both more
    assert values(found["manure_since_harvest"]) == values(found["manure_earlier"]) == ["no", None]
    # soybean: 187 - 6.25 x 14 = 99.5; forage legume: 187 - 8.75 x 14 = 64.5; other: as corn
    assert values(found["previous_crop"]) == [None, "soybean or forage legume"]
    assert values(found["nitrogen_price"]) == [None, None]


def test_the_usual_rate_moves_the_rate_of_the_rules_that_ask_for_it():
    # Illinois at 20 ppm: 180 - 80 = 100; 105 at 185, and below 95 at 175
    found = of_nitrogen("sidedress_illinois", 20.0, usual_rate=180)
    assert values(found["usual_nitrogen"]) == pytest.approx([185, 175])
    assert set(found) == {"usual_nitrogen", "nitrogen_price"}


def test_iowas_rate_moves_with_a_wet_spring_where_manure_is_known():
    # 17 ppm: 64, or 32 in a wet spring; manured as well 0
    dry = {"wet_spring": False, "manure_since_harvest": False}
    assert values(of_nitrogen("sidedress_iowa_1997", 17.0, **dry)["wet_spring"]) == [None, "yes"]
    unknown = {"wet_spring": False}  # a wet spring would ask for manure too
    assert values(of_nitrogen("sidedress_iowa_1997", 17.0, **unknown)["wet_spring"]) == [None, None]
    wet = of_nitrogen("sidedress_iowa_1997", 17.0, wet_spring=True, manure_since_harvest=False)
    assert values(wet["wet_spring"]) == ["no", None]
    assert values(wet["manure_since_harvest"]) == [None, "yes"]


def test_oregons_lime_moves_with_target_depth_and_quality():
    # buffer 6.4 to 6.4: 2.1, set as 2.0; 2.25 is a step more, 1.75 a step less
    found = of_lime("lime_oregon_2025", 6.4)
    assert values(found["lime_depth"]) == pytest.approx([6 * 2.25 / 2.1, 6 * 1.75 / 2.1])
    assert values(found["lime_quality"]) == pytest.approx([100 * 2.1 / 2.25, 100 * 2.1 / 1.75])
    # 2.1 at 6.4 and 2.9 at 6.8; 1.5 at 6.0
    assert values(found["target_ph"]) == pytest.approx([6.4 + 0.4 * 0.15 / 0.8,
                                                        6.0 + 0.4 * 0.25 / 0.6])


def test_a_method_of_some_targets_names_those_that_move_it():
    found = of_lime("lime_kansas", 6.8, RateSettings("lime", "lb/ac", "USD", step=500,
                                                     greatest=9000))
    assert values(found["target_ph"]) == [None, "6"]
    assert "lime_price" not in found  # none was entered


def test_no_rate_has_no_step_less_and_the_greatest_none_more():
    none = of_nitrogen("sidedress_illinois", 20.0, usual_rate=84)  # 4: to the step 0
    assert values(none["usual_nitrogen"]) == [pytest.approx(85), None]
    most = of_nitrogen("sidedress_illinois", 20.0, usual_rate=300)  # 220, held to 200
    assert values(most["usual_nitrogen"]) == [None, pytest.approx(275)]


def test_the_account_says_it_in_words():
    found = of_nitrogen("sidedress_pennsylvania", expected_yield=170, previous_crop="corn",
                        manure_since_harvest=True, manure_earlier=True)
    told = sensitivity_account(tuple(found.values()), titles=RATE_TITLES,
                               names={"previous_crop": "Crop before"})
    assert {row["name"]: [row[part]["text"] for part in ("now", "worked", "spared")]
            for row in told["rows"]} == {
        "expected_yield": ["170 bu/ac", "above 171 bu/ac", "below 162 bu/ac"],
        "manure_since_harvest": ["yes", "if no", "none"],
        "manure_earlier": ["yes", "if no", "none"],
        "Crop before": ["corn", "none", "if soybean or forage legume"],
        "nitrogen_price": ["USD 0.60/lb", "none from USD 0.00/lb to any value",
                           "none from USD 0.00/lb to any value"]}
    assert told["steady"] == ["nitrogen_price"]
