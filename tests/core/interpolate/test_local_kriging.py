"""Kriging tile by tile against the system of each target alone, solved as it stands."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plugin.core.interpolate import local_kriging, neighbourhood
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.kriging import krige
from plugin.core.interpolate.neighbourhood import Neighbourhood
from plugin.core.problems import InputProblem

SPHERICAL = CovarianceModel("spherical", 0.3, 2.0, 60.0)
ALONG = CovarianceModel("exponential", 0.3, 2.0, 30.0, heading_deg=30.0, ratio=0.4)
ROUNDING = 1e-9  # two orders of eliminating systems of at most 40, condition numbers below 1e4


def field(seed, count=300, side=40):
    """Readings over 100 m with errors of their own, and the cells of a grid over them."""
    generator = np.random.default_rng(seed)
    places = generator.uniform(0, 100, (count, 2))
    axis = (np.arange(side) + 0.5) * 100 / side
    cells = np.stack(np.meshgrid(axis, axis[::-1]), -1).reshape(-1, 2)
    return places, generator.normal(20, 3, count), generator.uniform(0.1, 1, count), cells


def nearest(places, model, target, count):
    """Of equally far readings the first."""
    apart = model.stretched(places) - model.stretched(target[None])
    return np.argsort((apart**2).sum(axis=1), kind="stable")[:count]


def agrees_with_all_of_the_nearest(places, values, errors, model, targets, count, found, some):
    for number in some:
        near = nearest(places, model, targets[number], count)
        alone = krige(places[near], values[near], errors[near], model, targets[number][None])
        assert found.estimate[number] == pytest.approx(alone.estimate[0], rel=ROUNDING)
        assert found.variance[number] == pytest.approx(alone.variance[0], rel=ROUNDING)


@given(st.integers(0, 10**6), st.integers(1, 40), st.sampled_from([SPHERICAL, ALONG]))
@settings(max_examples=15)
def test_the_cells_of_a_grid_are_kriged_from_their_own_nearest(seed, count, model):
    places, values, errors, cells = field(seed)
    found = krige(places, values, errors, model, cells, neighbours=count)
    some = np.random.default_rng(seed).choice(len(cells), 40, replace=False)
    agrees_with_all_of_the_nearest(places, values, errors, model, cells, count, found, some)


@given(st.integers(0, 10**6))
@settings(max_examples=8)
def test_the_order_of_the_targets_changes_nothing(seed):
    places, values, errors, cells = field(seed)
    order = np.random.default_rng(seed).permutation(len(cells))
    one = krige(places, values, errors, ALONG, cells, neighbours=12)
    other = krige(places, values, errors, ALONG, cells[order], neighbours=12)
    assert other.estimate == pytest.approx(one.estimate[order], rel=ROUNDING)
    assert other.variance == pytest.approx(one.variance[order], rel=ROUNDING)


def test_readings_on_a_grid_are_as_far_from_a_cell_as_others_and_the_first_count():
    # cells lie on readings, half way between two and amid four: nearly all choices are ties
    axis = np.arange(0.0, 40.0, 2.0)
    places = np.stack(np.meshgrid(axis, axis), -1).reshape(-1, 2)
    values = np.random.default_rng(3).normal(20, 3, len(places))
    errors = np.linspace(0.1, 1, len(places))
    cells = np.stack(np.meshgrid(np.arange(40.0), np.arange(40.0)), -1).reshape(-1, 2)
    for count in (3, 8, 18):
        found = krige(places, values, errors, SPHERICAL, cells, neighbours=count)
        agrees_with_all_of_the_nearest(places, values, errors, SPHERICAL, cells, count, found,
                                       range(0, len(cells), 37))
        alone = [krige(places, values, errors, SPHERICAL, cells[number][None], neighbours=count)
                 for number in range(0, len(cells), 37)]
        assert [one.estimate[0] for one in alone] == pytest.approx(
            found.estimate[::37].tolist(), rel=ROUNDING)


def test_readings_at_one_place_are_chosen_like_any_others():
    places, values, errors, cells = field(5)
    places[100:130] = places[50]
    found = krige(places, values, errors, SPHERICAL, cells, neighbours=12)
    assert np.isfinite(found.estimate).all()
    near_the_pile = np.argsort(np.hypot(*(cells - places[50]).T))[200:1000:40]
    agrees_with_all_of_the_nearest(places, values, errors, SPHERICAL, cells, 12, found,
                                   near_the_pile)


def test_targets_far_from_each_other_are_asked_for_alone():
    places, values, errors, _ = field(6)
    targets = np.random.default_rng(6).uniform(-200, 300, (60, 2))
    for _ in range(2):
        found = krige(places, values, errors, SPHERICAL, targets, neighbours=9)
        agrees_with_all_of_the_nearest(places, values, errors, SPHERICAL, targets, 9, found,
                                       range(60))
        targets = np.column_stack([targets[:, 0], np.full(60, 50.0)])  # in one line


@pytest.mark.parametrize(("constant", "size"), [
    ("STRIP", 37), ("PART_WEIGHTS", 37 * 16), ("BATCH_NUMBERS", 1), ("CHUNK", 1)])
def test_the_sizes_of_strips_parts_and_batches_change_nothing(monkeypatch, constant, size):
    places, values, errors, cells = field(7)
    sets, slope = np.column_stack([values, values**2]), (places, cells)
    one = krige(places, sets, errors, ALONG, cells, neighbours=16, drift=slope)
    monkeypatch.setattr(local_kriging, constant, size)
    other = krige(places, sets, errors, ALONG, cells, neighbours=16, drift=slope)
    assert other.estimate == pytest.approx(one.estimate, rel=ROUNDING)
    assert other.variance == pytest.approx(one.variance, rel=ROUNDING)


@pytest.mark.parametrize("side", [1, 2, 3, 4])
@pytest.mark.parametrize(("model", "block_m"), [(SPHERICAL, None), (ALONG, 5.0)])
def test_tiles_of_any_size_give_the_same_with_drift_and_blocks(monkeypatch, side, model, block_m):
    places, values, errors, cells = field(8)
    slope = np.sin(places / 9), np.sin(cells / 9)
    options = {"neighbours": 20, "drift": slope, "block_m": block_m}
    one = krige(places, values, errors, model, cells, **options)
    monkeypatch.setattr(neighbourhood, "TILE_SIDE", side)
    monkeypatch.setattr(neighbourhood, "TILE_SHARE", 9.0)
    other = krige(places, values, errors, model, cells, **options)
    assert Neighbourhood(places, model, 20).tiling(cells).size == side**2
    assert other.estimate == pytest.approx(one.estimate, rel=ROUNDING)
    assert other.variance == pytest.approx(one.variance, rel=ROUNDING)


def test_a_tile_that_sees_too_few_readings_says_so():
    places, _, _, cells = field(9)
    near = Neighbourhood(places, SPHERICAL, 12)
    tiles = cells.reshape(-1, 4, 2)[:50]
    for candidates in (12, 16, 24, 40, 300):
        which, chosen, certain = near.of_tiles(tiles, candidates)
        assert (chosen.sum(axis=2) == 12).all()
        for tile in np.flatnonzero(certain):
            for target, mine in zip(tiles[tile], chosen[tile]):
                assert set(which[tile][mine]) == set(nearest(places, SPHERICAL, target, 12))
        if candidates == 12:
            assert not certain.any()  # four places of a tile do not all see the same from outside
    assert certain.all()              # among all readings there is nothing else to see


@pytest.mark.parametrize("row", [0, 799, 1599])
def test_a_pile_without_a_nugget_is_refused_wherever_it_lies(row):
    places, values, _, cells = field(10)
    exact = CovarianceModel("gaussian", 0.0, 2.0, 60.0)
    places[:9] = cells[row] + np.arange(9)[:, None] * 1e-9  # apart, but not for the model
    with pytest.raises(InputProblem, match="do not determine the estimates"):
        krige(places, values, np.zeros(300), exact, cells, neighbours=9)
