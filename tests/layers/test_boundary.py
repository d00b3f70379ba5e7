import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as some
from osgeo import ogr
from shapely.affinity import rotate, translate

from plugin.core.grid import Grid
from plugin.core.problems import InputProblem
from plugin.layers.boundary import (
    area_m2,
    grid_over,
    inside_mask,
    inside_shares,
    near_row_ends,
)

# Rounding only: coordinates of 4.4 million metres are kept to 1e-9 m, in areas of hectares.
RELATIVE = 1e-9
WEST, SOUTH = 500_000.0, 4_400_000.0
SHAPES = {
    "with a hole": shapely.Polygon([(3, 4), (97, 1), (88, 93), (11, 81)],
                                   [[(30, 30), (62, 33), (55, 61), (31, 58)]]),
    "several parts": shapely.MultiPolygon([shapely.box(1, 2, 33.3, 41.7),
                                           shapely.Polygon([(50, 50), (90, 55), (70, 99)])]),
    "on the lines between cells": shapely.box(10, 20, 90, 70),
    "touching the lines with one corner": shapely.Polygon([(50, 20), (80, 50), (50, 80), (20, 50)]),
    "inside one cell": shapely.box(11.1, 12.2, 13.3, 14.4),
    "thinner than a cell": shapely.Polygon([(2, 3), (98, 60), (98, 60.5), (2, 3.5)]),
    "a hole of one cell": shapely.Polygon(shapely.box(0, 0, 100, 100).exterior,
                                          [shapely.box(40, 40, 50, 50).exterior.coords])}


def wkb_of(shape):
    return shapely.to_wkb(translate(shape, WEST, SOUTH))


@pytest.mark.parametrize("cell_m", [10.0, 7.3])
@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES.keys())
def test_shares_add_up_to_the_area_and_each_is_the_part_of_its_cell(shape, cell_m):
    boundary = translate(shape, WEST, SOUTH)
    grid = grid_over(wkb_of(shape), cell_m, "")
    shares = inside_shares(wkb_of(shape), grid)
    assert shares.sum() * grid.cell_area_m2 == pytest.approx(shape.area, rel=RELATIVE)
    east = grid.west_m + np.arange(grid.columns) * cell_m
    north = grid.north_m - np.arange(grid.rows)[:, None] * cell_m
    cells = shapely.box(east, north - cell_m, east + cell_m, north)
    expected = shapely.area(shapely.intersection(cells, boundary)) / cell_m**2
    assert shares == pytest.approx(expected, abs=1e-9)  # rounding of a cell's corners


@example([(0.0, 0.0), (0.0, 11.0), (218.0, 0.125)], 0.0, 5.0)  # a nearly level edge
@settings(max_examples=40)
@given(some.lists(some.tuples(some.floats(0, 500), some.floats(0, 500)), min_size=3, max_size=9),
       some.floats(0, 360), some.sampled_from([5.0, 13.7, 50.0]))
def test_shares_add_up_to_the_area_of_any_polygon(corners, angle, cell_m):
    shape = rotate(shapely.MultiPoint(corners).convex_hull, angle)
    if shape.geom_type != "Polygon" or shape.area < 1:
        shape = shape.buffer(3)
    bite = shapely.Point(shape.centroid).buffer(shape.length / 40)
    shape = shape.difference(bite) if shape.difference(bite).area > 1 else shape
    boundary = translate(shape, WEST, SOUTH)
    grid = grid_over(shapely.to_wkb(boundary), cell_m, "")
    shares = inside_shares(shapely.to_wkb(boundary), grid)
    # Rounding: a boundary of length L kept to 1e-9 m can gain or lose L * 1e-9 m2.
    assert shares.sum() * grid.cell_area_m2 == pytest.approx(
        boundary.area, rel=RELATIVE, abs=boundary.length * 2e-9)
    assert shares.min() >= 0 and shares.max() <= 1


def test_the_part_of_the_boundary_beyond_the_grid_does_not_count():
    grid = Grid(WEST, SOUTH + 50, 10.0, 5, 5)
    shares = inside_shares(wkb_of(shapely.box(-100, -100, 35, 200)), grid)
    # Columns 0 to 2 whole, the fourth half.
    assert shares.tolist() == [[1, 1, 1, 0.5, 0]] * 5


def test_a_boundary_that_misses_the_grid_is_refused():
    with pytest.raises(InputProblem, match="boundary and the grid do not meet"):
        inside_shares(wkb_of(shapely.box(0, 0, 10, 10)), Grid(0.0, 100.0, 10.0, 5, 5))


def test_the_grid_over_a_boundary_holds_it_and_keeps_its_crs():
    grid = grid_over(wkb_of(shapely.box(3, 4, 21, 19)), 5.0, "wkt")
    # 3..21 lies in columns 0 to 25; 4..19 in rows 0 to 20.
    assert (grid.west_m, grid.north_m, grid.rows, grid.columns, grid.crs_wkt) == (
        WEST, SOUTH + 20, 4, 5, "wkt")


def test_the_mask_agrees_with_another_library_and_keeps_points_on_the_line():
    shape = translate(SHAPES["with a hole"], WEST, SOUTH)
    positions = np.random.default_rng(7).uniform(0, 100, (400, 2)) + (WEST, SOUTH)
    mask = inside_mask(shapely.to_wkb(shape), positions)
    expected = shapely.dwithin(shape, shapely.points(positions), 0.001)
    assert mask.tolist() == expected.tolist() and 0 < mask.sum() < 400
    corners = np.array(shape.exterior.coords)
    assert inside_mask(shapely.to_wkb(shape), corners).all()
    outward = np.array([[WEST + 3, SOUTH + 4]]) - 0.002  # 2.8 mm from the corner, outside
    assert not inside_mask(shapely.to_wkb(shape), outward).any()


def test_a_position_that_is_no_number_lies_outside():
    boundary = wkb_of(shapely.box(0, 0, 10, 10))
    nan, inf = float("nan"), float("inf")
    places = [(nan, nan), (nan, SOUTH + 5), (inf, SOUTH + 5), (WEST + 5, SOUTH + 5)]
    assert inside_mask(boundary, places).tolist() == [False, False, False, True]
    assert inside_mask(boundary, []).shape == (0,)


def test_the_area_is_that_of_the_polygon_less_its_holes():
    # 100 by 100 less 10 by 10.
    assert area_m2(wkb_of(SHAPES["a hole of one cell"])) == pytest.approx(9900, rel=RELATIVE)


def test_the_switch_for_exceptions_is_left_as_it_was():
    before = ogr.GetUseExceptions()
    inside_mask(wkb_of(shapely.box(0, 0, 10, 10)), [(0, 0)])
    assert ogr.GetUseExceptions() == before


def test_a_position_a_hair_beyond_the_line_counts_as_inside_and_one_further_off_does_not():
    # Stops are often digitised by snapping to the boundary; 0.5 mm is rounding, 2 mm is not.
    places = [(WEST + 10 + beyond, SOUTH + 5) for beyond in (0.0005, 0.002)]
    assert inside_mask(wkb_of(shapely.box(0, 0, 10, 10)), places).tolist() == [True, False]


def test_rows_end_along_their_heading_at_edges_and_holes_alike():
    # 100 m by 100 m with a hole from 30 to 62 across and 30 to 60 along; rows run north.
    field = wkb_of(shapely.Polygon([(0, 0), (100, 0), (100, 100), (0, 100)],
                                   [[(30, 30), (62, 30), (62, 60), (30, 60)]]))
    places = np.array([(5, 50), (5, 12), (80, 89), (80, 50), (45, 20), (20, 20)], float)
    places += (WEST, SOUTH)
    assert near_row_ends(field, places, 15.0, 0.0).tolist() == [
        False, True, True, False, True, False]
    assert near_row_ends(field, places, 15.0, 180.0).tolist() == [
        False, True, True, False, True, False]
    assert near_row_ends(field, places, 15.0, 90.0).tolist() == [
        True, True, False, False, False, False]
    # 45 degrees: 15 m are 10.6 m up and across; the last one meets the corner of the hole.
    assert near_row_ends(field, places, 15.0, 45.0).tolist() == [
        True, True, False, False, True, True]
    # Without a heading by distance alone.
    assert near_row_ends(field, places, 15.0).tolist() == [True, True, True, False, True, True]


def test_no_place_is_near_no_row_end_and_one_outside_is_beyond_it():
    field = wkb_of(shapely.box(0, 0, 100, 100))
    assert near_row_ends(field, np.zeros((0, 2)), 10.0, 0.0).tolist() == []
    assert near_row_ends(field, [(WEST - 5, SOUTH + 50)], 10.0, 0.0).tolist() == [True]
