import numpy as np
import pytest

from plugin.core.grid import Grid
from plugin.core.problems import InputProblem
from plugin.core.zone.statistics import zone_map_of
from plugin.core.zone.table import layer_figures

GRID = Grid(0.0, 20.0, 10.0, 2, 3)
INSIDE = np.array([[1.0, 1.0, 0.5], [1.0, 0.0, 0.25]])
LABELS = np.array([[1, 1, 1], [0, -1, 0]])
VALUES = np.array([[10.0, 20.0, 30.0], [2.0, np.nan, 12.0]])
ZONES = zone_map_of("stand", "plants/ac", GRID, INSIDE, LABELS, VALUES, ["low", "high"])


def test_figures_as_worked_by_hand():
    error = np.array([[3.0, 3.0, 3.0], [2.0, np.nan, 4.0]])
    found = layer_figures(ZONES, VALUES, standard_error=error,
                          sites_m=[[5, 15], [15, 5], [25, 1], [29, 19], [99, 5]])
    assert found.mean.tolist() == [4, 18]  # as in test_statistics
    assert found.deviation == pytest.approx([4, 56**0.5])
    # zone 0: (2**2 * 1 + 4**2 / 4) / 1.25 = 6.4
    assert found.error == pytest.approx([6.4**0.5, 3])
    # the reading at (15, 5) lies in the cell outside the field, (99, 5) beside the grid
    assert found.readings.tolist() == [1, 2]


def test_nine_plots_in_three_zones_explain_what_the_textbook_sum_gives():
    # within 3 x 50 = 150, in all 3950: 1 - 150 / 3950
    values = np.array([[150.0, 155, 160], [180, 185, 190], [200, 205, 210]])
    labels = np.repeat([[0], [1], [2]], 3, axis=1)
    zones = zone_map_of("yield", "bu/ac", Grid(0.0, 0.0, 1.0, 3, 3), np.ones((3, 3)), labels,
                        values, ["a", "b", "c"])
    assert layer_figures(zones, values).explained == pytest.approx(1 - 150 / 3950, rel=1e-12)
    assert layer_figures(zones, np.ones((3, 3))).explained == 0


def test_cells_without_a_value_do_not_count_and_what_is_not_known_is_not_told():
    found = layer_figures(ZONES, np.where(LABELS == 0, np.nan, VALUES))
    assert np.isnan(found.mean[0]) and found.mean[1] == 18
    assert found.error is None and found.readings is None


def test_values_on_another_grid_are_refused():
    with pytest.raises(InputProblem, match=r"\(3, 3\) came with zones on a grid of \(2, 3\)"):
        layer_figures(ZONES, np.ones((3, 3)))
