import numpy as np
import pytest
import shapely

from plugin.core.deliver.degree_grid import DegreeGrid
from plugin.core.deliver.rate_table import RateRow
from plugin.layers.cells_of_zones import OUTSIDE, cells_of_zones, near_an_edge, zones_at
from plugin.layers.rate_zones import WGS_84, rate_zones, transformation
from tests.layers.small_zones import PLACES, zones_at_place


@pytest.mark.parametrize("place", PLACES)
def test_cells_agree_with_the_polygons_in_their_own_crs(place):
    zones = zones_at_place(place)
    grid = DegreeGrid.covering(*zones.extent, cell_m=4, most_cells=10**5)
    cells = cells_of_zones(zones, grid).ravel()
    centres = grid.centres()
    meant = zones_at(zones, centres)
    inside = meant != OUTSIDE
    unlike = inside & (cells != meant)
    assert np.count_nonzero(inside) > 5000 and set(meant[inside]) == {0, 1, 2}
    assert near_an_edge(zones, centres[unlike], 0.01).all()  # rounding decides there
    # the count of cells is the area of the zones, by the square metre of a cell
    assert np.count_nonzero(inside) * 16 == pytest.approx(120_000, rel=0.01)


def test_a_cell_that_only_reaches_into_the_field_takes_the_nearest_rate():
    zones = zones_at_place()
    grid = DegreeGrid.covering(*zones.extent, cell_m=20, most_cells=10**5)
    cells = cells_of_zones(zones, grid)
    meant = zones_at(zones, grid.centres()).reshape(grid.shape)
    field = shapely.from_wkb(zones.field)
    edge = (cells != OUTSIDE) & (meant == OUTSIDE)
    assert edge.sum() > 20  # the outline crosses some 70 cells, half of them there
    # every cell left out lies farther from the field than half its side
    for east, north in grid.centres()[(cells == OUTSIDE).ravel()]:
        x, y = in_utm(east, north)
        assert field.distance(shapely.Point(x, y)) > 9.9


def in_utm(longitude, latitude):
    return transformation(WGS_84, "EPSG:32615").TransformPoint(longitude, latitude)[:2]


def test_rows_begin_in_the_south_and_columns_in_the_west():
    # an asymmetric field: zone 1 in the south-west corner alone
    small, rest = shapely.box(0, 0, 50, 50), shapely.box(0, 0, 300, 200)
    shapes = [shapely.to_wkb(shapely.transform(shape, lambda points: points + (500_000, 4e6)))
              for shape in (small, shapely.difference(rest, small))]
    zones = rate_zones("EPSG:32615", shapes,
                       [RateRow(1, "", 1.0, "in"), RateRow(2, "", 2.0, "in")])
    grid = DegreeGrid.covering(*zones.extent, cell_m=10, most_cells=10**5)
    cells = cells_of_zones(zones, grid)
    assert cells[2, 2] == 0 and cells[-3, 2] == cells[2, -3] == cells[-3, -3] == 1


def test_what_lies_in_a_small_hole_is_near_its_edge():
    # GEOS 3.11 leaves most of it out of the edge's buffer of such a width
    field = shapely.Point(500_000, 4e6).buffer(100).difference(
        shapely.Point(500_003, 4_000_002).buffer(3, quad_segs=3))
    zones = rate_zones("EPSG:32615", [shapely.to_wkb(field)], [RateRow(1, "", 1.0, "in")])
    grid = DegreeGrid.covering(*zones.extent, cell_m=1, most_cells=10**5)
    places = np.array([in_utm(*centre) for centre in grid.centres()])
    away = shapely.distance(field.boundary, shapely.points(places))
    for within_m in (1.0, 3.5, 6.0):
        near = near_an_edge(zones, grid.centres(), within_m)
        # rounding of places that turn to degrees and back decides within a micrometre
        assert np.array_equal(near, away <= within_m) or np.abs(away[near != (away <= within_m)]
                                                                - within_m).max() < 1e-6
    assert near.sum() > 4000
