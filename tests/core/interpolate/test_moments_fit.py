import numpy as np
import pytest
from scipy.spatial.distance import cdist

from plugin.core.grid import Grid
from plugin.core.interpolate import estimate
from plugin.core.interpolate.covariance import CANDIDATES, NUGGET, CovarianceModel
from plugin.core.interpolate.estimate import estimate_surface
from plugin.core.interpolate.kriging import krige
from plugin.core.interpolate.moments_fit import fit_moments
from plugin.core.interpolate.variogram import experimental_variogram
from plugin.core.interpolate.variogram_fit import fit_variogram
from plugin.core.observations import Observations

NESTED = CovarianceModel("exponential", 0.5, 8.0, 8.0, long_sill=4.0, long_range_m=150.0)


def readings(model=NESTED, count=900, seed=4):
    generator = np.random.default_rng(seed)
    where = generator.uniform(0, 600, (count, 2))
    matrix = model.covariance(cdist(where, where)) + (model.nugget + 1e-9) * np.eye(count)
    values = 20 + np.linalg.cholesky(matrix) @ generator.standard_normal(count)
    return where, values + 0.7 * generator.standard_normal(count), np.full(count, 0.49)


def test_two_ranges_are_preferred_where_there_are_two():
    fits = fit_moments(*readings(), families=CANDIDATES)
    assert [fit.aicc for fit in fits] == sorted(fit.aicc for fit in fits)
    best = fits[0].model
    assert best.nested
    # 8 and 150 m; one field shows the longer range to a factor of some 3
    assert best.effective_range_m > 4 * best.range_m
    assert {fit.model.nested for fit in fits} == {False, True}
    assert {fit.log_likelihood for fit in fits} == {None}


def test_aicc_is_worked_by_hand():
    # 20 bins: 20 ln(sse / 20) + 2 p + 2 p (p + 1) / (19 - p), p = 1
    where, values, errors = readings(count=500)
    only, = fit_moments(where, values, errors, families=(NUGGET,))
    fit = fit_variogram(experimental_variogram(
        where, values, cutoff_m=0.5 * np.ptp(where, axis=0).max(), bins=20,
        error_variance=errors), NUGGET)
    assert only.model == fit.model
    assert only.aicc == pytest.approx(20 * np.log(fit.weighted_sse / 20) + 2 + 4 / 18, rel=1e-12)


def test_of_very_many_readings_some_are_paired(monkeypatch):
    where, values, errors = readings(count=700)
    grid = Grid.covering(0, 0, 600, 600, cell_m=50)
    every = Observations.of("yield", "t/ha", where, values, error_variance=errors)
    models = []
    for most in (700, 600):
        monkeypatch.setattr(estimate, "PAIRED_MOST", most)
        made = estimate_surface(every, grid, np.ones(grid.shape), seed=3)
        models.append(CovarianceModel(**made.account["model"]))
    assert models[0] == fit_moments(where, values, errors, families=CANDIDATES)[0].model
    assert models[1] != models[0]


def test_readings_in_two_tight_clusters_make_no_candidate():
    where, values, errors = readings(count=60)
    where = where / 600 + np.repeat([[0, 0], [500, 0]], 30, axis=0)
    assert fit_moments(where, values, errors, families=CANDIDATES) == []


def test_a_surface_of_many_readings_has_the_nested_model_and_keeps_the_comparison():
    where, values, errors = readings()
    grid = Grid.covering(0, 0, 600, 600, cell_m=50)
    made = estimate_surface(Observations.of("yield", "t/ha", where, values, error_variance=errors),
                            grid, np.ones(grid.shape))
    best = fit_moments(where, values, errors, families=CANDIDATES)[0].model
    assert CovarianceModel(**made.account["model"]) == best
    assert made.account["fitted_by"] == "the variogram"
    assert {one["family"] for one in made.account["candidates"]} == set(CANDIDATES)
    assert any("long_range_m" in one for one in made.account["candidates"])
    kriged = krige(where, values, errors, best, grid.centres())
    assert made.estimate.ravel() == pytest.approx(kriged.estimate, rel=1e-12)
