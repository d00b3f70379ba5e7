"""Kriging onto a grid, tile by tile, against every reading on every cell."""
import numpy as np
import pytest

from plugin.core.grid import Grid
from plugin.core.interpolate import global_kriging, gridded_kriging
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.global_kriging import PlainKriging, krige_global
from plugin.core.interpolate.gridded_kriging import lattice_of
from plugin.core.interpolate.kriging import krige
from plugin.core.interpolate.readings_system import ReadingsSystem, drift_columns
from plugin.core.interpolate.target_covariance import TargetCovariance
from plugin.core.problems import Stopped

GRID = Grid.covering(5e5, 4e6, 5e5 + 1000, 4e6 + 800, cell_m=8)
CELLS = GRID.centres()
MANY = Grid.covering(5e5, 4e6, 5e5 + 1000, 4e6 + 800, cell_m=2.5).centres()  # where tiles pay
WITHIN = 1e-9  # of the sill: what the shortcut is allowed to differ by, with room


def readings(count=120, seed=3, clustered=False):
    generator = np.random.default_rng(seed)
    places = generator.uniform(0, 1, (count, 2)) * [1000, 800] + [5e5, 4e6]
    if clustered:
        places[: count // 2] = [5e5 + 300, 4e6 + 300] + generator.normal(0, 8, (count // 2, 2))
    return places, generator.normal(20, 3, count), generator.uniform(0.1, 1.0, count)


def both(places, values, errors, model, cells, *, block_m=None, drift=None):
    """The tiles' answer and the plain one; the tiles must have been used."""
    columns = drift_columns(drift, len(places), len(cells))
    sets = values.reshape(len(values), -1)
    system = ReadingsSystem(places, sets, errors, model, columns[0])
    toward = TargetCovariance(model, block_m)
    plain = PlainKriging(system, toward, places, cells, columns[1])
    tiled = gridded_kriging.krige_gridded(lattice_of(cells), system, toward, places, cells,
                                          columns[1], plain, None)
    assert tiled is not None  # the check of its own found nothing
    parts = [plain.at(slice(start, start + 5000)) for start in range(0, len(cells), 5000)]
    return tiled, [np.concatenate(part) for part in zip(*parts)]


@pytest.mark.parametrize("model", [
    CovarianceModel("exponential", 0.3, 2.0, 15.0), CovarianceModel("exponential", 0.3, 2.0, 900.0),
    CovarianceModel("matern_3_2", 0.3, 2.0, 60.0), CovarianceModel("matern_5_2", 0.3, 2.0, 40.0),
    CovarianceModel("gaussian", 0.5, 2.0, 80.0), CovarianceModel("spherical", 0.3, 2.0, 60.0),
    CovarianceModel("spherical", 0.3, 2.0, 300.0), CovarianceModel("spherical", 0.3, 2.0, 3000.0),
    CovarianceModel("exponential", 0.3, 2.0, 90.0, 30.0, 0.4),
    CovarianceModel("spherical", 0.3, 2.0, 200.0, 120.0, 0.6),
    CovarianceModel("spherical", 0.3, 2.0, 60.0, long_sill=1.2, long_range_m=300.0),
    CovarianceModel("exponential", 0.3, 2.0, 15.0, long_sill=1.2, long_range_m=90.0)], ids=str)
@pytest.mark.parametrize("block_m", [None, 8.0])
def test_tiles_give_what_every_reading_on_every_cell_gives(model, block_m):
    (estimate, variance), plain = both(*readings(), model, CELLS, block_m=block_m)
    assert np.abs(estimate - plain[0]).max() < WITHIN * 20  # values are near 20
    assert np.abs(variance - plain[1]).max() < WITHIN * model.sill


@pytest.mark.parametrize("side", [16, 96])
def test_clustered_readings_drift_and_sets_of_values_change_nothing_of_that(monkeypatch, side):
    monkeypatch.setattr(gridded_kriging, "TILES", (side,))
    places, values, errors = readings(clustered=True)
    model = CovarianceModel("exponential", 0.3, 2.0, 60.0)
    (estimate, variance), plain = both(places, np.column_stack([values, -values]), errors, model,
                                       CELLS, drift=(places, CELLS))
    assert np.abs(estimate - plain[0]).max() < WITHIN * 20
    assert np.abs(variance - plain[1]).max() < WITHIN * model.sill


def test_cells_of_a_field_that_fills_half_its_grid_are_found_on_it():
    inside = CELLS[:, 0] - 5e5 + 0.3 * (CELLS[:, 1] - 4e6) < 620
    (estimate, variance), plain = both(*readings(), CovarianceModel("exponential", 0.3, 2.0, 60.0),
                                       CELLS[inside])
    assert np.abs(estimate - plain[0]).max() < WITHIN * 20
    assert np.abs(variance - plain[1]).max() < WITHIN * 2.3


def test_the_lattice_of_targets_holds_each_of_them():
    picked = np.random.default_rng(1).permutation(len(CELLS))[:8_000]
    lattice = lattice_of(CELLS[picked])
    found = np.column_stack([lattice.eastings[lattice.column], lattice.northings[lattice.row]])
    assert found == pytest.approx(CELLS[picked], abs=1e-8)  # coordinates near 4e6 keep 1e-9
    assert (len(lattice.eastings), len(lattice.northings)) == (GRID.columns, GRID.rows)


@pytest.mark.parametrize("targets", [
    CELLS[:999], CELLS[::13], np.random.default_rng(2).uniform(0, 100, (5000, 2)),
    np.column_stack([np.arange(5000.0) ** 2, np.zeros(5000)])])
def test_few_and_scattered_targets_lie_on_none(targets):
    assert lattice_of(targets) is None


def test_krige_uses_tiles_where_they_pay_and_not_on_an_ill_conditioned_matrix(monkeypatch):
    used = []

    def gridded(*given):
        used.append(True)
        return gridded_kriging.krige_gridded(*given)

    monkeypatch.setattr(global_kriging, "krige_gridded", gridded)
    places, values, errors = readings()
    krige(places, values, errors, CovarianceModel("exponential", 0.3, 2.0, 60.0), MANY)
    assert used == [True]
    smooth = CovarianceModel("gaussian", 1e-9, 2.0, 200.0)  # neighbours are all but the same
    krige(places, values, np.zeros(120), smooth, CELLS[:3000])
    assert used == [True]
    monkeypatch.setattr(gridded_kriging, "MOST_SUMS", 2 * len(MANY) - 1)  # estimate and mean
    krige(places, values, errors, CovarianceModel("exponential", 0.3, 2.0, 60.0), MANY)
    assert used == [True]


@pytest.mark.parametrize("numbers", [1, 5000])
def test_the_size_of_a_strip_changes_nothing(monkeypatch, numbers):
    model = CovarianceModel("exponential", 0.3, 2.0, 60.0)
    whole, _ = both(*readings(), model, CELLS)
    monkeypatch.setattr(gridded_kriging, "STRIP_NUMBERS", numbers)
    strips, _ = both(*readings(), model, CELLS)
    assert strips[0] == pytest.approx(whole[0], rel=1e-12)
    assert strips[1] == pytest.approx(whole[1], rel=1e-12)


def test_where_the_check_fails_the_plain_way_is_taken(monkeypatch):
    model = CovarianceModel("exponential", 0.3, 2.0, 60.0)
    monkeypatch.setattr(gridded_kriging, "NODES", 4)  # too few to interpolate with
    places, values, errors = readings()
    columns = drift_columns(None, len(places), len(CELLS))
    estimate, variance = krige_global(places, values[:, None], errors, model, CELLS,
                                      columns=columns, block_m=None, numbers=10**6, tick=None)
    plain = PlainKriging(ReadingsSystem(places, values[:, None], errors, model, columns[0]),
                         TargetCovariance(model), places, CELLS, columns[1]).at(slice(0, 500))
    assert estimate[:500] == pytest.approx(plain[0], rel=1e-12)
    assert variance[:500] == pytest.approx(plain[1], rel=1e-12)


def test_progress_is_told_tile_by_tile_and_a_stop_travels_up():
    told = []
    model = CovarianceModel("exponential", 0.3, 2.0, 60.0)
    krige(*readings(), model, MANY, tick=told.append)
    assert told == sorted(told) and told[-1] == 1.0 and len(told) > 8

    def stop(fraction):
        raise Stopped

    with pytest.raises(Stopped):
        krige(*readings(), model, MANY, tick=stop)
