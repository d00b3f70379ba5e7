from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from plugin.core.decide.linear_loss import LinearLoss, expected_shortfall, pan_loss, replant_loss
from plugin.core.decide.replant_gain import break_even_stand, gain_per_area
from plugin.core.decide.replant_settings import ReplantSettings
from plugin.core.decide.yield_response import load_table
from plugin.core.problems import InputProblem

TABLE = load_table("corn_nafziger_1994", "plants/ac")
CASE = ReplantSettings(
    planting_date=date(2026, 4, 25), replant_date=date(2026, 5, 20), expected_yield=200,
    crop_price=4.5, currency="USD", target_stand=32_000, expected_emergence=95,
    seed_unit_cost=280, termination_cost=12, replanting_cost=25, unevenness_loss=5)


def test_the_shortfall_is_as_worked_by_hand():
    # gap 0: 1 x phi(0) = 0.3989423; gap 1, spread 2: 2 (phi(0.5) - 0.5 x 0.3085375) with
    # phi(0.5) = 0.3520653; spread 0: nothing is left to lose
    assert expected_shortfall([0.0, 1.0, -1.0, 3.0, 0.0], [1.0, 2.0, 2.0, 0.0, 0.0]) == \
        pytest.approx([0.3989423, 0.3955931, 0.3955931, 0, 0], abs=1e-6)  # digits of the tables


@pytest.mark.parametrize(("gap", "spread"), [(0.3, 1.0), (-4.0, 2.5), (7.0, 1.1), (120.0, 90.0)])
def test_the_shortfall_is_the_mean_of_what_lies_above_nothing(gap, spread):
    area, _ = quad(lambda x: x * norm.pdf(x, -abs(gap), spread), 0, 12 * spread, epsabs=1e-13)
    assert expected_shortfall(gap, spread) == pytest.approx(area, rel=1e-6, abs=1e-12)


def test_far_out_the_shortfall_is_nothing_and_never_less():
    gaps = np.linspace(0, 60, 4001)
    found = expected_shortfall(gaps, 1.0)
    assert (found >= 0).all() and (np.diff(found) <= 1e-16).all() and found[-1] == 0


@pytest.mark.parametrize("cost", [25, 140, 400])
def test_a_replant_choice_has_its_limit_at_break_even_and_the_gains_slope_there(cost):
    case = replace(CASE, replanting_cost=cost)
    choice = replant_loss(TABLE, case)
    stand = break_even_stand(TABLE, case)
    # one plant either way, within one straight piece of the line
    slope = gain_per_area(TABLE, case, stand - 1) - gain_per_area(TABLE, case, stand)
    assert choice.limit == stand and choice.loss == pytest.approx(slope, rel=1e-6)
    assert (choice.below, choice.above, choice.area_unit) == ("replant", "keep", "ac")
    assert choice.currency == "USD"


def test_where_the_line_bends_at_break_even_both_slopes_count_half():
    # a payment that puts break-even on the table's stand of 20,000
    case = replace(CASE, insurance_payment=-float(gain_per_area(TABLE, CASE, 20_000)))
    below, at, above = gain_per_area(TABLE, case, [19_000, 20_000, 21_000])
    assert at == pytest.approx(0, abs=1e-9)
    assert (below - at) / (at - above) > 1.05  # it does bend there
    assert replant_loss(TABLE, case).loss == pytest.approx((below - above) / 2000, rel=1e-9)


@pytest.mark.parametrize(("changed", "words"), [
    ({"replanting_cost": 5000}, "gains at no stand"),
    ({"insurance_payment": 5000}, "gains at every stand")])
def test_where_no_stand_decides_there_is_no_choice_to_inform(changed, words):
    with pytest.raises(InputProblem, match=words):
        replant_loss(TABLE, replace(CASE, **changed))


def test_the_limit_and_the_loss_of_a_pan_follow_from_each_other():
    # a pass of 24 that is made from a chance of 0.4 on says that a pan left loses 60
    by_chance = pan_loss(24, chance_limit=0.4, area_unit="ac", currency="USD")
    assert (by_chance.limit, by_chance.loss) == (pytest.approx(0.4), pytest.approx(60))
    assert pan_loss(24, left_pan=by_chance.loss, area_unit="ac", currency="USD") == by_chance
    assert (by_chance.below, by_chance.above) == ("leave", "till")


@pytest.mark.parametrize(("given", "words"), [
    ({}, "Give either"), ({"chance_limit": 0.5, "left_pan": 50}, "Give either"),
    ({"chance_limit": 0}, "above 0"), ({"left_pan": 0}, "above 0"),
    ({"chance_limit": 1.0}, "tilling never pays"),
    ({"left_pan": 20}, "loses 20 and the pass costs 24")])
def test_a_pan_choice_that_makes_no_sense_is_refused(given, words):
    with pytest.raises(InputProblem, match=words):
        pan_loss(24, area_unit="ac", currency="USD", **given)


@pytest.mark.parametrize(("limit", "loss", "words"), [
    (float("nan"), 1, "the limit is empty"), (float("inf"), 1, "the limit is inf"),
    (5, 0, "the loss is 0"), (5, -1, "the loss is -1"), (5, None, "the loss is empty")])
def test_a_choice_without_a_limit_or_a_loss_is_refused(limit, loss, words):
    with pytest.raises(InputProblem, match=words):
        LinearLoss(limit, loss, "ha")


def test_a_free_pass_is_no_choice():
    with pytest.raises(InputProblem, match="tillage_cost is 0 USD/ac"):
        pan_loss(0, chance_limit=0.5, area_unit="ac", currency="USD")
