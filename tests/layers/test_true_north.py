"""Headings from true north: nothing on the middle of a zone, and the known sum beside it."""
import math

import pytest

from plugin.core.problems import InputProblem
from plugin.layers.true_north import grid_heading


def wkt(name):
    from osgeo import osr
    reference = osr.SpatialReference()
    reference.SetFromUserInput(name)
    return reference.ExportToWkt()


@pytest.mark.parametrize(("zone", "place"), [("EPSG:32615", (500_000, 4_400_000)),
                                             ("EPSG:32722", (500_000, 7_400_000))])
def test_on_the_middle_of_a_zone_grid_and_true_north_are_one(zone, place):
    assert grid_heading(37.0, place, wkt(zone)) == pytest.approx(37.0, abs=1e-6)


@pytest.mark.parametrize(("zone", "place", "longitude", "latitude"), [
    ("EPSG:32615", (671_000, 4_430_000), 2.0, 40.0), ("EPSG:32615", (329_000, 4_430_000), -2.0,
                                                      40.0),
    ("EPSG:32722", (704_000, 7_400_000), 2.0, -23.5)])
def test_beside_it_the_grid_leans_as_on_the_sphere(zone, place, longitude, latitude):
    # Convergence is about atan(tan(longitude from the middle) sin(latitude)): a heading from
    # true north, seen from grid north, is less by that.
    lean = math.degrees(math.atan(math.tan(math.radians(longitude))
                                  * math.sin(math.radians(latitude))))
    found = (grid_heading(90.0, place, wkt(zone)) - 90 + 180) % 360 - 180
    assert found == pytest.approx(-lean, abs=0.03)  # places are rounded to some kilometres


@pytest.mark.parametrize("heading", [0.0, 359.9, -720.0, 400.0])
def test_headings_come_back_between_0_and_360(heading):
    assert 0 <= grid_heading(heading, (671_000, 4_430_000), wkt("EPSG:32615")) < 360


def test_a_place_beyond_the_earth_is_refused():
    with pytest.raises(InputProblem, match="on earth"):
        grid_heading(0.0, (float("nan"), 1e30), wkt("EPSG:32615"))
