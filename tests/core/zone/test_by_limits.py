import numpy as np
import pytest

from plugin.core.grid import Grid
from plugin.core.problems import InputProblem
from plugin.core.surface import Surface
from plugin.core.zone.by_limits import zones_by_limits
from plugin.core.zone.workable import WorkableShape

OUTSIDE = -1


def surface(values, error=0.0):
    values = np.array(values, float)
    return Surface(name="stand", unit="plants/ac", grid=Grid(0.0, 0.0, 5.0, *values.shape),
                   inside=np.isfinite(values).astype(float), estimate=values,
                   standard_error=np.full(values.shape, error), account={})


def test_a_value_on_a_limit_belongs_to_the_class_above():
    found = zones_by_limits(surface([[19_999, 20_000, 26_000], [np.nan, 30_000, 12_000]]),
                            [20_000, 26_000]).zone_map
    assert found.labels.tolist() == [[0, 1, 2], [OUTSIDE, 2, 0]]
    assert [zone.title for zone in found.zones] == [
        "below 20,000 plants/ac", "20,000 to 26,000 plants/ac", "26,000 plants/ac or more"]


def test_a_class_without_a_cell_makes_no_zone_and_parts_of_a_class_are_one():
    found = zones_by_limits(surface([[1, 9, 1]]), [2, 4.5], unit_text="cm").zone_map
    assert found.labels.tolist() == [[0, 1, 0]]
    assert [zone.title for zone in found.zones] == ["below 2 cm", "4.5 cm or more"]


@pytest.mark.parametrize(("limits", "message"), [
    ([], "at least one limit"), ([float("nan")], "each a number"),
    ([3, 2], "limit 2 follows 3; enter the limits from the lowest"), ([2, 2], "limit 2 follows 2")])
def test_limits_that_make_no_classes_are_refused(limits, message):
    with pytest.raises(InputProblem, match=message):
        zones_by_limits(surface([[1, 2]]), limits)


def test_doubt_is_the_chance_to_lie_beyond_the_nearer_limit():
    found = zones_by_limits(surface([[1, 9, 10, 15, 21]], error=2.0), [10, 20])
    # distances to the likelier limit in standard errors: 4.5, 0.5, 0, 2.5 both ways, 0.5
    assert found.doubt(surface([[1, 9, 10, 15, 21]], error=2.0))[0] == pytest.approx(
        [3.4e-6, 0.308538, 0.5, 0.006210, 0.308538], rel=1e-3)  # tables of the normal


def test_without_an_error_only_what_was_taken_over_is_in_doubt():
    values = surface([[1, 1, 9, 1, 1]])
    found = zones_by_limits(values, [5], shape=WorkableShape(smallest_area_m2=50.0))
    assert found.zone_map.labels.tolist() == [[0, 0, 0, 0, 0]]
    assert found.doubt(values).tolist() == [[0, 0, 1, 0, 0]]


def test_a_headland_is_a_zone_of_its_own_without_limits_and_empty_classes_shift_nothing():
    values = surface(np.where(np.arange(9) < 5, 1.0, 9.0) * np.ones((7, 1)), error=100.0)
    found = zones_by_limits(values, [2, 5, 50], shape=WorkableShape(headland_m=7.0))
    titles = {zone.title: zone.label for zone in found.zone_map.zones}
    assert set(titles) == {"below 2 plants/ac", "5 to 50 plants/ac", "headland"}
    assert found.zone_map.labels[0].tolist() == [titles["headland"]] * 9
    assert found.low[titles["headland"]] == -np.inf and found.high[titles["headland"]] == np.inf
    assert found.high[titles["5 to 50 plants/ac"]] == 50
    assert found.doubt(values)[0, 0] == 0


def test_titles_show_computed_limits_with_fewer_digits():
    found = zones_by_limits(surface([[1, 2]]), [1.23456789], digits=4)
    assert [zone.title for zone in found.zone_map.zones] == [
        "below 1.235 plants/ac", "1.235 plants/ac or more"]
