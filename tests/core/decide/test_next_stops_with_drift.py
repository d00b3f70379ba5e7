"""Next stops of a surface whose mean follows a slope and a layer."""
import numpy as np
import pytest

from plugin.core.decide.linear_loss import LinearLoss, expected_shortfall
from plugin.core.decide.next_stops import next_stops
from plugin.core.grid import Grid
from plugin.core.interpolate.conditional_draws import conditional_draws
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.estimate import estimate_surface
from plugin.core.interpolate.kriging import krige
from plugin.core.interpolate.map_settings import MapSettings
from plugin.core.observations import Observations
from tests.core.interpolate.universal_kriging import errors_together

GRID = Grid.covering(0, 0, 120, 120, cell_m=10)
CELLS = GRID.centres()
GENERATOR = np.random.default_rng(7)
SITES = GENERATOR.uniform(0, 120, (14, 2)) * (0.6, 1)  # the east is far from all of them
ERROR = 1.5
ERRORS = np.full(14, ERROR**2)
CHOICE = LinearLoss(101.0, 30.0, "ha")
MODELS = [CovarianceModel("exponential", 2.0, 25.0, 40.0), CovarianceModel("nugget", 25.0)]


def waves(places):
    return np.sin(np.asarray(places)[:, 1] / 20)


def figures(places):
    return np.column_stack([places, waves(places)])


VALUES = 100 + SITES @ (0.1, 0) + 4 * waves(SITES) + GENERATOR.normal(0, 5, 14)


def surface_of(model):
    readings = Observations.of("Stand", "kplants/ac", SITES, VALUES, error_variance=ERRORS)
    return estimate_surface(readings, GRID, np.ones(GRID.shape), model=model, settings=MapSettings(
        linear=True, covariates=("waves",), sampled=waves))


def worth_of_all(model, surface, readings_m):
    """Worth of readings together, by how far dense universal kriging with them is less unsure."""
    def variance(sites):
        return np.diag(errors_together(model, sites, np.full(len(sites), ERROR**2), CELLS,
                                       (figures(sites), figures(CELLS))))
    moved = np.maximum(variance(SITES) - variance(np.vstack([SITES, readings_m])), 0)
    gap = surface.estimate.ravel() - CHOICE.limit
    return CHOICE.loss * 0.01 * expected_shortfall(gap, np.sqrt(moved)).sum()  # cells of 0.01 ha


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.family)
def test_stops_are_worth_what_kriging_again_with_the_drift_and_their_readings_tells(model):
    surface = surface_of(model)
    found = next_stops(surface, CHOICE, count=4, spacing_m=0)
    assert len(found) == 4 and not found.alike
    for number in range(1, 5):
        together = worth_of_all(model, surface, found.positions_m[:number])
        assert found.value[:number].sum() == pytest.approx(together, rel=1e-7)  # rounding
    inner = [place for place in CELLS if (place > 10).all() and (place < 110).all()]
    assert found.value[0] == pytest.approx(
        max(worth_of_all(model, surface, place[None]) for place in inner), rel=1e-7)


def test_the_value_of_stops_is_the_mean_saving_of_simulated_readings():
    model = MODELS[0]
    surface = surface_of(model)
    found = next_stops(surface, CHOICE, count=2)
    draws = conditional_draws(SITES, VALUES, ERRORS, model, found.positions_m, draws=20_000, seed=1,
                              drift=(figures(SITES), figures(found.positions_m)))
    read = draws + ERROR * np.random.default_rng(2).standard_normal(draws.shape)
    sites = np.vstack([SITES, found.positions_m])
    after = krige(sites, np.vstack([np.tile(VALUES[:, None], 20_000), read.T]),
                  np.full(16, ERROR**2), model, CELLS, drift=(figures(sites), figures(CELLS)))
    gain = CHOICE.loss * 0.01 * (after.estimate - CHOICE.limit)
    now = surface.estimate.ravel()[:, None] > CHOICE.limit
    saved = (np.maximum(gain, 0) - np.where(now, gain, 0)).sum(axis=0)
    # 4 standard errors of the simulated mean: fails by chance once in 16,000
    assert found.value.sum() == pytest.approx(saved.mean(), abs=4 * saved.std() / np.sqrt(20_000))


def test_without_structure_stops_go_where_the_slope_is_told_best_not_where_room_is():
    # of a plain mean every place tells the same; of a slope the ends tell most
    found = next_stops(surface_of(MODELS[1]), CHOICE, count=1)
    assert found.positions_m[0, 0] == 105.0  # the easternmost column with all its neighbours
