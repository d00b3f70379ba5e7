"""Next stops of a surface whose error is that of whole cells."""
import numpy as np
import pytest

from plugin.core.decide.linear_loss import LinearLoss
from plugin.core.decide.next_stops import next_stops
from plugin.core.grid import Grid
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.estimate import estimate_surface
from plugin.core.interpolate.map_settings import MapSettings
from plugin.core.observations import Observations


@pytest.mark.parametrize("model", [CovarianceModel("exponential", 2.0, 25.0, 40.0),
                                   CovarianceModel("nugget", 25.0)], ids=str)
def test_the_nugget_is_not_taken_twice_off_the_error_of_cells(model):
    # the mean of a square of 1 mm is the value of its ground, the nugget averaged out: what a stop
    # is decided on of a surface of readings too
    generator = np.random.default_rng(7)
    readings = Observations.of("Stand", "kplants/ac", generator.uniform(0, 120, (12, 2)),
                               100 + generator.normal(0, 5, 12))
    grid = Grid.covering(0, 0, 120, 120, cell_m=10)
    choice = LinearLoss(101.0, 30.0, "ha")
    found = [next_stops(estimate_surface(readings, grid, np.ones(grid.shape), model=model,
                                         settings=settings), choice, count=3, reading_error=1.0)
             for settings in (MapSettings(), MapSettings(block_m=1e-3))]
    assert found[1].positions_m.tolist() == found[0].positions_m.tolist()
    # covariances within 1 mm differ from those at a point by 1e-3 / 40 of them
    assert found[1].value == pytest.approx(found[0].value, rel=1e-3)
