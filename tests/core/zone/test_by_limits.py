import numpy as np
import pytest

from plugin.core.grid import Grid
from plugin.core.problems import InputProblem
from plugin.core.surface import Surface
from plugin.core.zone.by_limits import zones_by_limits

OUTSIDE = -1


def surface(values):
    values = np.array(values, float)
    return Surface(name="stand", unit="plants/ac", grid=Grid(0.0, 0.0, 5.0, *values.shape),
                   inside=np.isfinite(values).astype(float), estimate=values,
                   standard_error=np.zeros(values.shape), account={})


def test_a_value_on_a_limit_belongs_to_the_class_above():
    found = zones_by_limits(surface([[19_999, 20_000, 26_000], [np.nan, 30_000, 12_000]]),
                            [20_000, 26_000])
    assert found.labels.tolist() == [[0, 1, 2], [OUTSIDE, 2, 0]]
    assert [zone.title for zone in found.zones] == [
        "below 20,000 plants/ac", "20,000 to 26,000 plants/ac", "26,000 plants/ac or more"]


def test_a_class_without_a_cell_makes_no_zone_and_parts_of_a_class_are_one():
    found = zones_by_limits(surface([[1, 9, 1]]), [2, 4.5], unit_text="cm")
    assert found.labels.tolist() == [[0, 1, 0]]
    assert [zone.title for zone in found.zones] == ["below 2 cm", "4.5 cm or more"]


@pytest.mark.parametrize(("limits", "message"), [
    ([], "at least one limit"), ([float("nan")], "each a number"),
    ([3, 2], "limit 2 follows 3; enter the limits from the lowest"), ([2, 2], "limit 2 follows 2")])
def test_limits_that_make_no_classes_are_refused(limits, message):
    with pytest.raises(InputProblem, match=message):
        zones_by_limits(surface([[1, 2]]), limits)
