from dataclasses import replace

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


def fitted(inside):
    """A surface whose model was fitted to its readings."""
    values = 20 + 2 * np.sin(PLACES[:, 0] / 15) + np.random.default_rng(4).normal(0, 0.5, 30)
    made = estimate_surface(Observations.of("stand", "", PLACES, values, error_variance=ERRORS),
                            GRID, inside)
    assert made.account["method"] == "ordinary kriging"
    return made


@pytest.mark.parametrize("limit", [None, "MOST_CELLS"])
@pytest.mark.parametrize("side", [50, 25])  # 25 x 25 cells are drawn from their covariance
def test_what_is_not_known_of_a_fitted_model_is_in_the_draws(monkeypatch, limit, side):
    if limit:
        monkeypatch.setattr(module, limit, 500)
    inside, told = np.zeros((50, 50)), []
    inside[:side, :side] = 1
    surface = fitted(inside)
    cells, drawn = draws_of_surface(surface, draws=600, seed=3, tick=told.append)
    assert len(drawn) == 600 and told[-1] == pytest.approx(1.0)
    assert np.diff(told).min() > -1e-12  # rounding
    known = draws_of_surface(replace(surface, account={**surface.account, "fitted_by": None}),
                             draws=600, seed=3)[1]
    # a contrast between parts of the ground depends on the range, which is not known well
    east = surface.grid.centres(cells)[:, 0] > 15
    contrasts = [each[:, east].mean(axis=1) - each[:, ~east].mean(axis=1)
                 for each in (drawn, known)]
    assert contrasts[0].mean() != pytest.approx(contrasts[1].mean(), rel=1e-9)
    assert drawn.var(axis=0).mean() == pytest.approx(known.var(axis=0).mean(), rel=0.2)
    assert draws_of_surface(surface, draws=600, seed=3)[1].tolist() == drawn.tolist()


def test_models_that_differ_in_their_sill_give_draws_of_either(monkeypatch):
    calm, wild = (CovarianceModel("nugget", nugget) for nugget in (1.0, 100.0))
    monkeypatch.setattr(module, "likely_models", lambda *given, **settings: [(calm, 15), (wild, 5)])
    drawn = draws_of_surface(fitted(INSIDE), draws=400, seed=3)[1]
    spread = drawn.std(axis=1)
    # of 2250 cells each spread is off by 1.5 % as a rule
    assert spread[:300] == pytest.approx(np.full(300, 1.0), rel=0.1)
    assert spread[300:] == pytest.approx(np.full(100, 10.0), rel=0.1)


def test_few_or_equal_readings_are_drawn_with_their_one_model():
    surface = fitted(INSIDE)
    few = replace(surface, account={**surface.account, "sites": surface.account["sites"][:3]})
    assert draws_of_surface(few, draws=7)[1].shape[0] == 7
    equal = [[*place, 5.0, 0.2] for place in PLACES.tolist()]
    same = replace(surface, account={**surface.account, "sites": equal})
    assert draws_of_surface(same, draws=7)[1].shape[0] == 7
