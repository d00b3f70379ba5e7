"""Cases of cancel_gaps.py that call core and the adapters."""
import math

import numpy as np
from gap_stamps import case

CRS = "EPSG:32615"
WEST, SOUTH = 500_000.0, 4_400_000.0


def side_of(cells, cell_m=1.0):
    """Side of a square field of so many cells, metres."""
    return math.sqrt(cells) * cell_m


def readings(count, side_m, *, seed=1, beyond=0, error=0.5):
    """Observations of a smooth field with noise; the `beyond` highest known only as limits."""
    from plugin.core.observations import ABOVE, Observations
    generator = np.random.default_rng(seed)
    places = np.array([WEST, SOUTH]) + generator.uniform(0.02, 0.98, (count, 2)) * side_m
    u, v = ((places - [WEST, SOUTH]) / side_m).T
    values = 20 + 4 * np.sin(5 * u) * np.cos(4 * v) + generator.normal(0, 0.8, count)
    censoring = np.zeros(count, int)
    if beyond:
        limit = np.sort(values)[-beyond]
        censoring[values >= limit] = ABOVE
        values = np.minimum(values, limit)
    return Observations.of("Stand", "in", places, values, error_variance=np.full(count, error**2),
                           censoring=censoring)


def grid_of(side_m, cell_m=1.0):
    """The grid over the field, and a mask of all of it."""
    from plugin.core.grid import Grid
    grid = Grid.covering(WEST, SOUTH, WEST + side_m, SOUTH + side_m, cell_m=cell_m)
    return grid, np.ones(grid.shape)


def surface_of(count, cells, tick=None, **settings):
    """A surface of readings on a square field."""
    from plugin.core.interpolate.estimate import estimate_surface
    from plugin.core.interpolate.map_settings import MapSettings
    side = side_of(cells)
    given = readings(count, side, beyond=settings.pop("beyond", 0)), *grid_of(side)
    if tick is not None:
        tick.begin()
    return estimate_surface(*given, settings=MapSettings(**settings), tick=tick)


def model():
    """A covariance model with a nugget."""
    from plugin.core.interpolate.covariance import CovarianceModel
    return CovarianceModel("exponential", 0.6, 12.0, 80.0)


# ---- cases ---

@case
def core_surface_250_readings_1M_cells(stamps):
    surface_of(250, 1_000_000, stamps)


@case
def core_surface_500_readings_250k_cells(stamps):
    surface_of(500, 250_000, stamps)


@case
def core_surface_100_of_200_censored_100k_cells(stamps):
    surface_of(200, 100_000, stamps, beyond=100)


@case
def core_surface_50000_readings_local_100k_cells(stamps):
    surface_of(50_000, 100_000, stamps)


@case
def core_surface_250_readings_10M_cells(stamps):
    surface_of(250, 9_990_000, stamps)


@case
def core_surface_2000_readings_local_10M_cells(stamps):
    surface_of(2000, 9_990_000, stamps)


@case
def core_surface_50_of_100_censored_10M_cells(stamps):
    surface_of(100, 9_990_000, stamps, beyond=50)


@case
def core_surface_9_readings_10M_cells(stamps):
    surface_of(9, 9_990_000, stamps)


@case
def core_block_kriging_250_readings_250k_cells(stamps):
    surface_of(250, 250_000, stamps, block_m=1.0)


@case
def core_anisotropic_250_readings_250k_cells(stamps):
    surface_of(250, 250_000, stamps, heading_deg=30.0)


@case
def core_linear_drift_250_readings_250k_cells(stamps):
    surface_of(250, 250_000, stamps, linear=True)


@case
def core_diagnostics_50000_readings(stamps):
    from plugin.core.interpolate.diagnostics import diagnostics
    given = readings(50_000, 1000)
    stamps.begin()
    diagnostics(given, model(), tick=stamps)


@case
def core_diagnostics_20000_readings(stamps):
    from plugin.core.interpolate.diagnostics import diagnostics
    given = readings(20_000, 1000)
    stamps.begin()
    diagnostics(given, model(), tick=stamps)


@case
def core_field_mean_600_readings_1M_cells(stamps):
    from plugin.core.interpolate.field_mean import field_mean
    surface = surface_of(600, 1_000_000)
    stamps.begin()
    field_mean(surface, tick=stamps)


@case
def core_draws_of_surface_250_readings_25k_cells(stamps):
    from plugin.core.interpolate.draws_of_surface import draws_of_surface
    surface = surface_of(250, 25_000)
    stamps.begin()
    draws_of_surface(surface, draws=400, tick=stamps)


@case
def core_draws_of_surface_600_readings_1M_cells(stamps):
    from plugin.core.interpolate.draws_of_surface import draws_of_surface
    surface = surface_of(600, 1_000_000)
    stamps.begin()
    draws_of_surface(surface, draws=400, tick=stamps)


@case
def core_next_stops_600_readings_1M_cells(stamps):
    from plugin.core.decide.linear_loss import LinearLoss
    from plugin.core.decide.next_stops import next_stops
    surface = surface_of(600, 1_000_000)
    stamps.begin()
    next_stops(surface, LinearLoss(20.0, 100.0, "ha"), count=5, tick=stamps)


@case
def core_zones_10M_cells(stamps):
    from plugin.core.zone.by_limits import zones_by_limits
    from plugin.core.zone.workable import WorkableShape
    surface = surface_of(9, 9_990_000)
    wave = np.add.outer(np.sin(np.arange(surface.grid.rows) / 90),
                        np.cos(np.arange(surface.grid.columns) / 70))
    surface.estimate[:] = wave + np.random.default_rng(1).normal(0, 0.05, wave.shape)
    stamps.begin()
    zones_by_limits(surface, [-0.5, 0.5], tick=stamps, shape=WorkableShape(
        machine_width_m=12 * surface.grid.cell_m, smallest_area_m2=2000.0))


@case
def core_surface_1M_readings_local_100k_cells(stamps):
    surface_of(1_000_000, 100_000, stamps)


@case
def core_moments_fit_5000_readings(stamps):
    from plugin.core.interpolate.covariance import FAMILIES
    from plugin.core.interpolate.moments_fit import fit_moments
    given = readings(5000, 1000)
    stamps.begin()
    fit_moments(given.positions_m, given.values, given.error_variance, families=tuple(FAMILIES),
                tick=stamps)


@case
def core_clean_yield_300k_records(stamps):
    from plugin.core.observe.yield_points import clean_yield
    given = readings(300_000, 1500)
    stamps.begin()
    clean_yield(given.positions_m, given.values, inside=np.ones(300_000, bool), tick=stamps)
