import numpy as np
import pytest

from plugin.core.grid import Grid
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.estimate import estimate_surface
from plugin.core.interpolate.field_mean import area_at_least, field_mean
from plugin.core.interpolate.kriging import reading_covariance
from plugin.core.interpolate.map_settings import MapSettings
from plugin.core.observations import Observations
from plugin.core.surface import Surface
from tests.core.interpolate.universal_kriging import errors_together

GRID = Grid(0, 100, 10, 10, 10)
INSIDE = np.ones((10, 10))
INSIDE[:, 0], INSIDE[0, 5:] = 0.5, 0.0
GENERATOR = np.random.default_rng(5)
PLACES, VALUES = GENERATOR.uniform(0, 100, (20, 2)), GENERATOR.normal(30, 2, 20)
ERRORS = np.full(20, 0.4)


@pytest.mark.parametrize("model", [CovarianceModel("spherical", 0.5, 3.0, 60.0),
                                   CovarianceModel("exponential", 0.5, 3.0, 60.0, 30.0, 0.4),
                                   CovarianceModel("gaussian", 0.5, 3.0, 500.0),
                                   CovarianceModel("nugget", 2.0)])
def test_the_error_of_the_mean_is_that_of_the_weighted_cells_together(model):
    made = estimate_surface(Observations.of("stand", "", PLACES, VALUES, error_variance=ERRORS),
                            GRID, INSIDE, model=model)
    mean, error = field_mean(made)
    weights = INSIDE[INSIDE > 0] / INSIDE.sum()
    assert mean == pytest.approx(weights @ made.estimate[INSIDE > 0], rel=1e-12)
    # var of w'(Z - Z*): w'Cw - (Aw)'B(Aw) + (1 - 1'B A w)2 / 1'B1, cells with their own nugget
    cells = GRID.centres()[INSIDE.ravel() > 0]
    inverse = np.linalg.inv(reading_covariance(PLACES, ERRORS, model))
    places, cells = model.stretched(PLACES), model.stretched(cells)
    across = model.covariance(np.linalg.norm(places[:, None] - cells, axis=-1)) @ weights
    between = model.covariance(np.linalg.norm(cells[:, None] - cells, axis=-1))
    variance = (weights @ between @ weights + model.nugget * weights @ weights
                - across @ inverse @ across
                + (1 - inverse.sum(axis=0) @ across) ** 2 / inverse.sum())
    assert error == pytest.approx(np.sqrt(variance), rel=1e-9)  # rounding


@pytest.mark.parametrize("model", [CovarianceModel("spherical", 0.5, 3.0, 60.0),
                                   CovarianceModel("nugget", 2.0)])
def test_the_error_of_the_mean_holds_what_the_readings_leave_open_of_a_drift(model):
    def waves(places):
        return np.sin(places[:, 0] / 15)

    def figures(places):
        return np.column_stack([places, waves(places)])

    values = VALUES + 3 * waves(PLACES) + PLACES @ (0.2, 0.0)
    made = estimate_surface(
        Observations.of("stand", "", PLACES, values, error_variance=ERRORS), GRID, INSIDE,
        model=model, settings=MapSettings(linear=True, covariates=("waves",), sampled=waves))
    mean, error = field_mean(made)
    weights, cells = INSIDE[INSIDE > 0] / INSIDE.sum(), GRID.centres()[INSIDE.ravel() > 0]
    assert mean == pytest.approx(weights @ made.estimate[INSIDE > 0], rel=1e-12)
    together = errors_together(model, PLACES, ERRORS, cells, (figures(PLACES), figures(cells)))
    together += model.nugget * np.eye(len(cells))
    assert error == pytest.approx(np.sqrt(weights @ together @ weights), rel=1e-8)


def test_the_mean_of_a_mean_has_the_error_of_the_mean():
    # 20 readings of variance 4, and 85 cells that vary by 4 themselves
    made = estimate_surface(Observations.of("stand", "", PLACES, VALUES), GRID, INSIDE,
                            model=CovarianceModel("nugget", 4.0))
    mean, error = field_mean(made)
    assert mean == pytest.approx(VALUES.mean(), rel=1e-12)
    shares = INSIDE / INSIDE.sum()
    assert error == pytest.approx(np.sqrt(4 / 20 + 4 * (shares**2).sum()), rel=1e-12)


def test_the_stated_error_of_the_mean_covers_the_truth():
    # 60 simulated fields with the model known: |mean - truth| within 1.645 errors in 90 % of
    # them; 4 standard deviations of such a share are 0.155.
    model = CovarianceModel("exponential", 0.1, 3.0, 30.0)
    cells = GRID.centres()
    generator = np.random.default_rng(6)
    root = np.linalg.cholesky(reading_covariance(np.vstack([PLACES, cells]), np.zeros(120), model))
    within = []
    for _ in range(60):
        truth = 30 + root @ generator.standard_normal(120)
        made = estimate_surface(Observations.of("stand", "", PLACES, truth[:20]), GRID,
                                np.ones((10, 10)), model=model)
        mean, error = field_mean(made)
        within.append(abs(mean - truth[20:].mean()) <= 1.645 * error)
    assert np.mean(within) == pytest.approx(0.9, abs=0.155)


def test_a_surface_without_its_readings_has_a_mean_without_an_error():
    made = Surface("yield", "bu/ac", GRID, INSIDE, np.full((10, 10), 5.0), np.ones((10, 10)), {})
    assert field_mean(made) == (5.0, None)


def test_the_area_at_or_above_a_level_counts_shares_of_cells():
    estimate = np.array([[1, 2, 3], [4, np.nan, 2]])
    made = Surface("x", "", Grid(0, 20, 10, 2, 3), np.array([[1, 0.5, 1], [0.25, 0, 1]]), estimate,
                   estimate, {})
    # 2, 3, 4 and 2: shares 0.5 + 1 + 0.25 + 1 of 100 m2
    assert area_at_least(made, 2) == pytest.approx(275)
    assert area_at_least(made, 9) == 0
