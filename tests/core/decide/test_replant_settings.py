from dataclasses import replace
from datetime import date

import pytest

from plugin.core.decide.replant_settings import ReplantSettings
from plugin.core.problems import InputProblem

PLAIN = ReplantSettings(
    planting_date=date(2026, 4, 25), replant_date=date(2026, 5, 20), expected_yield=200,
    crop_price=4.5, currency="USD", target_stand=32_000, expected_emergence=95,
    seed_unit_cost=280, termination_cost=12, replanting_cost=25)


@pytest.mark.parametrize(("changed", "message"), [
    ({"replant_date": date(2026, 4, 20)}, r"\(2026-04-20\) is not after planting_date"),
    ({"replant_date": date(2026, 4, 25)}, "is not after planting_date"),
    ({"replant_date": date(2027, 5, 20)}, "is in another year"),
    ({"replant_date": None}, "replant_date is empty. Enter the day, month and year"),
    ({"planting_date": None}, "planting_date is empty"),
    ({"crop_price": 0}, r"crop_price is 0 USD/bu. Enter a number above 0 \(USD/bu\)"),
    ({"expected_yield": -3}, "expected_yield is -3 bu/ac. Enter a number above 0"),
    ({"termination_cost": None}, r"termination_cost is empty. Enter a number of 0 or more"),
    ({"replanting_cost": float("nan")}, "replanting_cost is empty"),
    ({"seed_unit_cost": None}, "seed_unit_cost is empty"),
    ({"crop_price": "4.50"}, "crop_price is 4.50, which is not a number"),
    ({"crop_price": float("inf")}, "crop_price is inf, which is not a number"),
    ({"expected_emergence": 0}, "expected_emergence is 0 %"),
    ({"expected_emergence": 101}, "expected_emergence is 101 %. .* not above 100"),
    ({"seed_rebate": 120}, "seed_rebate is 120 %"),
    ({"moisture_kept": 70}, "moisture_kept is 70 %"),
    ({"insurance_payment": -1}, "insurance_payment is -1 USD/ac. Enter a number of 0 or more"),
    ({"target_stand": 32}, "target_stand is 32 plants/ac, .* such as 32,000"),
    ({"seeds_per_unit": 80}, "seeds_per_unit is 80 seeds/seed unit, .* such as 80,000")])
def test_a_setting_that_cannot_be_is_refused_with_what_to_enter(changed, message):
    with pytest.raises(InputProblem, match=message):
        replace(PLAIN, **changed)


def test_units_follow_the_record_and_money_is_only_named():
    metric = replace(PLAIN, area_unit="ha", grain_unit="t", currency="EUR")
    units = {name: unit for name, (_, unit) in metric.numbers().items()}
    assert units["crop_price"] == "EUR/t" and units["termination_cost"] == "EUR/ha"
    assert units["expected_yield"] == "t/ha" and units["target_stand"] == "plants/ha"
    assert metric.fixed_cost_per_area == PLAIN.fixed_cost_per_area


def test_seed_for_the_target_stand_as_worked_by_hand():
    # 120,000 plants from 81 % emergence: 148,148 seeds, 1.0582 units of 140,000 at $60 is $63.49,
    # less 25 %: $47.62
    soybean = replace(PLAIN, target_stand=120_000, expected_emergence=81, seeds_per_unit=140_000,
                      seed_unit_cost=60, seed_rebate=25)
    assert soybean.seeds_per_area == pytest.approx(148_148, abs=0.5)
    assert soybean.seed_cost_per_area == pytest.approx(47.62, abs=0.005)  # to the cent
    assert soybean.fixed_cost_per_area == pytest.approx(47.62 + 12 + 25, abs=0.005)
