import numpy as np
import pytest

from plugin.core.grid import Grid
from plugin.core.interpolate import krige_field as module
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.drift import Drift
from plugin.core.interpolate.krige_field import field_blocks, krige_field
from plugin.core.interpolate.kriging import krige
from plugin.core.problems import Stopped

MODEL = CovarianceModel("spherical", 0.3, 2.0, 60.0)
GENERATOR = np.random.default_rng(5)
PLACES, VALUES = GENERATOR.uniform(0, 100, (30, 2)), GENERATOR.normal(20, 2, 30)
ERRORS = GENERATOR.uniform(0.1, 0.8, 30)
GRID = Grid(0.0, 100.0, 2.0, 50, 40)
INSIDE = np.ones(GRID.shape)
INSIDE[:3], INSIDE[:, 7], INSIDE[20, 20] = 0.0, 0.5, 0.0
FIELD = np.flatnonzero(INSIDE > 0)


@pytest.mark.parametrize("block", [1, 39, 40, 41, 900, 10_000])
def test_blocks_are_every_cell_of_the_field_once_in_order(monkeypatch, block):
    monkeypatch.setattr(module, "BLOCK_CELLS", block)
    blocks = list(field_blocks(GRID, INSIDE))
    assert np.concatenate(blocks).tolist() == FIELD.tolist()
    assert max(map(len, blocks)) <= block


@pytest.mark.parametrize("neighbours", [None, 8])
@pytest.mark.parametrize("block", [100, 10_000])
def test_it_is_kriging_of_each_cell_whatever_the_blocks(monkeypatch, block, neighbours):
    monkeypatch.setattr(module, "BLOCK_CELLS", block)
    estimate, variance = krige_field(GRID, INSIDE, PLACES, VALUES[None], ERRORS, MODEL,
                                     neighbours=neighbours)
    expected = krige(PLACES, VALUES, ERRORS, MODEL, GRID.centres()[FIELD], neighbours=neighbours)
    assert estimate.flat[FIELD] == pytest.approx(expected.estimate, rel=1e-9)  # of the solvers
    assert variance.flat[FIELD] == pytest.approx(expected.variance, rel=1e-8)
    assert np.isnan(estimate[INSIDE == 0]).all() and np.isnan(variance[INSIDE == 0]).all()


@pytest.mark.parametrize("draws", [3, 40])
def test_draws_give_the_mean_of_their_maps_and_how_these_differ(draws):
    drawn = np.tile(VALUES, (draws, 1))
    drawn[:, :10] += np.random.default_rng(2).normal(0, 1, (draws, 10))
    estimate, variance = krige_field(GRID, INSIDE, PLACES, drawn, ERRORS, MODEL)
    each = krige(PLACES, drawn.T, ERRORS, MODEL, GRID.centres()[FIELD])  # one by one
    assert estimate.flat[FIELD] == pytest.approx(each.estimate.mean(axis=1), rel=1e-9)
    assert variance.flat[FIELD] == pytest.approx(each.variance + each.estimate.var(axis=1),
                                                 rel=1e-8)


def test_drift_is_asked_for_block_by_block(monkeypatch):
    monkeypatch.setattr(module, "BLOCK_CELLS", 200)
    asked = []

    class East(Drift):
        def in_cells(self, cells):
            asked.append(len(cells))
            return super().in_cells(cells)

    east = East(GRID, False, PLACES[:, :1], GRID.centres()[:, 0].reshape(1, *GRID.shape))
    estimate, _ = krige_field(GRID, INSIDE, PLACES, VALUES[None], ERRORS, MODEL, drift=east)
    centres = GRID.centres()[FIELD]
    expected = krige(PLACES, VALUES, ERRORS, MODEL, centres, drift=(PLACES[:, 0], centres[:, 0]))
    assert estimate.flat[FIELD] == pytest.approx(expected.estimate, rel=1e-9)
    assert max(asked) <= 200 and sum(asked) == len(FIELD)


def test_each_block_ticks_and_a_stop_travels_up(monkeypatch):
    monkeypatch.setattr(module, "BLOCK_CELLS", 200)
    told = []
    krige_field(GRID, INSIDE, PLACES, VALUES[None], ERRORS, MODEL, tick=told.append)
    assert told == sorted(told) and told[-1] == pytest.approx(1.0)
    assert len(told) >= len(list(field_blocks(GRID, INSIDE)))

    def stop(fraction):
        if fraction > 0.5:
            raise Stopped

    with pytest.raises(Stopped):
        krige_field(GRID, INSIDE, PLACES, VALUES[None], ERRORS, MODEL, tick=stop)
