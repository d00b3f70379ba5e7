from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from scipy.stats import norm

from plugin.core.decide.look_again import DoubtLimits
from plugin.core.decide.replant import ReplantSettings, gain_per_area, replant_plan
from plugin.core.decide.yield_response import load_table
from plugin.core.grid import Grid
from plugin.core.problems import InputProblem
from plugin.core.surface import Surface
from plugin.core.zone.workable import WorkableShape

OUTSIDE = -1
ACRE_M2 = 4046.8564224
TABLE = load_table("corn_nafziger_1994", "plants/ac")
CASE = ReplantSettings(
    planting_date=date(2026, 4, 25), replant_date=date(2026, 5, 20), expected_yield=200,
    crop_price=4.5, currency="USD", target_stand=32_000, expected_emergence=95,
    seed_unit_cost=280, seed_rebate=50, termination_cost=12, replanting_cost=25, crop="corn")
# One row of ten cells: a thin west, a good east; the break-even lies between.
ROW = np.array([[12_000.0] * 4 + [28_000.0] * 6])


def stand_of(estimate, error=0.0, inside=None, unit="plants/ac"):
    estimate = np.asarray(estimate, float)
    return Surface(
        name="stand", unit=unit, grid=Grid(0.0, 0.0, 10.0, *estimate.shape),
        inside=np.ones(estimate.shape) if inside is None else np.asarray(inside, float),
        estimate=estimate, standard_error=np.broadcast_to(error, estimate.shape), account={})


def plan_of(stand, draws=None, cells=None, **changed):
    given = {"settings": CASE, "area_unit": "ac", "shape": WorkableShape(), **changed}
    if draws is None:
        cells = np.flatnonzero(stand.inside.ravel() > 0)
        draws = np.repeat(stand.estimate.ravel()[cells][None], 40, axis=0)
    return replant_plan(stand, draws, cells, TABLE, given.pop("settings"), **given)


def test_a_stand_known_for_sure_is_decided_by_the_formula_alone():
    plan = plan_of(stand_of(ROW))
    thin, good = plan.zones
    assert (thin.action, good.action) == ("replant", "keep")
    assert thin.gain_per_area == pytest.approx(float(gain_per_area(TABLE, CASE, 12_000)))
    assert thin.area == pytest.approx(400 / ACRE_M2) and good.area == pytest.approx(600 / ACRE_M2)
    assert thin.rate == pytest.approx(32_000 / 0.95) and good.rate == 0
    # without uncertainty the interval has no width and the chances are 1 and 0
    assert thin.gain_low == pytest.approx(thin.gain) == thin.gain_high
    assert (thin.chance, good.chance) == (1, 0)
    assert (plan.gain, plan.gain_low) == pytest.approx((thin.gain, thin.gain))


def test_a_kept_zone_gains_nothing_and_says_what_replanting_it_would_lose():
    _, good = plan_of(stand_of(ROW)).zones
    assert (good.gain, good.gain_per_area, good.gain_low, good.gain_high) == (0, 0, 0, 0)
    lost = float(gain_per_area(TABLE, CASE, 28_000))
    assert lost < 0
    assert good.figures["gain per area if replanted"] == (pytest.approx(lost), "USD/ac")
    assert good.figures["gain if replanted"][0] == pytest.approx(lost * good.area)


def test_figures_carry_stand_yields_and_seed_as_worked_by_hand():
    thin, good = plan_of(stand_of(ROW)).zones
    assert thin.figures["mean stand"] == (12_000, "plants/ac")
    assert thin.figures["yield kept"] == (74, "% of full yield")  # 25 April, 12,000
    assert good.figures["yield kept"] == (99, "% of full yield")
    assert thin.figures["yield replanted"] == (91, "% of full yield")  # 20 May, 32,000
    units, unit = thin.figures["seed units"]
    assert unit == "seed units" and units == pytest.approx(0.42105 * 400 / ACRE_M2, rel=1e-4)
    assert good.figures["seed units"][0] == 0


def test_a_cell_partly_outside_weighs_by_its_share():
    inside = [[1, 1, 1, 0.5, 1, 1, 1, 1, 1, 0]]
    estimate = np.where(np.array(inside) > 0, ROW, np.nan)
    plan = plan_of(stand_of(estimate, np.where(np.array(inside) > 0, 0, np.nan), inside))
    assert [zone.area for zone in plan.zones] == pytest.approx([350 / ACRE_M2, 500 / ACRE_M2])
    assert plan.zones[0].gain_per_area == pytest.approx(float(gain_per_area(TABLE, CASE, 12_000)))
    assert plan.zone_map.labels[0, 9] == OUTSIDE


def test_uncertainty_enters_the_expected_gain_as_brute_force_says():
    stand = stand_of(np.full((1, 10), 13_000.0), 4_000.0)
    plan = plan_of(stand, np.full((1, 10), 13_000.0), np.arange(10))
    drawn = 13_000 + 4_000 * np.random.default_rng(2).standard_normal(400_000)
    gains = gain_per_area(TABLE, CASE, np.maximum(drawn, 0))  # stands cut at 0
    error = gains.std() / np.sqrt(400_000)
    zone, = plan.zones
    assert zone.gain_per_area == pytest.approx(gains.mean(), abs=4 * error)
    share = zone.figures["cells that would gain"][0] / 100
    assert share == pytest.approx((gains > 0).mean(), abs=4 * 0.5 / np.sqrt(400_000))


def test_the_interval_is_that_of_the_drawn_zone_means():
    # Draws in which the whole thin zone moves together by -19 to 19 times 50 plants: on 12,000 the
    # table rises 5 % and falls 6 % per 2,000, so gains are straight on either side; their quantiles
    # are those of the shift, taken here from the formula itself at the shifted stands.
    shifts = 50.0 * np.arange(-19, 20)
    plan = plan_of(stand_of(ROW), ROW + shifts[:, None], np.arange(10))
    thin = plan.zones[0]
    gains = gain_per_area(TABLE, CASE, 12_000 + shifts)
    centred = gains - gain_per_area(TABLE, CASE, 12_000.0) + thin.gain_per_area
    low, high = np.quantile(centred, [0.05, 0.95]) * thin.area
    assert (thin.gain_low, thin.gain_high) == pytest.approx((low, high))
    assert (plan.gain_low, plan.gain_high) == pytest.approx((low, high))


def test_the_interval_of_the_field_sums_draws_and_not_intervals():
    # two thin zones that go opposite ways in every draw: their sum hardly moves
    row = np.array([[12_000.0] * 3 + [30_000.0] * 3 + [12_500.0] * 3])
    shifts = np.linspace(-300, 300, 41)[:, None]
    draws = row + shifts * np.array([1, 1, 1, 0, 0, 0, -1, -1, -1])
    plan = plan_of(stand_of(row), draws, np.arange(9))
    first, second = (zone for zone in plan.zones if zone.action == "replant")
    assert plan.gain == pytest.approx(first.gain + second.gain)
    widths = [zone.gain_high - zone.gain_low for zone in (first, second)]
    assert plan.gain_high - plan.gain_low < 0.25 * min(widths)


def test_a_zone_without_a_drawn_cell_takes_the_nearest_one():
    # Draws at cells 0 and 9. The zone of cells 4 to 8 has its own cell 8 next to cell 9, which
    # varies; cell 4 is four cells from cell 0, which does not.
    row = np.array([[12_000.0] * 4 + [28_000.0] * 5 + [13_000.0] * 3])
    draws = np.column_stack([np.full(21, 12_000.0), 13_000 + np.linspace(-500, 500, 21)])
    kept, = (zone for zone in plan_of(stand_of(row), draws, np.array([0, 9])).zones
             if zone.action == "keep")
    assert width_if_replanted(kept) == pytest.approx(width(draws[:, 1]) * kept.area)


def width(stands):
    """Width of the 90 % interval of the gain per acre of drawn stands."""
    return np.subtract(*np.quantile(gain_per_area(TABLE, CASE, stands), [0.95, 0.05]))


def width_if_replanted(zone):
    return (zone.figures["gain if replanted, high"][0]
            - zone.figures["gain if replanted, low"][0])


def test_drawn_cells_weigh_by_their_share_inside():
    # one zone of two cells, the second half outside: of what the first varies, 2/3 reaches the mean
    stand = stand_of([[12_000.0, 12_000.0]], 0, [[1, 0.5]])
    varying = 12_000 + np.linspace(-500, 500, 21)
    zone, = plan_of(stand, np.column_stack([varying, np.full(21, 12_000.0)]), np.arange(2)).zones
    assert width_if_replanted(zone) == pytest.approx(width(varying) * 2 / 3 * zone.area)


def test_the_interval_is_centred_on_all_cells_of_the_zone_and_not_on_the_drawn_ones():
    # the only drawn cell is the worst of the zone and does not vary: nor does the zone then
    stand = stand_of([[10_000.0, 12_000, 12_000, 12_000]])
    zone, = plan_of(stand, np.full((9, 1), 10_000.0), np.array([0])).zones
    assert (zone.gain_low, zone.gain_high) == pytest.approx((zone.gain, zone.gain))


def test_patches_too_small_to_work_are_given_up_and_like_zones_grow_together():
    row = np.array([[12_000.0] * 4 + [28_000.0] + [12_000.0] * 5])
    assert [zone.action for zone in plan_of(stand_of(row)).zones] == ["replant", "replant", "keep"]
    zone, = plan_of(stand_of(row), shape=WorkableShape(smallest_area_m2=250)).zones
    assert zone.action == "replant" and zone.figures["mean stand"][0] == 13_600


def test_a_patch_is_decided_by_its_mean_after_the_clean_up():
    # Two thin cells among 28,000 are too small; the patch they join gains nothing on the whole.
    row = np.array([[28_000.0] * 4 + [14_000.0] * 2 + [28_000.0] * 4])
    zone, = plan_of(stand_of(row), shape=WorkableShape(smallest_area_m2=300)).zones
    assert zone.action == "keep"
    # One barren cell in ten that just keep: the class stays "keep", the mean says replant.
    barely = np.array([[17_000.0] * 9 + [0.0]])
    cheap = replace(CASE, seed_rebate=100, replanting_cost=0, expected_yield=200)
    assert gain_per_area(TABLE, cheap, 17_000) > 0  # a check of the case, not of the plan
    dear = replace(cheap, other_replant_cost=float(gain_per_area(TABLE, cheap, 17_000)) + 1)
    assert gain_per_area(TABLE, dear, 17_000) == pytest.approx(-1)
    zone, = plan_of(stand_of(barely), settings=dear,
                    shape=WorkableShape(smallest_area_m2=250)).zones
    assert zone.action == "replant" and zone.gain_per_area > 0


def test_where_nothing_is_replanted_the_field_gains_nothing():
    plan = plan_of(stand_of(np.full((3, 3), 30_000.0)))
    assert (plan.gain, plan.gain_low, plan.gain_high) == (0, 0, 0)


def test_zone_areas_sum_to_the_field_and_every_cell_has_its_zone():
    rng = np.random.default_rng(4)
    plan = plan_of(stand_of(rng.uniform(8_000, 34_000, (30, 40)), 2_000.0),
                   shape=WorkableShape(machine_width_m=40, smallest_area_m2=2_000))
    assert sum(zone.area for zone in plan.zones) == pytest.approx(1200 * 100 / ACRE_M2)
    assert set(np.unique(plan.zone_map.labels)) == {zone.label for zone in plan.zones}
    assert [zone.label for zone in plan.zones] == [zone.label for zone in plan.zone_map.zones]
    assert all(zone.action == mapped.title for zone, mapped in zip(plan.zones,
                                                                   plan.zone_map.zones))


def test_the_plan_says_what_it_rests_on():
    plan = plan_of(stand_of(ROW), shape=WorkableShape(
        machine_width_m=6.096, heading_deg=12.0, smallest_area_m2=ACRE_M2 / 20))
    assert plan.rate_unit == "seeds/ac" and plan.currency == "USD"
    assert plan.settings["crop_price"] == (4.5, "USD/bu")
    assert plan.settings["replant_date"] == ("2026-05-20", "")
    assert plan.settings["yield_table"] == (
        "Corn yield by planting date and stand, Illinois", "")
    assert plan.settings["smallest_zone"] == (pytest.approx(0.05), "ac")
    assert plan.settings["machine_width"] == (pytest.approx(20), "ft")
    assert plan.settings["row_heading"] == (12.0, "degrees")
    assert any("Nafziger" in source and "1994" in source for source in plan.sources)
    said = " ".join(plan.cautions)
    for topic in ("local extension", "insurance agent", "maturity", "herbicide",
                  "Yield table used"):
        assert topic in said
    assert "outside the yield table" not in said and "No clear difference" not in said


def test_stands_beyond_the_table_and_zones_in_doubt_are_said():
    row = np.array([[5_000.0] * 4 + [28_000.0] * 6])
    assert any("40.0 % of the area has an estimated stand outside" in caution
               for caution in plan_of(stand_of(row)).cautions)
    shifts = np.linspace(-12_000, 12_000, 41)[:, None]
    plan = plan_of(stand_of(np.full((1, 9), 14_000.0)), 14_000 + shifts * np.ones(9), np.arange(9))
    assert any("No clear difference in 1 of 1 zones" in caution for caution in plan.cautions)


def in_doubt(doubt):
    """Ground that gains for sure, and ground at 16,000, just below the break-even, in doubt."""
    row = np.array([[10_000.0] * 3 + [30_000.0] * 2 + [16_000.0] * 3 + [30_000.0] * 2])
    shifts = np.linspace(-3_000, 3_000, 41)[:, None] * (row == 16_000)
    return plan_of(stand_of(row, 1_500.0), row + shifts, np.arange(10), doubt=doubt)


def test_a_zone_in_doubt_is_looked_at_again_and_neither_seed_nor_money_counted_for_it():
    decided, doubtful = in_doubt(DoubtLimits(0.5, 0.5)), in_doubt(DoubtLimits(0.05, 0.95))
    assert {zone.action for zone in decided.zones} == {"replant", "keep"}
    assert decided.figures == {}
    again, = (zone for zone in doubtful.zones if zone.action == "look again")
    assert (again.rate, again.gain, again.gain_low, again.gain_high) == (0, 0, 0, 0)
    assert again.figures["seed units"][0] == 0 and 0.05 < again.chance < 0.95
    assert doubtful.zone_map.zones[again.label].title == "look again"
    sure = [zone for zone in doubtful.zones if zone.action == "replant"]
    assert doubtful.gain == pytest.approx(sum(zone.gain for zone in sure))
    # what the doubtful ground would bring stands beside it
    value, unit, low, high = doubtful.figures[
        "gain if the ground to look at again is replanted too"]
    assert value == pytest.approx(doubtful.gain + again.figures["gain if replanted"][0])
    assert unit == "USD" and low < value < high
    best, _, _, _ = doubtful.figures["gain if that ground is replanted just where it pays"]
    assert best - max(value, doubtful.gain) == pytest.approx(
        again.figures["most that a further look is worth"][0])
    worth, _ = again.figures["most that a further look is worth"]
    assert worth > 0 and worth == pytest.approx(
        doubtful.figures["most that a further look is worth"][0])
    assert any(f"worth USD {worth:,.0f} at most" in caution and "Next stops" in caution
               for caution in doubtful.cautions)
    assert doubtful.settings["chance_keep"] == (0.05, "")


def test_limits_that_hold_no_zone_change_nothing():
    wide, off = in_doubt(DoubtLimits(0.999, 1.0)), in_doubt(DoubtLimits(0.5, 0.5))
    assert [(zone.action, zone.gain) for zone in wide.zones] == [
        (zone.action, zone.gain) for zone in off.zones]


@pytest.mark.parametrize(("changed", "message"), [
    ({"area_unit": "ha"}, "asked for per ha, but its prices and stands are per ac"),
    ({"stand": stand_of(ROW, unit="plants/ha")}, "stand is in plants/ha; this plan needs plants"),
    ({"stand": stand_of(np.where(ROW > 20_000, np.nan, ROW))}, "6 of 10 cells inside the field"),
    ({"stand": stand_of(ROW, np.nan)}, "10 of 10 cells .* no standard error"),
    ({"stand": stand_of(ROW, 0, np.zeros((1, 10)))}, "0 of 0 cells inside the field"),
    ({"draws": np.ones((5, 3))}, r"Draws of shape \(5, 3\) came with 10 cells"),
    ({"draws": np.full((5, 10), np.nan)}, "50 of the draws of the stand are not numbers")])
def test_input_that_cannot_give_a_plan_is_refused(changed, message):
    given = {"stand": stand_of(ROW), "draws": np.repeat(ROW, 5, axis=0), "cells": np.arange(10),
             **changed}
    with pytest.raises(InputProblem, match=message):
        plan_of(**given)


def test_draws_outside_the_field_alone_are_refused_and_else_left_out():
    inside = np.array([[1] * 9 + [0]])
    stand = stand_of(np.where(inside > 0, ROW, np.nan), np.where(inside > 0, 0, np.nan), inside)
    with pytest.raises(InputProblem, match="None of the 1 cells with draws lies inside"):
        plan_of(stand, np.ones((5, 1)), np.array([9]))
    with_it = plan_of(stand, np.repeat([[12_000.0, 28_000, 99]], 5, axis=0), np.array([0, 5, 9]))
    without = plan_of(stand, np.repeat([[12_000.0, 28_000]], 5, axis=0), np.array([0, 5]))
    assert [zone.gain for zone in with_it.zones] == [zone.gain for zone in without.zones]


def test_nine_of_ten_intervals_hold_the_true_gain_when_the_draws_are_true():
    """Fields are simulated, read with error at 25 places, kriged with the true model, drawn from.

    The zones follow from the readings alone, so given those the true gain of a zone is one more
    draw, and a 90 % interval holds it 90 % of the time. 250 fields, one zone each (the largest),
    so counts are independent: the standard error of the share is 1.9 points, and the interval's
    ends, from 300 draws, add about 1.2. 85 to 95 % is some 2.2 of these together.
    """
    rng = np.random.default_rng(2026)
    grid = Grid(0.0, 0.0, 20.0, 8, 12)
    places = grid.centres()
    apart = np.linalg.norm(places[:, None] - places[None], axis=2)
    covariance = 4_000.0**2 * np.exp(-apart / 80.0)
    root = np.linalg.cholesky(covariance + 1e-3 * np.eye(len(places)))
    mean, error, held = 16_000.0, 1_500.0, []
    for _ in range(250):
        truth = mean + root @ rng.standard_normal(len(places))
        read = rng.choice(len(places), 25, replace=False)
        seen = truth[read] + error * rng.standard_normal(25)
        weights = np.linalg.solve(covariance[np.ix_(read, read)] + error**2 * np.eye(25),
                                  covariance[read])
        estimate = mean + weights.T @ (seen - mean)
        left = covariance - covariance[:, read] @ weights
        draws = rng.multivariate_normal(estimate, left, size=300, method="eigh")
        stand = stand_of(estimate.reshape(grid.shape), np.sqrt(np.diag(left)).reshape(grid.shape))
        plan = plan_of(replace(stand, grid=grid), draws, np.arange(len(places)),
                       shape=WorkableShape(machine_width_m=40, smallest_area_m2=8 * 400))
        zone = max(plan.zones, key=lambda zone: zone.area)
        mine = plan.zone_map.labels.ravel() == zone.label
        gained = gain_per_area(TABLE, CASE, np.maximum(truth[mine], 0)).mean() * zone.area
        held.append(zone.figures["gain if replanted, low"][0] <= gained
                    <= zone.figures["gain if replanted, high"][0])
    assert 0.85 <= np.mean(held) <= 0.95


def test_each_cell_is_judged_with_its_own_error():
    # Equal estimates, half of them sure and half not, in one zone: its expected gain is the mean
    # of the gain at the estimate and of the gain over the normal's quantiles, cut at 0 plants.
    errors = np.array([[0.0] * 5 + [6_000.0] * 5])
    quantiles = 13_000 + 6_000 * norm.ppf((np.arange(20_000) + 0.5) / 20_000)
    sure = float(gain_per_area(TABLE, CASE, 13_000))
    unsure = float(gain_per_area(TABLE, CASE, np.maximum(quantiles, 0)).mean())
    assert abs(sure - unsure) > 10  # else the test would show nothing
    zone, = plan_of(stand_of(np.full((1, 10), 13_000.0), errors),
                    shape=WorkableShape(smallest_area_m2=600)).zones
    # 20,000 midpoint quantiles err by under 0.1 per acre here
    assert zone.figures["gain per area if replanted"][0] == pytest.approx((sure + unsure) / 2,
                                                                          abs=0.1)
