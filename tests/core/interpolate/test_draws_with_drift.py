"""Draws about a drift: their mean, their variance and how they go together, in exact figures."""
import numpy as np
import pytest

from plugin.core.grid import Grid
from plugin.core.interpolate.conditional_draws import conditional_draws
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.kriging import krige
from plugin.core.interpolate.simulation import simulate
from plugin.core.problems import InputProblem
from tests.core.interpolate.universal_kriging import errors_together, weights_of

GRID = Grid(500_000.0, 4_400_080.0, 10.0, 8, 8)  # as far from 0 as UTM is
CORNER = np.array([GRID.west_m, GRID.north_m - 80])
GENERATOR = np.random.default_rng(11)
SITES = CORNER + GENERATOR.uniform(-10, 90, (14, 2))
VALUES = 30 + (SITES - CORNER) @ (0.2, -0.1) + GENERATOR.normal(0, 1.5, 14)
ERRORS = GENERATOR.uniform(0.05, 0.4, 14)
CELLS = GRID.centres()
MODELS = [CovarianceModel("spherical", 0.2, 2.0, 60.0), CovarianceModel("gaussian", 0.1, 2.0, 30.0),
          CovarianceModel("exponential", 0.2, 2.0, 60.0, heading_deg=30.0, ratio=0.4),
          CovarianceModel("nugget", 1.5)]


def layer(places):
    """Another layer that the mean may follow."""
    return 5 * np.sin((np.asarray(places)[:, 0] - CORNER[0]) / 15)


def slope(places):
    """Metres east and north of a corner: no other plane, and dense algebra keeps its digits."""
    return np.asarray(places) - CORNER


DRIFTS = {"slope": slope, "layer": lambda places: layer(places)[:, None],
          "slope and layer": lambda places: np.column_stack([slope(places), layer(places)])}
WITH_DRIFT = pytest.mark.parametrize("figures", DRIFTS.values(), ids=DRIFTS)
WITH_MODEL = pytest.mark.parametrize("model", MODELS, ids=lambda model: model.family)


class Units:
    """In the place of a generator: of all its numbers draw i has the i-th 1 and the others 0."""

    def __init__(self):
        self.count = 0

    def standard_normal(self, shape):
        draws, numbers = shape
        found = np.eye(draws, numbers, -self.count)
        self.count += numbers
        return found


@WITH_MODEL
@WITH_DRIFT
def test_draws_have_the_mean_and_the_joint_covariance_of_universal_kriging(
        monkeypatch, model, figures):
    # a draw is the estimate and a root of the covariance times random numbers: with one of them 1
    # and the others 0 in each draw, the root is seen, and no draws need be counted
    drift = figures(SITES), figures(CELLS)
    monkeypatch.setattr("numpy.random.default_rng", lambda seed: Units())
    numbers = 64 + 64 + 4  # at most: the drift, the structure or the nugget of 64 cells
    drawn = conditional_draws(SITES, VALUES, ERRORS, model, CELLS, drift=drift, draws=numbers + 1)
    estimate = VALUES @ weights_of(model, SITES, ERRORS, CELLS, drift)
    assert drawn[-1] == pytest.approx(estimate, rel=1e-9)  # all numbers 0
    root = drawn[:-1] - drawn[-1]
    expected = errors_together(model, SITES, ERRORS, CELLS, drift) + model.nugget * np.eye(64)
    assert root.T @ root == pytest.approx(expected, abs=1e-8 * model.sill)
    kriged = krige(SITES, VALUES, ERRORS, model, CELLS, drift=drift)
    assert (root**2).sum(axis=0) == pytest.approx(kriged.variance, rel=1e-8)


@WITH_MODEL
@WITH_DRIFT
def test_simulated_fields_vary_as_universal_kriging_says(model, figures):
    drift, many = (figures(SITES), figures(CELLS)), 1000
    found = np.vstack(list(simulate(SITES, VALUES, ERRORS, model, GRID, drift=drift, draws=many,
                                    seed=5)))
    expected = errors_together(model, SITES, ERRORS, CELLS, drift) + model.nugget * np.eye(64)
    estimate, variance = VALUES @ weights_of(model, SITES, ERRORS, CELLS, drift), np.diag(expected)
    # five standard errors of a mean and of a covariance, sqrt(2 v v / draws) at most
    assert (np.abs(found.mean(axis=0) - estimate) < 5 * np.sqrt(variance / many)).all()
    bound = 5 * np.sqrt(2 * np.outer(variance, variance) / many)
    assert (np.abs(np.cov(found.T) - expected) < bound).all()
    # a total hangs on the drift most: its variance is that of the weighted sum, to 5 of its errors
    for weights in (np.full(64, 1 / 64), np.tile([1.0, 1, 1, 1, -1, -1, -1, -1], 8)):
        assert np.var(found @ weights) == pytest.approx(weights @ expected @ weights,
                                                        rel=5 * np.sqrt(2 / many))


@WITH_MODEL
def test_readings_moved_by_the_drift_move_every_draw_by_it(model):
    # whatever multiple of the drift is in the readings is in the draws: 7 + 0.3 east - 2 layer
    figures = DRIFTS["slope and layer"]
    moved = VALUES + 7 + figures(SITES) @ (0.3, 0, -2)
    drift = figures(SITES), figures(CELLS)
    one, other = (np.vstack(list(simulate(SITES, values, ERRORS, model, GRID, drift=drift,
                                          draws=4))) for values in (VALUES, moved))
    assert other - one == pytest.approx(np.tile(7 + figures(CELLS) @ (0.3, 0, -2), (4, 1)),
                                        rel=1e-9)


def test_without_nugget_or_error_draws_pass_through_the_readings_whatever_the_drift():
    exact = CovarianceModel("exponential", 0.0, 2.0, 60.0)
    picked = np.arange(0, 64, 6)
    values = 20 + slope(CELLS[picked]) @ (0.2, 0.1) + np.sin(picked)
    drift = slope(CELLS[picked]), slope(CELLS)
    fields = np.vstack(list(simulate(CELLS[picked], values, np.zeros(11), exact, GRID, drift=drift,
                                     draws=6)))
    # the nodes around leave open what is 1e-16 of the sill: its root is 1e-8
    assert np.abs(fields[:, picked] - values).max() < 1e-6


def test_drift_that_is_missing_or_that_readings_cannot_show_is_refused():
    lacking = slope(CELLS)
    lacking[3] = np.nan
    with pytest.raises(InputProblem, match="Drift is missing at 1 of 64 targets"):
        conditional_draws(SITES, VALUES, ERRORS, MODELS[0], CELLS, drift=(slope(SITES), lacking))
    same = np.column_stack([slope(SITES)[:, 0]] * 2), np.column_stack([slope(CELLS)[:, 0]] * 2)
    for model in MODELS:
        with pytest.raises(InputProblem, match="say the same at the readings"):
            next(simulate(SITES, VALUES, ERRORS, model, GRID, drift=same))


def test_readings_without_error_or_structure_leave_nothing_open_of_the_slope_they_lie_on():
    plane, flat = 20 + slope(SITES) @ (0.2, -0.1), CovarianceModel("nugget", 0.0)
    drift = slope(SITES), slope(CELLS)
    expected = np.tile(20 + slope(CELLS) @ (0.2, -0.1), (3, 1))
    for drawn in (conditional_draws(SITES, plane, 0 * ERRORS, flat, CELLS, drift=drift, draws=3),
                  *simulate(SITES, plane, 0 * ERRORS, flat, GRID, drift=drift, draws=3)):
        assert drawn == pytest.approx(expected, rel=1e-9)
