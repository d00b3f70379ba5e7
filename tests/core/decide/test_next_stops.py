from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from plugin.core.decide import next_stops as module
from plugin.core.decide.linear_loss import LinearLoss, expected_shortfall
from plugin.core.decide.next_stops import (
    ALL_CHOSEN,
    MOST_STOPS,
    NO_ROOM,
    NOT_WORTH,
    next_stops,
)
from plugin.core.grid import Grid
from plugin.core.interpolate.conditional_draws import conditional_draws
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.estimate import estimate_surface
from plugin.core.interpolate.kriging import krige
from plugin.core.observations import Observations
from plugin.core.problems import InputProblem, Stopped
from plugin.core.surface import Surface

MODEL = CovarianceModel("exponential", 2.0, 25.0, 40.0)
MEAN = CovarianceModel("nugget", 25.0)
SIDE_M, CELL_M = 120.0, 10.0
GENERATOR = np.random.default_rng(7)
SITES = GENERATOR.uniform(0, SIDE_M, (12, 2))
VALUES = 100 + GENERATOR.normal(0, 5, 12)
ERROR = 1.5
CHOICE = LinearLoss(101.0, 30.0, "ha")


def surface_of(model=MODEL, sites=SITES, values=VALUES, *, error=ERROR, cell=CELL_M, side=SIDE_M,
               inside=None):
    grid = Grid.covering(0, 0, side, side, cell_m=cell)
    observations = Observations.of("Stand", "kplants/ac", sites, values,
                                   error_variance=np.full(len(values), error**2))
    return estimate_surface(observations, grid,
                            np.ones(grid.shape) if inside is None else inside, model=model)


def inner_places(surface):
    """Centres of the cells that have all eight neighbours, and their flat numbers."""
    rows, columns = surface.grid.shape
    numbers = np.arange(rows * columns).reshape(rows, columns)[1:-1, 1:-1].ravel()
    return surface.grid.centres()[numbers], numbers


def saved_by(readings_m, drawn, surface, choice=CHOICE, model=MODEL, reading_error=ERROR):
    """Money that deciding anew with drawn readings saves, one figure per draw: no closed form."""
    targets = surface.grid.centres()
    errors = np.full(len(VALUES) + len(readings_m), ERROR**2)
    errors[len(VALUES):] = reading_error**2
    values = np.vstack([np.tile(VALUES[:, None], len(drawn)), drawn.T])
    after = krige(np.vstack([SITES, readings_m]), values, errors, model, targets).estimate
    # gain of the action above the limit against the one below, by what is known afterwards
    gain = choice.loss * surface.grid.cell_area_m2 / 10_000 * (after - choice.limit)
    decided_now = surface.estimate.ravel()[:, None] > choice.limit
    return (np.maximum(gain, 0) - np.where(decided_now, gain, 0)).sum(axis=0)


@pytest.mark.parametrize("reading_error", [0.0, 1.5, 6.0])
def test_the_value_of_a_stop_is_the_mean_saving_of_simulated_readings(reading_error):
    surface = surface_of()
    found = next_stops(surface, CHOICE, count=1, reading_error=reading_error)
    draws = conditional_draws(SITES, VALUES, np.full(12, ERROR**2), MODEL, found.positions_m,
                              draws=20_000, seed=1)
    read = draws + reading_error * np.random.default_rng(2).standard_normal(draws.shape)
    saved = saved_by(found.positions_m, read, surface, reading_error=reading_error)
    # 4 standard errors of the simulated mean: fails by chance once in 16,000
    assert found.value[0] == pytest.approx(saved.mean(), abs=4 * saved.std() / np.sqrt(len(saved)))
    assert saved.std() / np.sqrt(len(saved)) < 0.02 * saved.mean()  # and the check is a sharp one


def test_the_values_of_several_stops_sum_to_the_saving_of_all_their_readings_together():
    surface = surface_of()
    found = next_stops(surface, CHOICE, count=4)
    draws = conditional_draws(SITES, VALUES, np.full(12, ERROR**2), MODEL, found.positions_m,
                              draws=20_000, seed=3)
    read = draws + ERROR * np.random.default_rng(4).standard_normal(draws.shape)
    saved = saved_by(found.positions_m, read, surface)
    assert found.value.sum() == pytest.approx(saved.mean(), abs=4 * saved.std() / np.sqrt(20_000))


def worth_by_kriging_again(places, surface, taken=()):
    """Value of a reading at each place after those taken, from kriging variances alone."""
    targets, area_ha = surface.grid.centres(), surface.grid.cell_area_m2 / 10_000
    gap = surface.estimate.ravel() - CHOICE.limit
    before = krige(SITES, VALUES, np.full(12, ERROR**2), MODEL, targets).variance

    def worth(readings):
        sites = np.vstack([SITES, *[[one] for one in readings]])
        after = krige(sites, np.zeros(len(sites)), np.full(len(sites), ERROR**2), MODEL,
                      targets).variance
        moved = np.sqrt(np.maximum(before - after, 0))
        return CHOICE.loss * area_ha * expected_shortfall(gap, moved).sum()
    already = worth(taken) if len(taken) else 0.0
    return np.array([worth([*taken, place]) - already for place in places])


def test_each_stop_is_the_best_of_all_places_by_kriging_again_with_a_reading_there():
    surface = surface_of()
    found = next_stops(surface, CHOICE, count=3, spacing_m=0)
    places, _ = inner_places(surface)
    for number in range(3):
        worth = worth_by_kriging_again(places, surface, found.positions_m[:number])
        assert found.positions_m[number].tolist() == places[worth.argmax()].tolist()
        assert found.value[number] == pytest.approx(worth.max(), rel=1e-7)  # rounding of both


def test_where_the_choice_is_clear_a_large_error_attracts_no_stop():
    # West: readings 20 m apart, near the limit. East: two readings far above it, so little is
    # known there, but 60 units beyond the limit nothing it could turn out to be changes the choice.
    west = [(x, y) for x in (10, 30, 50) for y in range(10, 201, 20)]
    sites = np.array(west + [(170.0, 50.0), (170.0, 150.0)])
    values = np.append(100 + np.random.default_rng(5).normal(0, 2, len(west)), [160.0, 160.0])
    surface = surface_of(CovarianceModel("spherical", 1.0, 30.0, 60.0), sites, values, side=200.0)
    found = next_stops(surface, LinearLoss(100.0, 30.0, "ha"), count=6)
    worst = np.unravel_index(np.nanargmax(surface.standard_error), surface.grid.shape)
    east = surface.grid.centres().reshape(*surface.grid.shape, 2)[worst]
    assert east[0] > 100  # the place of greatest error
    assert len(found) == 6 and (found.positions_m[:, 0] < 100).all()
    here = surface.grid.cells_of(found.positions_m)
    assert (surface.standard_error.flat[here] < 0.9 * surface.standard_error[worst]).all()


def test_a_field_that_is_clear_all_over_gets_no_stop():
    surface = surface_of()
    found = next_stops(surface, LinearLoss(400.0, 30.0, "ha"), count=5)
    assert (len(found), found.ended, found.positions_m.shape) == (0, NOT_WORTH, (0, 2))
    assert 0 <= found.best_left < 0.01 and found.lost_now == pytest.approx(0, abs=1e-9)


def test_a_field_that_is_known_for_certain_gets_no_stop_even_at_the_limit():
    # no nugget and no errors: the mean of equal readings is known, and so is every cell
    surface = surface_of(CovarianceModel("nugget", 0.0), values=np.full(12, 101.0), error=0.0)
    found = next_stops(surface, CHOICE, count=5)
    assert (len(found), found.lost_now, found.best_left) == (0, 0, 0)


def test_the_worth_falls_as_the_reading_errs_more_and_stays_below_all_that_can_be_lost():
    surface = surface_of()
    worths = [next_stops(surface, CHOICE, count=5, reading_error=error, spacing_m=0).value
              for error in (0.0, 1.0, 3.0, 10.0, 30.0)]
    totals = [worth.sum() for worth in worths]
    assert all(more > less for more, less in zip(totals, totals[1:]))
    assert all((worth >= 0).all() for worth in worths)
    assert totals[0] < next_stops(surface, CHOICE, count=1).lost_now
    assert len(next_stops(surface, CHOICE, count=5, reading_error=1e6)) == 0


def test_what_deciding_now_loses_is_the_mean_loss_of_drawn_fields():
    surface = surface_of()
    clear_of_nugget = replace(MODEL, nugget=0.0)  # the decision is on ground without the nugget
    draws = conditional_draws(SITES, VALUES, np.full(12, ERROR**2 + MODEL.nugget), clear_of_nugget,
                              surface.grid.centres(), draws=4000, seed=6)
    wrong = (draws > CHOICE.limit) != (surface.estimate.ravel() > CHOICE.limit)
    lost = CHOICE.loss * 0.01 * (np.abs(draws - CHOICE.limit) * wrong).sum(axis=1)
    found = next_stops(surface, CHOICE, count=1)
    assert found.lost_now == pytest.approx(lost.mean(), abs=4 * lost.std() / np.sqrt(4000))
    cell = surface.grid.cells_of(found.positions_m)[0]
    # 4000 draws of a chance: 4 x sqrt(0.25 / 4000)
    assert found.chance_wrong[0] == pytest.approx(wrong[:, cell].mean(), abs=0.032)


def test_a_mirrored_field_gets_mirrored_stops_of_the_same_worth():
    there = next_stops(surface_of(), CHOICE, count=4)
    back = next_stops(surface_of(sites=SITES * (-1, 1) + (SIDE_M, 0)), CHOICE, count=4)
    assert back.positions_m == pytest.approx(there.positions_m * (-1, 1) + (SIDE_M, 0), abs=1e-9)
    assert back.value == pytest.approx(there.value, rel=1e-9)


def test_a_symmetric_case_is_worth_the_same_on_either_side_and_takes_both():
    # two readings on the axis, the limit between them: left and right mirror each other
    sites, values = np.array([[60.0, 20.0], [60.0, 100.0]]), np.array([96.0, 104.0])
    surface = surface_of(sites=sites, values=values)
    found = next_stops(surface, LinearLoss(100.0, 30.0, "ha"), count=2)
    assert found.positions_m[:, 0].sum() == pytest.approx(SIDE_M)
    assert found.positions_m[0, 0] != found.positions_m[1, 0]


def test_other_units_of_value_and_the_other_side_of_the_limit_change_nothing():
    one = next_stops(surface_of(), CHOICE, count=3)
    # in thousandths: values and their errors x 1000, loss per unit / 1000
    model = CovarianceModel("exponential", 2.0e6, 25.0e6, 40.0)
    finer = next_stops(surface_of(model, values=VALUES * 1000, error=ERROR * 1000),
                       LinearLoss(101_000.0, 0.030, "ha"), count=3)
    upside = next_stops(surface_of(values=-VALUES), LinearLoss(-101.0, 30.0, "ha"), count=3)
    acres = next_stops(surface_of(), LinearLoss(101.0, 30.0 * 0.40468564224, "ac"), count=3)
    for other in (finer, upside, acres):
        assert other.positions_m.tolist() == one.positions_m.tolist()
        assert other.value == pytest.approx(one.value, rel=1e-9)
        assert other.chance_wrong == pytest.approx(one.chance_wrong, rel=1e-9)


def test_where_the_surface_is_the_mean_every_stop_is_worth_as_worked_by_hand_and_they_spread():
    # 12 readings, nugget 25 and error 4: the mean has the variance 29 / 12 = 2.41667. A reading
    # of error 4 moves it with variance 2.41667^2 / (2.41667 + 29); all 1.44 ha decide together.
    values = np.tile([99.0, 103.0, 98.0, 104.0], 3)  # mean 101; the limit is 1 off
    surface = surface_of(MEAN, values=values, error=2.0)
    found = next_stops(surface, LinearLoss(100.0, 30.0, "ha"), count=3)
    moved = (29 / 12) ** 2 / (29 / 12 + 29)
    z = 1 / np.sqrt(moved)
    by_hand = 1.44 * 30 * np.sqrt(moved) * (norm.pdf(z) - z * norm.sf(z))
    assert found.alike and found.value[0] == pytest.approx(by_hand, rel=1e-9)
    # together: the mean of 12 becomes that of 15, so its variance falls by 29 / 12 - 29 / 15
    both = np.sqrt(29 / 12 - 29 / 15)
    assert found.value.sum() == pytest.approx(
        1.44 * 30 * both * (norm.pdf(1 / both) - 1 / both * norm.sf(1 / both)), rel=1e-9)
    assert found.chance_wrong == pytest.approx(norm.sf(1 / np.sqrt(29 / 12)), rel=1e-9)
    places, _ = inner_places(surface)
    known = SITES
    for position in found.positions_m:
        reach = np.linalg.norm(places[:, None] - known, axis=-1).min(axis=1)
        assert np.linalg.norm(position - known, axis=-1).min() == pytest.approx(reach.max())
        known = np.vstack([known, position])


def test_stops_keep_their_distance_and_end_where_there_is_no_room():
    surface = surface_of()
    found = next_stops(surface, replace(CHOICE, loss=1e5), count=MOST_STOPS, spacing_m=12)
    assert found.ended == NO_ROOM and 2 < len(found) < MOST_STOPS
    all_places = np.vstack([SITES, found.positions_m])
    apart = np.linalg.norm(found.positions_m[:, None] - all_places, axis=-1)
    apart[np.arange(len(found)), 12 + np.arange(len(found))] = np.inf  # from itself
    assert apart.min() >= 12
    places, _ = inner_places(surface)
    left = np.linalg.norm(places[:, None] - all_places, axis=-1).min(axis=1)
    assert (left < 12).all()


def test_without_a_distance_no_place_is_taken_twice():
    found = next_stops(surface_of(), replace(CHOICE, loss=1e5), count=60, spacing_m=0,
                       reading_error=10.0)
    assert len(np.unique(found.positions_m, axis=0)) == len(found) == 60


def test_stops_end_where_the_next_is_worth_less_than_it_costs():
    surface = surface_of()
    free = next_stops(surface, CHOICE, count=10)
    cost = float(np.sort(free.value)[::-1][3])  # dearer than what comes after a few stops
    paid = next_stops(surface, CHOICE, count=10, cost=cost)
    assert paid.ended == NOT_WORTH and 0 < len(paid) < 10 and free.ended == ALL_CHOSEN
    assert (paid.value >= cost).all() and 0 < paid.best_left < cost
    assert paid.positions_m.tolist() == free.positions_m[:len(paid)].tolist()
    assert paid.best_left == pytest.approx(free.value[len(paid)], rel=1e-9)


def test_stops_lie_well_inside_a_field_of_any_shape():
    grid = Grid.covering(0, 0, SIDE_M, SIDE_M, cell_m=5)
    x, y = grid.centres().T
    inside = ((x + y < 130) | (y > 95)).astype(float).reshape(grid.shape)
    inside[inside == 0] = np.where(np.random.default_rng(8).random(np.sum(inside == 0)) < 0.3,
                                   0.4, 0.0)  # cells that the boundary cuts
    found = next_stops(surface_of(cell=5, inside=inside), CHOICE, count=30, spacing_m=5)
    rows, columns = np.divmod(grid.cells_of(found.positions_m), grid.columns)
    assert len(found) == 30
    for row, column in zip(rows, columns):
        assert inside[row, column] == 1
        assert (inside[row - 1:row + 2, column - 1:column + 2] > 0).all()
        assert 0 < row < grid.rows - 1 and 0 < column < grid.columns - 1


def test_a_thinned_grid_still_weighs_the_whole_area():
    # of the mean, the worth is area x a figure that the grid does not change
    values = np.tile([99.0, 103.0], 6)
    choice = LinearLoss(100.0, 30.0, "ha")
    inside = np.ones((240, 240))
    inside[:100, 60:] = 0.5
    coarse = next_stops(surface_of(MEAN, values=values), choice, count=1)
    fine = next_stops(surface_of(MEAN, values=values, cell=0.5, inside=inside), choice, count=1)
    share = inside.mean()
    assert fine.value[0] == pytest.approx(coarse.value[0] * share, rel=1e-9)
    assert fine.lost_now == pytest.approx(coarse.lost_now * share, rel=1e-9)


def test_a_thinned_grid_finds_stops_of_nearly_the_same_worth():
    # 57,600 cells, of which 1 in 49 is weighed: cells of 0.5 m every 3.5 m, against a
    # correlation that falls to 5 % over 120 m
    fine = next_stops(surface_of(cell=0.5), CHOICE, count=3)
    whole = next_stops(surface_of(cell=4.0), CHOICE, count=3)
    assert fine.value.sum() == pytest.approx(whole.value.sum(), rel=0.02)


def test_where_censoring_left_the_surface_less_sure_the_surfaces_own_error_counts():
    surface = surface_of(replace(MODEL, nugget=0.0))
    wider = replace(surface, standard_error=2 * surface.standard_error)
    found = next_stops(wider, CHOICE, count=1)
    cell = surface.grid.cells_of(found.positions_m)[0]
    z = abs(wider.estimate.flat[cell] - CHOICE.limit) / wider.standard_error.flat[cell]
    assert found.chance_wrong[0] == pytest.approx(norm.sf(z), rel=1e-9)
    # twice the spread of all errors and twice the reading's: the same as half the gap and twice
    # the money
    half = replace(surface, estimate=CHOICE.limit + (surface.estimate - CHOICE.limit) / 2)
    same = next_stops(half, replace(CHOICE, loss=60.0), count=1)
    doubled = next_stops(wider, CHOICE, count=1, reading_error=2 * ERROR)
    assert doubled.value == pytest.approx(same.value, rel=1e-9)
    assert doubled.positions_m.tolist() == same.positions_m.tolist()


def test_a_surface_with_censored_readings_gets_stops_where_the_choice_is_open():
    # tops of a pan deeper to the east; beyond 14 in the probe did not go. The tool reaches 11 in.
    x, y = (part.ravel() for part in np.meshgrid(np.arange(10, 200, 25.0), np.arange(10, 200, 30)))
    depths = 6 + 10 * x / 200 + np.random.default_rng(9).normal(0, 0.5, len(x))
    beyond = depths > 14
    grid = Grid.covering(0, 0, 200, 200, cell_m=10)
    surface = estimate_surface(
        Observations.of("Top of the pan", "in", np.column_stack([x, y]),
                        np.minimum(depths, 14.0), error_variance=np.full(len(x), 0.1),
                        censoring=beyond.astype(int)),
        grid, np.ones(grid.shape), model=CovarianceModel("exponential", 0.1, 9.0, 150.0))
    found = next_stops(surface, LinearLoss(11.0, 12.0, "ha"), count=6)
    assert beyond.sum() >= 5 and len(found) == 6
    # 11 in is reached at x = 100; the far east errs most but lies 3 in and more beyond the tool
    assert np.abs(found.positions_m[:, 0] - 100).max() < 40
    here = surface.grid.cells_of(found.positions_m)
    apart = np.abs(surface.estimate.flat[here] - 11)
    spread = np.sqrt(surface.standard_error.flat[here] ** 2 - 0.1)
    assert found.chance_wrong == pytest.approx(norm.sf(apart / spread), rel=1e-9)


def test_the_error_of_a_reading_is_by_default_the_median_of_those_there_are():
    surface = surface_of()
    sites = np.array(surface.account["sites"])
    sites[:, 3] = np.arange(12.0) ** 2
    account = {**surface.account, "sites": sites.tolist()}
    found = next_stops(replace(surface, account=account), CHOICE, count=1)
    assert found.reading_error == pytest.approx(np.sqrt((25 + 36) / 2))


def test_it_ticks_to_the_end_and_stops_when_asked():
    ticks = []
    next_stops(surface_of(), CHOICE, count=3, tick=ticks.append)
    assert ticks == sorted(ticks) and ticks[-1] == pytest.approx(1.0) and len(ticks) >= 3

    def cancelled(fraction):
        if fraction > 0.3:
            raise Stopped
    with pytest.raises(Stopped):
        next_stops(surface_of(), CHOICE, count=3, tick=cancelled)


@pytest.mark.parametrize(("changed", "words"), [
    ({"count": 0}, "the number of stops is 0"), ({"count": MOST_STOPS + 1}, "not above 100"),
    ({"reading_error": -1.0}, "the error of a reading is -1"),
    ({"reading_error": float("nan")}, "the error of a reading is empty"),
    ({"cost": -2.0}, "the cost of a stop is -2"), ({"spacing_m": -1.0}, "distance between stops")])
def test_a_setting_out_of_range_is_refused_by_name(changed, words):
    with pytest.raises(InputProblem, match=words):
        next_stops(surface_of(), CHOICE, **{"count": 3, **changed})


@pytest.mark.parametrize("account", [{}, {"sites": None, "model": {}}, {"sites": [[0, 0, 1, 1]]}])
def test_a_surface_that_does_not_carry_its_readings_is_refused(account):
    with pytest.raises(InputProblem, match="Stand does not carry its readings"):
        next_stops(replace(surface_of(), account=account), CHOICE, count=1)


def test_a_surface_with_a_hole_and_a_field_too_narrow_for_its_cells_are_refused():
    surface = surface_of()
    holed = surface.estimate.copy()
    holed[3, 3] = np.nan
    with pytest.raises(InputProblem, match="1 of 144 cells inside the field have no estimate"):
        next_stops(replace(surface, estimate=holed), CHOICE, count=1)
    narrow = np.zeros(surface.grid.shape)
    narrow[4:6] = 1
    with pytest.raises(InputProblem, match="no cell of 10 m lies in the field with all its"):
        next_stops(replace(surface, inside=narrow), CHOICE, count=1)


def test_memory_is_bounded_by_the_places_weighed(monkeypatch):
    seen = []
    whole = module._greedy
    monkeypatch.setattr(module, "_greedy", lambda *given, **more: (
        seen.append(given[4].shape), whole(*given, **more))[1])
    grid = Grid.covering(0, 0, 600, 600, cell_m=1)
    flat = np.full(grid.shape, 100.0)
    surface = surface_of(MEAN)
    big = Surface("Stand", "", grid, np.ones(grid.shape), flat, flat * 0 + 5.2, surface.account)
    found = next_stops(big, CHOICE, count=1)
    assert len(found) == 1 and max(seen[0]) <= module.MOST_PLACES
