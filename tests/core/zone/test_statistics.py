import numpy as np
import pytest

from plugin.core.grid import Grid
from plugin.core.problems import InputProblem
from plugin.core.zone.statistics import zone_map_of

OUTSIDE = -1
GRID = Grid(0.0, 20.0, 10.0, 2, 3)
INSIDE = np.array([[1.0, 1.0, 0.5], [1.0, 0.0, 0.25]])
LABELS = np.array([[9, 9, 9], [4, OUTSIDE, 4]])
VALUES = np.array([[10.0, 20.0, 30.0], [2.0, np.nan, 12.0]])


def zone_map(**changed):
    given = {"inside": INSIDE, "labels": LABELS, "values": VALUES,
             "titles": {4: "low", 9: "high"}, **changed}
    return zone_map_of("stand", "plants/ac", GRID, given["inside"], given["labels"],
                       given["values"], given["titles"])


def test_cells_weigh_by_their_share_inside_as_worked_by_hand():
    low, high = zone_map().zones
    # 4: shares 1 and 1/4; mean (2 + 3) / 1.25 = 4; squares (4 + 16) / 1.25 = 16, of which 4 is
    # the root; area 1.25 cells of 100 m2.
    assert (low.title, low.area_m2, low.mean, low.standard_deviation) == ("low", 125, 4, 4)
    # 9: shares 1, 1 and 1/2; mean (10 + 20 + 15) / 2.5 = 18; squares (64 + 4 + 72) / 2.5 = 56
    assert (high.title, high.area_m2, high.mean) == ("high", 250, 18)
    assert high.standard_deviation == pytest.approx(56**0.5)


def test_zones_are_numbered_by_their_mean_and_the_outside_stays_outside():
    assert zone_map().labels.tolist() == [[1, 1, 1], [0, OUTSIDE, 0]]
    assert [zone.label for zone in zone_map().zones] == [0, 1]
    turned = zone_map(values=-VALUES)
    assert turned.labels.tolist() == [[0, 0, 0], [1, OUTSIDE, 1]]


def test_zones_of_equal_mean_keep_the_order_of_their_labels():
    assert [zone.title for zone in zone_map(values=np.ones((2, 3))).zones] == ["low", "high"]


def test_areas_of_the_zones_sum_to_the_field():
    assert sum(zone.area_m2 for zone in zone_map().zones) == INSIDE.sum() * 100


@pytest.mark.parametrize(("changed", "message"), [
    ({"inside": np.zeros((2, 3))}, "no cell of the grid lies inside the field"),
    ({"labels": np.where(LABELS == 4, OUTSIDE, LABELS)}, "2 of 5 cells inside .* no zone"),
    ({"values": np.full((2, 3), np.nan)}, "5 of 5 cells inside the field have no zone or no value"),
    ({"values": np.ones((3, 2))}, r"values of shape \(3, 2\) came with a grid of \(2, 3\)")])
def test_what_gives_no_zones_is_refused(changed, message):
    with pytest.raises(InputProblem, match=message):
        zone_map(**changed)
