import tracemalloc

import numpy as np
import pytest
from scipy.spatial.distance import cdist

from plugin.core.grid import Grid
from plugin.core.interpolate import simulation
from plugin.core.interpolate.circulant_embedding import EmbeddedField
from plugin.core.interpolate.covariance import FAMILIES, CovarianceModel
from plugin.core.interpolate.kriging import krige, reading_covariance
from plugin.core.interpolate.simulation import nodes_needed, simulate
from plugin.core.interpolate.threads import THREADS
from plugin.core.interpolate.wave_field import WaveField
from plugin.core.problems import InputProblem, Stopped

GRID = Grid(1000.0, 2080.0, 10.0, 8, 8)
GENERATOR = np.random.default_rng(4)
PLACES = GENERATOR.uniform([990, 1990], [1090, 2090], (9, 2))  # some of them off the grid
VALUES, ERRORS = GENERATOR.normal(30, 2, 9), GENERATOR.uniform(0.05, 0.4, 9)
DRAWS = 1000
SHORT, LONG = 25.0, 500.0  # m; the field is 80 m wide


def model_of(family, range_m=60.0, nugget=0.2, **direction):
    return CovarianceModel(family, nugget, 2.0, range_m, **direction)


def drawn(model, readings=(PLACES, VALUES, ERRORS), grid=GRID, **options):
    return np.vstack(list(simulate(*readings, model, grid, **options)))


def posterior(model, readings=(PLACES, VALUES, ERRORS)):
    """Covariance of kriging's errors, by the textbook's system with the unknown mean."""
    inverse = np.linalg.inv(reading_covariance(readings[0], readings[2], model))
    places, cells = model.stretched(readings[0]), model.stretched(GRID.centres())
    across = model.covariance(cdist(places, cells))
    rest = 1 - inverse.sum(axis=0) @ across
    return (model.covariance(cdist(cells, cells)) + model.nugget * np.eye(len(cells))
            - across.T @ inverse @ across + np.outer(rest, rest) / inverse.sum())


MODELS = [model_of(family, range_m) for family in FAMILIES for range_m in (SHORT, LONG)] + [
    model_of("exponential", 60.0, heading_deg=30.0, ratio=0.4),
    model_of("matern_5_2", 60.0, heading_deg=120.0, ratio=0.5),
    CovarianceModel("spherical", 0.2, 2.0, SHORT, long_sill=1.2, long_range_m=LONG),
    CovarianceModel("gaussian", 0.2, 2.0, SHORT, long_sill=1.2, long_range_m=60.0),
    CovarianceModel("nugget", 1.5)]


@pytest.mark.parametrize("model", MODELS, ids=lambda model: f"{model.family} {model.range_m:g} m")
def test_mean_variance_and_covariance_of_draws_are_krigings(model):
    many = DRAWS // 4 if model == model_of("matern_3_2", LONG) else DRAWS  # it takes most waves
    found, expected = drawn(model, draws=many, seed=1), posterior(model)
    kriged = krige(PLACES, VALUES, ERRORS, model, GRID.centres())
    variance = np.diag(expected)
    assert kriged.variance == pytest.approx(variance, rel=1e-7)  # the two references agree
    # five standard errors of a mean and of a covariance, sqrt(2 v v / draws) at most
    assert (np.abs(found.mean(axis=0) - kriged.estimate) < 5 * np.sqrt(variance / many)).all()
    bound = 5 * np.sqrt(2 * np.outer(variance, variance) / many)
    assert (np.abs(np.cov(found.T) - expected) < bound).all()
    # of the field's mean and of its difference from west to east the bound is far narrower
    for weights in (np.full(64, 1 / 64), np.tile([1.0, 1, 1, 1, -1, -1, -1, -1], 8)):
        assert np.var(found @ weights) == pytest.approx(weights @ expected @ weights,
                                                        rel=5 * np.sqrt(2 / many))


class OneAtATime:
    """In the place of a generator: all numbers 0, but one."""

    def __init__(self, which):
        self.which, self.count = which, 0

    def standard_normal(self, shape):
        numbers = np.zeros(shape)
        if self.count <= self.which < self.count + numbers.size:
            numbers.ravel()[self.which - self.count] = 1.0
        self.count += numbers.size
        return numbers


def exact_covariance(field):
    """Covariance of nodes and places in a draw, from what each random number adds to it."""
    field.prepare()
    parts, numbers = [], 1
    while len(parts) < numbers:
        generator = OneAtATime(len(parts))
        nodes, places = field.pair(generator)
        parts.append(np.concatenate([nodes.real.ravel(), places.real]))
        numbers = generator.count
    return np.array(parts).T @ np.array(parts)


def contrasts(covariance):
    """The covariance with all that the level adds taken away."""
    return (covariance - covariance.mean(axis=0) - covariance.mean(axis=1)[:, None]
            + covariance.mean())


@pytest.mark.parametrize("field, model, allowed", [
    # the largest errors that EmbeddedField and WaveField state, as shares of the partial sill
    (EmbeddedField, model_of("spherical", 60.0), 4e-3),
    (EmbeddedField, model_of("spherical", 200.0), 5e-4),
    (EmbeddedField, model_of("spherical", 5000.0), 5e-4),
    (EmbeddedField, model_of("exponential", 200.0), 5e-4),
    (EmbeddedField, model_of("exponential", 200.0, heading_deg=30.0, ratio=0.6), 5e-4),
    (WaveField, model_of("gaussian", 40.0), 2e-5),   # ALLOWED, at most four times in a contrast
    (WaveField, model_of("gaussian", 500.0), 2e-5),
])
def test_fields_without_readings_have_the_covariance_of_the_model(field, model, allowed):
    grid = Grid(1000.0, 2050.0, 10.0, 4, 5)
    places = np.array([[1012.0, 2031.0], [1015.0, 2025.0], [1051.0, 2012.0], [1013.0, 2033.0]])
    everything = model.stretched(np.vstack([grid.centres(), places]))
    expected = contrasts(model.covariance(cdist(everything, everything)))
    found = contrasts(exact_covariance(field(model, grid, places)))
    assert np.abs(found - expected).max() < allowed * model.partial_sill
    nodes = slice(0, 20)  # among themselves nodes are exact, to the share of correlation cut off
    between = np.abs(contrasts(found[nodes, nodes]) - contrasts(expected[nodes, nodes])).max()
    assert between < min(allowed, 1e-5) * 4 * model.partial_sill


@pytest.mark.parametrize("family", FAMILIES)
def test_few_eigenvalues_are_negative(family):
    field = EmbeddedField(model_of(family, 40.0), GRID, PLACES)
    field.prepare()
    assert 0 <= field.cut < 1e-4  # below what a covariance may be off by between nodes


@pytest.mark.parametrize("family", FAMILIES)
def test_without_nugget_or_error_draws_pass_through_the_readings(family):
    cells = np.array([0, 13, 37, 63])
    readings = GRID.centres()[cells], np.array([28.0, 31.0, 30.0, 34.0]), np.zeros(4)
    found = drawn(model_of(family, nugget=0.0), readings, draws=6)
    # the root of a rest of 1e-15 is 3e-8; some more of several
    assert np.abs(found[:, cells] - readings[1]).max() < 1e-5
    assert found[:, 27].std() > 0.1  # elsewhere they vary


def test_one_reading_and_cells_far_from_it_are_drawn():
    readings = PLACES[:1], VALUES[:1], ERRORS[:1]
    model = model_of("spherical")
    found = drawn(model, readings, draws=DRAWS)
    kriged = krige(*readings, model, GRID.centres())
    assert found.var(axis=0) == pytest.approx(kriged.variance, rel=5 * np.sqrt(2 / DRAWS))


def test_a_reading_out_of_reach_tells_of_the_mean_alone_and_widens_nothing():
    model = model_of("spherical", 30.0)
    far = np.vstack([PLACES, [[900_000.0, 5_000_000.0]]])
    readings = far, np.append(VALUES, 90.0), np.append(ERRORS, 0.1)
    assert nodes_needed(far, model, GRID) == nodes_needed(PLACES, model, GRID)
    found, kriged = drawn(model, readings, draws=DRAWS), krige(*readings, model, GRID.centres())
    assert (np.abs(found.mean(axis=0) - kriged.estimate)
            < 5 * np.sqrt(kriged.variance / DRAWS)).all()


def test_without_the_nugget_only_the_structured_part_varies():
    model = model_of("spherical", nugget=1.5)
    smooth = drawn(model, draws=DRAWS, nugget=False)
    kriged = krige(PLACES, VALUES, ERRORS, model, GRID.centres())
    assert smooth.var(axis=0) == pytest.approx(kriged.variance - 1.5, rel=5 * np.sqrt(2 / DRAWS))


@pytest.mark.parametrize("model", [model_of("exponential"), model_of("gaussian"),
                                   CovarianceModel("nugget", 1.5)])
def test_the_same_seed_gives_the_same_draws_in_blocks_of_any_size(monkeypatch, model):
    whole, other = drawn(model, draws=7, seed=5), drawn(model, draws=7, seed=6)
    monkeypatch.setattr(simulation, "BLOCK_NUMBERS", 64 * 4)
    monkeypatch.setattr(simulation, "ACROSS_NUMBERS", 9 * 10)
    parts = list(simulate(PLACES, VALUES, ERRORS, model, GRID, draws=7, seed=5))
    assert [len(part) for part in parts] == [4, 3]
    assert np.vstack(parts) == pytest.approx(whole, abs=1e-10)  # sums in another order
    assert (np.abs(other - whole) > 1e-6).all()


def test_more_draws_begin_with_the_same_ones():
    assert drawn(model_of("spherical"), draws=5) == pytest.approx(
        drawn(model_of("spherical"), draws=9)[:5], abs=1e-10)


def test_chosen_cells_are_those_of_the_whole_grid():
    model, cells = CovarianceModel("spherical", 0.0, 2.0, 60.0), np.array([3, 40, 17])
    assert drawn(model, draws=4, cells=cells) == pytest.approx(drawn(model, draws=4)[:, cells],
                                                               abs=1e-10)


def test_no_cells_are_drawn_as_none():
    assert drawn(model_of("spherical"), draws=3, cells=[]).shape == (3, 0)


def test_a_moved_and_scaled_field_is_drawn_moved_and_scaled():
    # values twice as large about 100, places and range three times as far
    grid = Grid(3000.0, 6240.0, 30.0, 8, 8)
    found = drawn(CovarianceModel("exponential", 0.8, 8.0, 180.0),
                  (3 * PLACES, 100 + 2 * VALUES, 4 * ERRORS), grid, draws=4)
    assert found == pytest.approx(100 + 2 * drawn(model_of("exponential"), draws=4), abs=1e-7)


def test_stopping_ends_it_within_a_block(monkeypatch):
    monkeypatch.setattr(simulation, "PART_NODES", 1)  # as on a grid of many cells
    seen = []

    def tick(fraction):
        seen.append(fraction)
        if len(seen) == 3:
            raise Stopped

    with pytest.raises(Stopped):
        drawn(model_of("spherical"), draws=200, tick=tick)
    assert len(seen) == 3
    assert seen[-1] <= 6 / 200  # after the third pair of one block of 200


def test_progress_runs_to_one():
    seen = []
    drawn(model_of("spherical"), draws=30, tick=seen.append)
    assert seen == sorted(seen)
    assert seen[-1] == pytest.approx(1.0)


def test_memory_is_that_of_a_block_and_a_torus_whatever_the_draws(monkeypatch):
    grid = Grid(0.0, 600.0, 5.0, 120, 120)
    monkeypatch.setattr(simulation, "BLOCK_NUMBERS", 10 * 14_400)
    monkeypatch.setattr(simulation, "ACROSS_NUMBERS", 100_000)
    model = CovarianceModel("spherical", 0.2, 2.0, 50.0)
    places = PLACES - [900, 1900]
    tracemalloc.start()
    for block in simulate(places, VALUES, ERRORS, model, grid, draws=60):
        assert block.size <= 10 * 14_400
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    # one block given out and one being filled, each 1.2 MB, with their product of the last step;
    # 15 numbers for each node of the torus and 6 in each thread; the covariances held at once,
    # with their distances
    nodes = nodes_needed(places, model, grid)
    assert peak < 8 * (3 * 10 * 14_400 + (15 + 6 * THREADS) * nodes + 8 * THREADS * 100_000)
    assert peak < 8 * 60 * 14_400 * 1.5  # 60 draws at once, and what they need, are more


def test_too_large_a_torus_is_refused(monkeypatch):
    monkeypatch.setattr(simulation, "MOST_NODES", 100)
    with pytest.raises(InputProblem, match="8 by 8 cells of 10 m, takes .* nodes to simulate; at "
                                           "most 100 are used. Choose a larger cell"):
        drawn(model_of("spherical"))


def test_no_draws_are_refused():
    with pytest.raises(InputProblem, match="0 draws were asked for"):
        drawn(model_of("spherical"), draws=0)


def test_intervals_of_zone_means_cover_the_truth():
    # 60 fields drawn by Cholesky, five zones: 90 % intervals, of 100 draws each, hold the truth
    # in 85 to 95 % of cases (300 cases, at a standard error of 1.7 %)
    grid, model = Grid(0.0, 120.0, 10.0, 12, 12), CovarianceModel("spherical", 0.5, 3.0, 50.0)
    generator = np.random.default_rng(8)
    places, errors = generator.uniform(0, 120, (10, 2)), np.full(10, 0.3)
    both = np.vstack([places, grid.centres()])
    root = np.linalg.cholesky(reading_covariance(both, np.zeros(154), model))
    zones = np.zeros((5, 12, 12))
    zones[0, :6, :6] = zones[1, :6, 6:] = zones[2, 6:, :6] = zones[3, 9:, 9:] = 1
    zones[4] = 1
    weights = (zones / zones.sum(axis=(1, 2), keepdims=True)).reshape(5, 144).T
    within = []
    for seed in range(60):
        truth = 20 + root @ generator.standard_normal(154)
        values = truth[:10] + np.sqrt(errors) * generator.standard_normal(10)
        means = drawn(model, (places, values, errors), grid, draws=100, seed=seed) @ weights
        low, high = np.quantile(means, (0.05, 0.95), axis=0)
        within.append((low <= truth[10:] @ weights) & (truth[10:] @ weights <= high))
    assert 0.85 <= np.mean(within) <= 0.95
