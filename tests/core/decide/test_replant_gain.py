from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from plugin.core.decide.replant import ReplantSettings, break_even_stand, gain_per_area
from plugin.core.decide.replant_gain import gain_line, kept_line, kept_percent
from plugin.core.decide.yield_response import load_table
from plugin.core.problems import InputProblem

TABLE = load_table("corn_nafziger_1994", "plants/ac")
CASE = ReplantSettings(
    planting_date=date(2026, 4, 25), replant_date=date(2026, 5, 20), expected_yield=200,
    crop_price=4.5, currency="USD", target_stand=32_000, expected_emergence=95,
    seed_unit_cost=280, seed_rebate=50, termination_cost=12, replanting_cost=25,
    moisture_kept=20, moisture_replanted=24, base_moisture=15.5, drying_cost=0.045,
    unevenness_loss=5)
STANDS = np.random.default_rng(11).uniform(0, 45_000, 400)


@pytest.mark.parametrize("unevenness", [0, 5, 80])
def test_the_line_is_the_gain_at_every_stand(unevenness):
    case = replace(CASE, unevenness_loss=unevenness)
    exact = gain_per_area(TABLE, case, STANDS)
    assert gain_line(TABLE, case).at(STANDS) == pytest.approx(exact, abs=1e-9)  # rounding only
    assert kept_line(TABLE, case).at(STANDS) == pytest.approx(kept_percent(TABLE, case, STANDS),
                                                              abs=1e-9)


def test_unevenness_never_makes_a_yield_negative():
    # no plants: 0 % less 5 points is 0 %, not -5
    assert kept_percent(TABLE, CASE, [0.0]).tolist() == [0]


@pytest.mark.parametrize("name", ["termination_cost", "replanting_cost", "other_replant_cost"])
def test_one_more_of_cost_takes_one_from_the_gain_everywhere(name):
    dearer = replace(CASE, **{name: getattr(CASE, name) + 1})
    assert gain_per_area(TABLE, dearer, STANDS) == pytest.approx(
        gain_per_area(TABLE, CASE, STANDS) - 1, abs=1e-9)


def test_a_loss_of_the_replanted_crop_takes_its_share_of_value_and_drying():
    # 10 % of 182 bu is 18.2 bu: $81.90 less grain, 18.2 x 8.5 x 0.045 = $6.96 less drying
    poorer = replace(CASE, replant_loss=10)
    lost = gain_per_area(TABLE, CASE, 18_000) - gain_per_area(TABLE, poorer, 18_000)
    assert lost == pytest.approx(81.90 - 6.9615, abs=1e-9)


def test_grain_below_the_base_moisture_needs_no_drying_and_earns_none():
    dry = replace(CASE, moisture_kept=14, moisture_replanted=15)
    free = replace(CASE, drying_cost=0)
    assert gain_per_area(TABLE, dry, STANDS).tolist() == gain_per_area(TABLE, free, STANDS).tolist()


def test_hectares_and_tonnes_give_the_same_money_for_the_same_ground():
    # 200 bu/ac of 56 lb are 12.5536 t/ha; a cost per acre is 2.4710538 times as much per hectare
    per_ha, t_per_bu = 2.471053815, 0.0254011727
    table = load_table("corn_nafziger_1994", "plants/ha")
    metric = replace(
        CASE, area_unit="ha", grain_unit="t", expected_yield=200 * per_ha * t_per_bu,
        crop_price=4.5 / t_per_bu, target_stand=32_000 * per_ha, termination_cost=12 * per_ha,
        replanting_cost=25 * per_ha, drying_cost=0.045 / t_per_bu)
    assert gain_per_area(table, metric, STANDS * per_ha) == pytest.approx(
        gain_per_area(TABLE, CASE, STANDS) * per_ha, rel=1e-6, abs=1e-4)  # digits of the factors


@pytest.mark.parametrize("insurance", [0, 37.28])
def test_at_the_break_even_stand_nothing_is_gained_and_below_it_something_is(insurance):
    case = replace(CASE, insurance_payment=insurance)
    stand = break_even_stand(TABLE, case)
    assert gain_per_area(TABLE, case, stand) == pytest.approx(0, abs=1e-9)
    assert gain_per_area(TABLE, case, stand - 1) > 0 > gain_per_area(TABLE, case, stand + 1)


def test_break_even_is_found_below_the_stands_of_the_table():
    # at twice the cost of replanting the break-even falls to where the line to no plants runs
    case = replace(CASE, replanting_cost=400)
    stand = break_even_stand(TABLE, case)
    assert 0 < stand < 10_000 and gain_per_area(TABLE, case, stand) == pytest.approx(0, abs=1e-9)


def test_where_no_stand_decides_there_is_no_break_even():
    assert break_even_stand(TABLE, replace(CASE, replanting_cost=2_000)) is None
    assert break_even_stand(TABLE, replace(CASE, insurance_payment=2_000)) is None


def test_where_replanting_gains_above_a_stand_and_not_below_there_is_no_break_even():
    # kept grain so wet that drying (44.5 points at 1.00) eats its price of 4.50 many times over:
    # the more plants stand, the better to be rid of them
    odd = replace(CASE, moisture_kept=60, moisture_replanted=15, drying_cost=1, replanting_cost=2e3)
    assert gain_per_area(TABLE, odd, 0) < 0 < gain_per_area(TABLE, odd, 30_000)
    assert break_even_stand(TABLE, odd) is None


@pytest.mark.parametrize(("changed", "message"), [
    ({"crop": "soybean"}, "grows soybean, but the table .* is for corn"),
    ({"area_unit": "ha"}, "counts plants/ac, the settings plants/ha"),
    ({"target_stand": 40_000}, "stand of 40,000 plants/ac is outside the table"),
    ({"replant_date": date(2026, 6, 20)}, "planting date of 20 June is outside the table")])
def test_settings_that_do_not_fit_the_table_are_refused(changed, message):
    with pytest.raises(InputProblem, match=message):
        gain_per_area(TABLE, replace(CASE, **changed), 20_000)
