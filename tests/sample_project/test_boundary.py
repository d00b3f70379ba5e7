"""The outline of the sample field."""
import numpy as np
import pytest
from osgeo import ogr

from plugin.core.units import convert
from sample_project import boundary


def test_the_field_holds_33_to_37_hectares_and_ogr_measures_the_same():
    polygon = ogr.CreateGeometryFromWkb(boundary.boundary_wkb())
    assert 33.0 <= convert(polygon.Area(), "m2", "ha") <= 37.0
    # Corners are rounded to 0.01 m; 2.5 km of edge moved by 0.005 m is 12 m2.
    assert polygon.Area() == pytest.approx(boundary.area_m2(), abs=12.0)


def test_the_outline_is_one_valid_polygon_with_one_hole():
    polygon = ogr.CreateGeometryFromWkb(boundary.boundary_wkb())
    assert polygon.IsValid()
    assert polygon.GetGeometryName() == "POLYGON"
    assert polygon.GetGeometryCount() == 2


def test_the_outline_is_concave():
    polygon = ogr.CreateGeometryFromWkb(boundary.boundary_wkb())
    # The waterway, the notch and the bowed west edge together leave well over 1 ha outside.
    assert polygon.ConvexHull().Area() - polygon.Area() > 10_000


@pytest.mark.parametrize(("across", "along", "within"), [
    (200, 100, True),      # open field
    (420, 490, False),     # the middle of the tree island
    (450, 490, True),      # beside the island
    (485, 233, False),     # in the waterway
    (580, 550, False),     # in the notch of the north-east corner
    (10, 320, False),      # west of the bowed edge
    (-50, 300, False),
])
def test_places_lie_in_or_out_as_drawn(across, along, within):
    assert boundary.inside([[across, along]])[0] == within
    point = ogr.Geometry(ogr.wkbPoint)
    point.AddPoint_2D(*boundary.to_map([[across, along]])[0])
    assert ogr.CreateGeometryFromWkb(boundary.boundary_wkb()).Contains(point) == within


def test_local_positions_come_back_from_the_map():
    local = np.array([[0.0, 0.0], [300.0, 500.0], [-3.0, 12.5]])
    # Coordinates of 5e6 m keep 1e-9 m of a double; 1e-6 m allows for the rotation.
    assert boundary.to_local(boundary.to_map(local)) == pytest.approx(local, abs=1e-6)


def test_along_the_rows_runs_3_degrees_east_of_north():
    start, end = boundary.to_map([[0, 0], [0, 100]])
    # 100 m along: 100 sin 3 = 5.2336 m east, 100 cos 3 = 99.8630 m north.
    assert end - start == pytest.approx([5.2336, 99.8630], abs=1e-4)


def test_the_distance_to_the_edge_of_the_island_is_its_radius_in_the_middle():
    # A 12-cornered island of radius 21 m: its sides are 21 cos 15 = 20.284 m from the middle.
    assert boundary.distance_to_edge_m([[420, 490]])[0] == pytest.approx(20.284, abs=0.001)
