import numpy as np
import pytest

from plugin.core.grid import Grid
from plugin.core.interpolate.drift import Drift, drift_of_settings, require_shown
from plugin.core.interpolate.map_settings import MapSettings
from plugin.core.observations import Observations
from plugin.core.problems import InputProblem, Stopped

GRID = Grid(0.0, 40.0, 10.0, 4, 3)
INSIDE = np.ones((4, 3))
INSIDE[0] = 0.0
READINGS = Observations.of("stand", "", [[5.0, 5], [25, 12], [11, 28]], [1.0, 2, 4])


def squares(positions):
    return np.asarray(positions)[:, 0] ** 2


def sampled(settings, tick=lambda part: None):
    return drift_of_settings(settings, READINGS, GRID, INSIDE, tick)


def test_a_slope_is_the_places_themselves_and_holds_no_layer():
    drift = sampled(MapSettings(linear=True))
    assert drift.layers is None
    assert drift.at_readings.tolist() == [[5, 5], [25, 12], [11, 28]]
    assert drift.in_cells([0, 5, 11]).tolist() == [[5, 35], [25, 25], [25, 5]]


def test_layers_are_held_in_the_cells_of_the_field_beside_a_slope():
    drift = sampled(MapSettings(linear=True, covariates=("a", "b"), sampled=lambda places: (
        np.column_stack([squares(places), 1 - squares(places)]))))
    assert drift.at_readings.tolist() == [[5, 5, 25, -24], [25, 12, 625, -624],
                                          [11, 28, 121, -120]]
    assert drift.in_cells([4]).tolist() == [[15, 25, 225, -224]]
    assert np.isnan(drift.layers[:, 0]).all()  # outside the field nothing is asked for
    assert drift.layers[0, 1:].tolist() == [[25, 225, 625]] * 3
    at_readings, in_cells = drift.toward([3, 4])
    assert at_readings is drift.at_readings and in_cells.tolist() == drift.in_cells([3, 4]).tolist()


def test_a_constant_mean_has_no_drift():
    assert sampled(MapSettings()) is None


@pytest.mark.parametrize(("hole", "words"), [
    # the readings at 5 and 11 east; of 9 cells in the field the western 3
    (12.0, "b has no figure at 2 of the 3 places of stand. Take a raster that covers"),
    (None, "b has no figure at 3 of the 9 cells of the field. Take a raster that covers")])
def test_a_layer_that_lacks_figures_is_refused_by_name(hole, words):
    def holed(places):
        found = squares(places)
        lacking = (places[:, 0] < hole if hole
                   else (places[:, 0] == 5) & (len(places) > len(READINGS)))
        return np.column_stack([found, np.where(lacking, np.nan, found)])

    with pytest.raises(InputProblem, match=words):
        sampled(MapSettings(covariates=("a", "b"), sampled=holed))


def test_it_can_be_stopped_between_blocks_of_cells():
    def stop(part):
        raise Stopped

    with pytest.raises(Stopped):
        sampled(MapSettings(covariates=("a",), sampled=squares), tick=stop)


@pytest.mark.parametrize(("figures", "words"), [
    ([[1.0, 7], [2, 7], [4, 7], [3, 7]], r"b is the same \(7\) at all 4 places with readings"),
    ([[1.0, 2], [2, 4], [4, 8], [3, 6]], "say the same at the readings")])
def test_what_the_readings_cannot_show_is_refused(figures, words):
    with pytest.raises(InputProblem, match=words):
        require_shown(Drift(GRID, False, np.array(figures), np.zeros((2, 4, 3))), ("a", "b"))
