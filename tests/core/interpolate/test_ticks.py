"""Between two ticks lies a bounded piece of work, and a tick that raises ends the work."""
import numpy as np
import pytest

from plugin.core.grid import Grid
from plugin.core.interpolate import correlation, variogram
from plugin.core.interpolate import leave_one_out as leaving
from plugin.core.interpolate.averaged_model import RANGES, SHARES, averaged_model
from plugin.core.interpolate.censored import BETWEEN, WARM_UP, draw_censored
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.diagnostics import diagnostics
from plugin.core.interpolate.estimate import REFITS, estimate_surface
from plugin.core.interpolate.reml import STARTS, fit_reml
from plugin.core.observations import ABOVE, Observations
from plugin.core.problems import Stopped

MODEL = CovarianceModel("exponential", 0.5, 2.0, 30.0)
GENERATOR = np.random.default_rng(4)
PLACES = GENERATOR.uniform(0, 100, (24, 2))
VALUES = 20 + np.sin(PLACES[:, 0] / 20) * 3 + GENERATOR.normal(0, 0.5, 24)
ERRORS = GENERATOR.uniform(0.1, 0.4, 24)
LIMITS = np.where(np.arange(24) % 3 == 0, ABOVE, 0)
SEEN = Observations.of("stand", "in", PLACES, VALUES, error_variance=ERRORS, censoring=LIMITS)
GRID = Grid(0.0, 100.0, 10.0, 10, 10)
ROADS = {
    "fit": (lambda tick: fit_reml(PLACES, VALUES, ERRORS, tick=tick), 2 * len(STARTS) * 4),
    "average": (lambda tick: averaged_model(PLACES, VALUES, ERRORS, MODEL, tick=tick),
                RANGES * SHARES),
    "draws of limits": (lambda tick: draw_censored(PLACES, VALUES, ERRORS, LIMITS, MODEL, draws=5,
                                                   tick=tick), WARM_UP + 4 * BETWEEN),
    "a surface with limits": (lambda tick: estimate_surface(SEEN, GRID, np.ones((10, 10)),
                                                            tick=tick),
                              REFITS * (RANGES * SHARES + BETWEEN)),
    "diagnostics": (lambda tick: diagnostics(SEEN, MODEL, tick=tick), 2),
    "leave one out": (lambda tick: leaving.leave_one_out(PLACES, VALUES, ERRORS, MODEL, tick=tick),
                      24 // 5),
    "snapped variogram": (lambda tick: variogram.snapped_variogram(PLACES, VALUES, tick=tick),
                          5 * 20)}


@pytest.fixture(autouse=True)
def small_pieces(monkeypatch):
    monkeypatch.setattr(leaving, "COLUMNS", 5)
    monkeypatch.setattr(correlation, "STRIP_NUMBERS", 10_000)


@pytest.mark.parametrize("road,least", ROADS.values(), ids=ROADS)
def test_every_piece_of_work_ticks_in_order(road, least):
    told = []
    road(told.append)
    assert len(told) >= least
    assert told == sorted(told) and 0 <= told[0] and told[-1] <= 1 + 1e-12


@pytest.mark.parametrize("road,least", ROADS.values(), ids=ROADS)
def test_a_tick_that_raises_ends_the_work_wherever_it_comes(road, least):
    for last in (0, least // 2, least - 1):
        left = [last]

        def tick(_fraction, left=left):
            if left[0] == 0:
                raise Stopped
            left[0] -= 1

        with pytest.raises(Stopped):
            road(tick)
        assert left == [0]  # and none came after it
