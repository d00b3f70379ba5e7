import numpy as np
import pytest

from plugin.core.grid import Grid
from plugin.core.interpolate import draws_of_surface as module
from plugin.core.interpolate.conditional_draws import conditional_draws, thinned_cells
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.draws_of_surface import draws_of_surface
from plugin.core.interpolate.estimate import estimate_surface
from plugin.core.interpolate.field_mean import field_mean
from plugin.core.interpolate.map_settings import MapSettings
from plugin.core.interpolate.simulation import simulate
from plugin.core.observations import Observations
from plugin.core.problems import InputProblem
from plugin.core.surface import Surface

MODEL = CovarianceModel("spherical", 3.0, 2.0, 60.0)
GENERATOR = np.random.default_rng(3)
PLACES, VALUES = GENERATOR.uniform(0, 100, (30, 2)), GENERATOR.normal(20, 2, 30)
ERRORS = GENERATOR.uniform(0.1, 0.8, 30)
SITES = np.column_stack([PLACES, VALUES, ERRORS]).tolist()
GRID = Grid(0, 100, 2, 50, 50)
INSIDE = np.ones((50, 50))
INSIDE[:5], INSIDE[:, 0] = 0.0, 0.5


def surface(sites, inside=INSIDE):
    return Surface("stand", "plants/ac", GRID, inside, np.zeros((50, 50)), np.zeros((50, 50)),
                   {"sites": sites, "model": {"family": "spherical", "nugget": 3.0,
                                              "partial_sill": 2.0, "range_m": 60.0}})


def test_a_surface_is_simulated_in_all_its_cells_from_the_readings_it_carries():
    cells, drawn = draws_of_surface(surface(SITES), draws=5, seed=3)
    assert cells.tolist() == np.flatnonzero(INSIDE > 0).tolist()
    expected = simulate(PLACES, VALUES, ERRORS, MODEL, GRID, cells=cells, draws=5, seed=3)
    assert drawn == pytest.approx(np.vstack(list(expected)), rel=1e-12)  # JSON keeps all digits


@pytest.mark.parametrize("limit", ["MOST_CELLS", "MOST_NODES"])
def test_of_too_many_cells_thinned_ones_are_drawn(monkeypatch, limit):
    monkeypatch.setattr(module, limit, 1200)
    cells, drawn = draws_of_surface(surface(SITES), draws=5, seed=3)
    assert cells.tolist() == thinned_cells(INSIDE).tolist()
    assert len(cells) < 700  # every second row and column
    assert drawn.tolist() == conditional_draws(PLACES, VALUES, ERRORS, MODEL,
                                               GRID.centres()[cells], draws=5, seed=3).tolist()


def test_totals_of_a_small_zone_have_the_error_of_all_its_cells():
    # 5 x 5 cells, over which the nugget of 3 averages out to 3 / 25; over every second row and
    # column of them it would be 3 / 9 at best, and the error a tenth too large
    zone = np.zeros((50, 50))
    zone[20:25, 20:25] = 1
    exact = field_mean(surface(SITES, zone))[1]
    cells, drawn = draws_of_surface(surface(SITES), draws=1000)
    found = drawn[:, zone.flat[cells] > 0].mean(axis=1).std()
    assert found == pytest.approx(exact, rel=4 / np.sqrt(2 * 1000))  # 4 standard errors


def figures(places):
    """A layer that the mean follows, beside a slope."""
    return np.column_stack([places, np.sin(places[:, 0] / 15)])


@pytest.fixture
def with_drift():
    """A surface whose mean follows a slope and a layer."""
    readings = Observations.of("stand", "", PLACES, VALUES + PLACES @ (0.3, 0),
                               error_variance=ERRORS)
    return estimate_surface(readings, GRID, INSIDE, model=MODEL, settings=MapSettings(
        linear=True, covariates=("waves",), sampled=lambda places: figures(places)[:, 2]))


@pytest.mark.parametrize("limit", [None, "MOST_CELLS"])
def test_draws_about_a_drift_have_the_mean_and_error_of_the_surface(monkeypatch, limit, with_drift):
    if limit:
        monkeypatch.setattr(module, limit, 1200)
    cells, drawn = draws_of_surface(with_drift, draws=1000, seed=3)
    error = with_drift.standard_error.flat[cells]
    # of some hundred or thousand cells the farthest is off by 5 standard errors at most
    off = (drawn.mean(axis=0) - with_drift.estimate.flat[cells]) / error
    assert np.abs(off).max() < 5 / np.sqrt(1000)
    assert drawn.std(axis=0) == pytest.approx(error, rel=5 / np.sqrt(2 * 1000))


def test_the_field_mean_of_draws_about_a_drift_has_the_error_of_the_field_mean(with_drift):
    cells, drawn = draws_of_surface(with_drift, draws=1000)
    means = drawn @ (INSIDE.flat[cells] / INSIDE.sum())
    mean, error = field_mean(with_drift)
    assert means.mean() == pytest.approx(mean, abs=4 * error / np.sqrt(1000))
    assert means.std() == pytest.approx(error, rel=4 / np.sqrt(2 * 1000))


def test_progress_of_the_draws_is_told():
    seen = []
    draws_of_surface(surface(SITES), draws=4, tick=seen.append)
    assert seen[-1] == pytest.approx(1.0)


def test_a_surface_without_its_readings_is_not_drawn():
    with pytest.raises(InputProblem, match="stand does not carry its readings"):
        draws_of_surface(surface(None))
