import json
import re

import numpy as np
import pytest

from plugin.core.grid import Grid
from plugin.core.interpolate import estimate
from plugin.core.interpolate.averaged_model import averaged_model
from plugin.core.interpolate.covariance import CANDIDATES, NUGGET, CovarianceModel
from plugin.core.interpolate.duplicates import merge_places
from plugin.core.interpolate.estimate import estimate_surface, unsure
from plugin.core.interpolate.field_mean import field_mean
from plugin.core.interpolate.kriging import krige, reading_covariance
from plugin.core.interpolate.leave_one_out import leave_one_out
from plugin.core.interpolate.map_settings import MapSettings
from plugin.core.interpolate.reml import fit_reml
from plugin.core.observations import ABOVE, BELOW, EXACT, Observations
from plugin.core.problems import InputProblem, Stopped

GRID = Grid(0, 100, 10, 10, 10)
WHOLE = np.ones((10, 10))
MODEL = CovarianceModel("spherical", 0.2, 4.0, 60.0)


def places(count, seed=1):
    return np.random.default_rng(seed).uniform(0, 100, (count, 2))


def field(count=60, seed=1, model=MODEL, **parts):
    where = places(count, seed)
    root = np.linalg.cholesky(reading_covariance(where, np.zeros(count), model))
    values = 20 + root @ np.random.default_rng(seed + 1000).standard_normal(count)
    return Observations.of("stand", "plants/m2", where, values, **parts)


def made_of(values, where=None, **parts):
    where = places(len(values)) if where is None else where
    return estimate_surface(Observations.of("stand", "plants/m2", where, values, **parts), GRID,
                            WHOLE)


def test_a_patterned_field_is_kriged_with_the_best_candidate_averaged():
    readings = field(error_variance=np.full(60, 0.1))
    made = estimate_surface(readings, GRID, WHOLE)
    best = fit_reml(readings.positions_m, readings.values, readings.error_variance)[0]
    averaged = averaged_model(readings.positions_m, readings.values, readings.error_variance,
                              best.model)
    kriged = krige(readings.positions_m, readings.values, readings.error_variance, averaged,
                   GRID.centres())
    assert made.estimate.ravel() == pytest.approx(kriged.estimate, rel=1e-12)
    assert made.standard_error.ravel() == pytest.approx(np.sqrt(kriged.variance), rel=1e-12)
    assert made.account["method"] == "ordinary kriging"
    assert CovarianceModel(**made.account["model"]) == averaged
    assert made.account["candidates"][0]["aicc"] == best.aicc
    assert (made.name, made.unit, made.grid) == ("stand", "plants/m2", GRID)


def test_the_account_holds_the_check_and_every_candidate():
    readings = field()
    account = estimate_surface(readings, GRID, WHOLE).account
    model = CovarianceModel(**account["model"])
    check = leave_one_out(readings.positions_m, readings.values, readings.error_variance, model)
    for name in ("mean_error", "rmse", "rmse_of_mean", "standardised_square_mean",
                 "standardised_square_median", "coverage_90", "skill"):
        assert account["validation"][name] == pytest.approx(getattr(check, name), rel=1e-9)
    assert {one["family"] for one in account["candidates"]} == set(CANDIDATES)
    assert account["candidates"][0]["aicc"] == min(one["aicc"] for one in account["candidates"])
    said = re.search(r"The map holds: .* off by (\S+) plants/m2 .* mean by (\S+) plants/m2\.$",
                     account["verdict"])
    # two digits are printed
    assert [float(number) for number in said.groups()] == pytest.approx(
        [check.rmse, check.rmse_of_mean], rel=0.05)
    assert np.array(account["sites"]) == pytest.approx(np.column_stack(
        [readings.positions_m, readings.values, readings.error_variance]), rel=1e-12)
    assert json.loads(json.dumps(account, allow_nan=False)) == account


@pytest.mark.parametrize("seed", [0, 1, 5, 6, 7])
def test_pure_noise_is_shown_as_its_mean(seed):
    values = np.random.default_rng(seed).normal(20, 2, 40)
    made = made_of(values)
    # one further reading, S / (n - 4) (1 + 1 / n): the variance to expect where its root is
    # uniform beforehand; the sills tried are 12 % apart, their ends too far off to count
    assert made.estimate == pytest.approx(np.full((10, 10), values.mean()), rel=1e-12)
    assert made.standard_error == pytest.approx(
        np.full((10, 10), np.sqrt(values.var(ddof=1) * 39 / 36 * (1 + 1 / 40))), rel=1e-3)
    assert made.account["method"] == "mean of the readings"
    assert made.account["verdict"] == (
        "The 40 readings do not support a map: they do not show that near ones are more alike than "
        "far ones. Shown is the mean with its error. Even 4 times as many readings would "
        "hardly show a clear pattern.")


@pytest.mark.parametrize("seed", [2, 3, 4])
def test_a_map_hardly_better_than_the_mean_is_called_a_hint(seed):
    made = made_of(np.random.default_rng(seed).normal(20, 2, 40))
    assert made.account["method"] == "ordinary kriging"
    assert 0 < made.account["validation"]["skill"] < 0.05
    assert np.ptp(made.estimate) < 1.3  # the readings range over 8
    assert re.fullmatch(r"The map is a hint, no more: .* off by \S+ plants/m2 .* mean by \S+ "
                        r"plants/m2\. .* Even 4 times as many readings would hardly show a "
                        r"clear pattern\.",
                        made.account["verdict"])


@pytest.mark.parametrize("count", [40, 520])  # the likelihood's model, the variogram's
def test_a_check_that_fits_anew_finds_a_little_less_skill(count):
    where = np.random.default_rng(1).uniform(0, 100, (count, 2))
    values = 20 + 2 * np.sin(where[:, 0] / 15) + np.random.default_rng(2).normal(0, 2, count)
    readings, told = Observations.of("stand", "", where, values), []
    plain = estimate_surface(readings, GRID, WHOLE)
    anew = estimate_surface(readings, GRID, WHOLE, settings=MapSettings(refit=True),
                            tick=told.append)
    assert anew.estimate == pytest.approx(plain.estimate, rel=1e-12)
    skill = [made.account["validation"]["skill"] for made in (plain, anew)]
    assert 0 < skill[1] < skill[0]
    assert told == sorted(told)


@pytest.mark.parametrize("odd", [3, 7])
def test_a_reading_without_which_all_are_alike_is_checked_by_their_mean(odd):
    values = np.full(12, 5.0)
    values[odd] = 6.0
    made = estimate_surface(Observations.of("stand", "", places(12), values), GRID, WHOLE,
                            settings=MapSettings(refit=True))
    check = made.account["validation"]
    assert np.isfinite(list(check.values())).all()
    assert check["rmse"] == pytest.approx(check["rmse_of_mean"], rel=1e-9)
    assert made.account["method"] == "mean of the readings"


def test_of_a_mean_that_follows_a_slope_no_further_readings_are_told(monkeypatch):
    def asked(*_, **__):
        raise AssertionError("the model about a slope does not tell what the slope shows")

    where, values = places(12, seed=113), np.random.default_rng(14).normal(20, 2, 12)
    readings = Observations.of("stand", "", where, values)
    plain = estimate_surface(readings, GRID, WHOLE, families=("spherical",))
    assert "more in the gaps" in plain.account["verdict"]
    monkeypatch.setattr(estimate, "further_readings", asked)
    about = estimate_surface(readings, GRID, WHOLE, families=("spherical",),
                             settings=MapSettings(linear=True))
    assert about.account["verdict"].endswith("Shown is the mean with its error.")


def test_a_map_no_better_than_the_mean_is_not_drawn():
    # Pure noise, with only a structured candidate: the seeds are of a set that belies it.
    where, values = places(12, seed=113), np.random.default_rng(14).normal(20, 2, 12)
    fitted = fit_reml(where, values, np.zeros(12), families=("spherical",))[0].model
    assert leave_one_out(where, values, np.zeros(12), fitted).skill < 0
    made = estimate_surface(Observations.of("stand", "", where, values), GRID, WHOLE,
                            families=("spherical",))
    assert made.account["verdict"] == (
        "The 12 readings do not support a map: predicting a reading from its neighbours is no "
        "better than the mean. Shown is the mean with its error. If the ground has the faint "
        "pattern they hint at, 24 more in the gaps should show it clearly.")
    assert made.estimate == pytest.approx(np.full((10, 10), values.mean()), rel=1e-12)
    flat = averaged_model(where, values, np.zeros(12), CovarianceModel(NUGGET, 1.0))
    assert made.account["model"] == {"family": NUGGET, "nugget": flat.nugget, "partial_sill": 0.0}


@pytest.mark.parametrize("errors", [None, np.full(12, 0.12)])
def test_equal_readings_give_their_value(errors):
    made = made_of(np.full(12, 7.0), error_variance=errors)
    assert made.estimate == pytest.approx(np.full((10, 10), 7.0), rel=1e-12)
    # nothing varies but by the errors of readings: 0.12 / 12
    assert made.standard_error == pytest.approx(
        np.full((10, 10), 0.0 if errors is None else 0.1), abs=1e-12)
    assert made.account["verdict"] == (
        "All 12 readings are equal. Shown is their value with its error.")
    mean, error = field_mean(made)
    assert mean == pytest.approx(7.0, rel=1e-12)
    assert error == pytest.approx(0.0 if errors is None else 0.1, rel=0.2)  # 200 draws, 4 x 5 %


def test_two_readings_give_their_mean():
    # s2 = 2 (n - 1 form): one further reading 2 (1 + 1/2)
    made = made_of([3.0, 5.0])
    assert (made.estimate == 4.0).all()
    assert made.standard_error == pytest.approx(np.full((10, 10), np.sqrt(3.0)), rel=1e-12)
    assert made.account["verdict"].startswith(
        "2 readings are too few for a map; from 10 on one is tried")


def test_nine_readings_are_no_map_and_ten_may_be_one():
    # a plain slope: as clear a pattern as there can be
    where = np.column_stack([np.arange(10) * 10.0, np.arange(10) % 2 * 5.0])
    nine = made_of(where[:9, 0], where[:9])
    assert nine.account["method"] == "mean of the readings"
    assert nine.account["verdict"].startswith("9 readings are too few for a map")
    assert made_of(where[:, 0], where).account["method"] == "ordinary kriging"


@pytest.mark.parametrize(("values", "censoring", "message"), [
    ([3.0], None, r"stand: 1 readings give figures at too few places \(1\); .* at least 2"),
    ([3.0, 4.0, 5.0], [ABOVE, EXACT, BELOW], r"3 readings give figures at too few places \(1\)"),
    ([], None, r"0 readings give figures at too few places \(0\)")])
def test_fewer_than_two_figures_are_refused(values, censoring, message):
    with pytest.raises(InputProblem, match=message):
        made_of(values, np.random.default_rng(0).uniform(0, 9, (len(values), 2)),
                censoring=censoring)


def test_three_hundred_readings_at_one_place_are_one():
    with pytest.raises(InputProblem, match=r"300 readings give figures at too few places \(1\)"):
        made_of(np.arange(300.0), np.ones((300, 2)))


def test_readings_on_a_line_make_a_map():
    where = np.column_stack([np.arange(30) * 3.0, np.full(30, 50.0)])
    values = np.sin(where[:, 0] / 15)
    made = made_of(values, where)
    assert made.account["method"] == "ordinary kriging"
    assert np.isfinite(made.estimate).all()
    # on the line it follows the readings; far aside it falls back towards the mean
    near = krige(where, values, np.zeros(30), CovarianceModel(**made.account["model"]), where)
    assert near.estimate == pytest.approx(values, abs=0.05)
    assert (made.standard_error[0] > made.standard_error[5]).all()


@pytest.mark.parametrize("outlier", [1e30, -1e30])
def test_a_monstrous_reading_gives_a_bounded_answer(outlier):
    values = np.random.default_rng(2).normal(20, 1, 30)
    values[4] = outlier
    made = made_of(values)
    assert np.isfinite(made.estimate).all()
    assert np.isfinite(made.standard_error).all()
    assert (np.abs(made.estimate) <= 1e30 * (1 + 1e-9)).all()


def test_several_readings_of_a_place_count_as_their_average():
    readings = field(30)
    twice = Observations.of(
        "stand", "plants/m2", np.vstack([readings.positions_m] * 2),
        np.concatenate([readings.values - 0.5, readings.values + 0.5]),
        error_variance=np.full(60, 0.3))
    made = estimate_surface(twice, GRID, WHOLE)
    merged = estimate_surface(merge_places(twice), GRID, WHOLE)
    assert (made.estimate == merged.estimate).all()
    assert (made.account["observations"], made.account["places"]) == (60, 30)


def test_a_model_that_is_given_is_used_as_it_is():
    readings = field(8)  # fewer than a fit would take
    made = estimate_surface(readings, GRID, WHOLE, model=MODEL, neighbours=4)
    kriged = krige(readings.positions_m, readings.values, np.zeros(8), MODEL, GRID.centres(),
                   neighbours=4)
    assert made.estimate.ravel() == pytest.approx(kriged.estimate, rel=1e-12)
    assert made.account["verdict"] == "The model was given, not fitted."
    assert made.account["candidates"] == []
    assert made.account["validation"]["rmse"] == pytest.approx(
        leave_one_out(readings.positions_m, readings.values, np.zeros(8), MODEL).rmse, rel=1e-12)


def test_only_the_field_is_estimated():
    inside = np.zeros((10, 10))
    inside[3:6, 2:9] = 0.5
    readings = field(30)
    part = estimate_surface(readings, GRID, inside, model=MODEL)
    whole = estimate_surface(readings, GRID, WHOLE, model=MODEL)
    assert (np.isfinite(part.estimate) == (inside > 0)).all()
    assert (np.isfinite(part.standard_error) == (inside > 0)).all()
    assert part.estimate[inside > 0] == pytest.approx(whole.estimate[inside > 0], rel=1e-12)


def test_a_grid_beside_the_field_is_refused():
    with pytest.raises(InputProblem, match="stand: no cell of the grid lies in the field"):
        estimate_surface(field(30), GRID, np.zeros((10, 10)))


def test_order_shift_and_scale_carry_through():
    readings = field()
    order = np.random.default_rng(0).permutation(60)
    other = Observations.of("stand", "", readings.positions_m[order],
                            100 * readings.values[order] + 7)
    one, two = (estimate_surface(each, GRID, WHOLE) for each in (readings, other))
    # the fit stops where the likelihood is flat: 1 % of a standard error of the model
    assert two.estimate == pytest.approx(100 * one.estimate + 7,
                                         abs=1.0 * one.standard_error.max())
    assert two.standard_error == pytest.approx(100 * one.standard_error, rel=0.01)


def test_readings_of_yes_and_no_give_a_chance_between_none_and_all():
    # yes in the west, no in the east
    where = places(80)
    yes = (where[:, 0] < 50).astype(float)
    readings = Observations.of("pan", "", where, yes)
    made = estimate_surface(readings, GRID, WHOLE, between=(0, 1))
    free = estimate_surface(readings, GRID, WHOLE)
    assert made.account["method"] == "ordinary kriging"
    assert (free.estimate.min(), free.estimate.max()) != (0.0, 1.0)
    assert (made.estimate == np.clip(free.estimate, 0, 1)).all()
    assert made.estimate[:, 0].min() > 0.8
    assert made.estimate[:, -1].max() < 0.2


@pytest.mark.parametrize("most", [30, 60])
def test_large_sets_are_fitted_to_some_and_drawn_from_all(monkeypatch, most):
    monkeypatch.setattr(estimate, "FIT_MOST", most)
    readings = field(60)
    made = estimate_surface(readings, GRID, WHOLE, seed=5)
    kriged = krige(readings.positions_m, readings.values, np.zeros(60),
                   CovarianceModel(**made.account["model"]), GRID.centres())
    assert made.estimate.ravel() == pytest.approx(kriged.estimate, rel=1e-12)
    peak = fit_reml(readings.positions_m, readings.values, np.zeros(60))[0].model
    whole = averaged_model(readings.positions_m, readings.values, np.zeros(60), peak)
    assert (CovarianceModel(**made.account["model"]) == whole) == (most == 60)


def test_very_many_readings_do_not_travel_with_the_surface(monkeypatch):
    monkeypatch.setattr(estimate, "GLOBAL_MOST", 59)
    assert estimate_surface(field(60), GRID, WHOLE, model=MODEL).account["sites"] is None
    assert len(estimate_surface(field(59), GRID, WHOLE, model=MODEL).account["sites"]) == 59


def censored(seed=4, limit=20.5):
    truth = field(60, seed)
    deep = truth.values > limit
    return truth, Observations.of(
        "top", "in", truth.positions_m, np.minimum(truth.values, limit),
        censoring=np.where(deep, ABOVE, EXACT))


def test_depths_known_only_to_be_deeper_are_mapped_deeper_than_their_limit():
    truth, seen = censored()
    deep = seen.censoring == ABOVE
    assert 15 <= deep.sum() <= 45
    made = estimate_surface(seen, GRID, WHOLE)
    assert made.account["deeper_or_more"] == deep.sum()
    sites = np.array(made.account["sites"])
    assert (sites[deep, 2] > 20.5).all()
    assert sites[~deep, 2] == pytest.approx(truth.values[~deep], rel=1e-12)
    # nearer the whole truth's map than with the limits taken for depths
    whole = estimate_surface(truth, GRID, WHOLE, model=MODEL)
    taken = estimate_surface(Observations.of("top", "in", seen.positions_m, seen.values), GRID,
                             WHOLE, model=MODEL)

    def off(surface):
        return np.sqrt(((surface.estimate - whole.estimate) ** 2).mean())

    assert off(made) < off(taken)


def test_what_is_hidden_adds_to_the_error():
    truth, seen = censored()
    made = estimate_surface(seen, GRID, WHOLE, model=MODEL)
    whole = estimate_surface(truth, GRID, WHOLE, model=MODEL)
    assert (made.standard_error >= whole.standard_error - 1e-9).all()
    assert made.standard_error.mean() > 1.05 * whole.standard_error.mean()


def test_the_same_seed_gives_the_same_surface():
    _, seen = censored()
    one, same, other = (estimate_surface(seen, GRID, WHOLE, model=MODEL, seed=seed)
                        for seed in (1, 1, 2))
    assert (one.estimate == same.estimate).all()
    assert (one.estimate != other.estimate).any()


def test_equal_depths_and_deeper_limits_without_errors_still_give_a_mean():
    made = made_of([3.0] * 10 + [5.0, 5.0], censoring=[EXACT] * 10 + [ABOVE] * 2)
    assert 3.0 < made.estimate[0, 0] < 5.0  # ten at 3 and two beyond 5


def test_equal_depths_and_limits_without_errors_are_refused():
    with pytest.raises(InputProblem, match="all 12 readings show the same figure, some only as a "
                                           "limit"):
        made_of([3.0] * 12, censoring=[EXACT] * 10 + [ABOVE] * 2)
    made = made_of([3.0] * 12, censoring=[EXACT] * 10 + [ABOVE] * 2,
                   error_variance=np.full(12, 0.01))
    assert np.isfinite(made.estimate).all()


@pytest.mark.parametrize("readings", [field(), censored()[1], field(5)])
def test_progress_rises_to_one_and_a_stop_travels_up(readings):
    told = []
    estimate_surface(readings, GRID, WHOLE, tick=told.append)
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1.0)

    def stop(fraction):
        raise Stopped

    with pytest.raises(Stopped):
        estimate_surface(readings, GRID, WHOLE, tick=stop)


def test_the_map_is_unsure_away_from_the_readings():
    corner = Observations.of("stand", "", places(30) * 0.25, field(30).values)
    made = estimate_surface(corner, GRID, WHOLE, model=CovarianceModel("spherical", 0.5, 4.0, 30.0))
    where = unsure(made)
    assert not where[-2:, :2].any()   # among the readings, in the south-west
    assert where[:5].all()            # beyond the range of 30 m
    # by the definition: variance less the nugget above half of what neighbours could tell
    assert (where == (made.standard_error**2 - 0.5 > 2.0)).all()


def test_a_mean_is_unsure_everywhere_in_the_field():
    inside = WHOLE.copy()
    inside[0] = 0
    made = estimate_surface(Observations.of("stand", "", places(5), np.arange(5.0)), GRID, inside)
    assert (unsure(made) == (inside > 0)).all()


def test_a_map_from_readings_in_one_corner_says_that_it_knows_little_of_the_rest():
    where = np.random.default_rng(1).uniform(0, 40, (40, 2))
    values = 20 + 2 * np.sin(where[:, 0] / 8) + np.random.default_rng(2).normal(0, 0.3, 40)
    made = estimate_surface(Observations.of("stand", "", where, values), GRID, WHOLE)
    share = made.account["unsure_share"]
    assert share == pytest.approx(unsure(made).mean()) and share > 0.5
    assert made.account["verdict"].startswith("The map holds: ")
    assert made.account["verdict"].endswith(
        f" Yet over {100 * share:.0f} % of the field, hatched on maps, it says little more than "
        "the mean.")
