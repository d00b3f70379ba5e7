import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from plugin.core.grid import Grid
from plugin.core.problems import InputProblem
from plugin.core.zone.outlines import outlines
from plugin.core.zone.patches import patches

OUTSIDE = -1
# Cells of 5 m at whole metres: every coordinate and area is exact in floating point.
LABELS = arrays(int, array_shapes(min_dims=2, max_dims=2, max_side=9), elements=st.integers(-1, 2))


def grid_of(labels):
    return Grid(500_000.0, 4_600_000.0, 5.0, *np.shape(labels))


def traced(labels):
    return outlines(np.array(labels), grid_of(labels))


def shapes(found):
    return {label: [shapely.Polygon(rings[0], rings[1:]) for rings in polygons]
            for label, polygons in found.items()}


def in_cells(ring):
    """Corners as (column, row) counted from the north-west corner of the grid."""
    return [(round((x - 500_000) / 5), round((4_600_000 - y) / 5)) for x, y in ring]


def test_one_cell_is_a_closed_square_counter_clockwise():
    (ring,), = traced([[3]])[3]
    assert ring.tolist() == [[500_000, 4_600_000], [500_000, 4_599_995], [500_005, 4_599_995],
                             [500_005, 4_600_000], [500_000, 4_600_000]]


def test_corners_on_a_straight_side_stay_only_where_a_third_zone_meets():
    found = traced([[0, 0, 0], [1, 1, 2]])
    top = in_cells(found[0][0][0])
    assert set(top) == {(0, 0), (0, 1), (2, 1), (3, 1), (3, 0)}  # (1, 1) is straight: dropped
    # on the edge of the field the outside is the third: (0, 1) and (3, 1) part 0 from 1 and 2
    assert {(0, 1), (2, 1)} <= set(in_cells(found[1][0][0]))
    assert {(2, 1), (3, 1)} <= set(in_cells(found[2][0][0]))


def test_a_hole_runs_clockwise_after_the_exterior():
    exterior, hole = traced([[0, 0, 0], [0, 1, 0], [0, 0, 0]])[0][0]
    assert shapely.LinearRing(exterior).is_ccw and not shapely.LinearRing(hole).is_ccw
    assert set(in_cells(hole)) == {(1, 1), (2, 1), (2, 2), (1, 2)}


def test_cells_that_touch_at_a_corner_are_two_polygons():
    found = traced([[0, 1], [1, 0]])
    assert [len(found[label]) for label in (0, 1)] == [2, 2]
    assert all(len(ring) == 5 for polygons in found.values() for ring, in polygons)


def test_a_patch_that_meets_itself_at_a_corner_has_a_hole_that_touches_its_exterior():
    found = shapes(traced([[0, 0, 0], [0, 1, 0], [0, 0, 1]]))
    polygon, = found[0]
    assert polygon.is_valid and len(polygon.interiors) == 1
    assert polygon.exterior.is_simple and polygon.interiors[0].is_simple


def test_an_island_in_a_hole_belongs_to_its_own_polygon():
    labels = np.zeros((5, 5), int)
    labels[1:4, 1:4] = 1
    labels[2, 2] = 0
    outer, island = traced(labels)[0]
    assert (len(outer), len(island)) == (2, 1)
    assert shapely.Polygon(island[0]).area == 25


@given(LABELS)
def test_areas_are_those_of_the_cells_to_the_last_bit(labels):
    for label, polygons in shapes(traced(labels)).items():
        assert sum(polygon.area for polygon in polygons) == 25 * np.count_nonzero(labels == label)


@given(LABELS)
def test_every_polygon_is_valid_and_one_patch(labels):
    found = shapes(traced(labels))
    assert sum(map(len, found.values())) == patches(labels)[1]
    for polygons in found.values():
        assert all(polygon.is_valid for polygon in polygons)
        for polygon in polygons:
            assert all(ring.is_simple for ring in [polygon.exterior, *polygon.interiors])


@given(LABELS)
def test_neighbours_share_every_vertex_without_gap_or_overlap(labels):
    polygons = [polygon for some in shapes(traced(labels)).values() for polygon in some]
    assert bool(shapely.coverage_is_valid(polygons))
    union = shapely.union_all(polygons)
    assert union.area == 25 * np.count_nonzero(labels != OUTSIDE)


@given(LABELS)
def test_every_cell_lies_in_a_polygon_of_its_label(labels):
    centres = shapely.points(grid_of(labels).centres())
    inside = {label: shapely.contains(shapely.MultiPolygon(polygons), centres)
              for label, polygons in shapes(traced(labels)).items()}
    for label, contained in inside.items():
        assert np.array_equal(contained, labels.ravel() == label)


@given(LABELS)
def test_exteriors_run_counter_clockwise_and_holes_clockwise_all_closed(labels):
    for polygons in traced(labels).values():
        for exterior, *holes in polygons:
            assert shapely.LinearRing(exterior).is_ccw
            assert not any(shapely.LinearRing(hole).is_ccw for hole in holes)
            assert all((ring[0] == ring[-1]).all() for ring in [exterior, *holes])


def test_a_field_of_nothing_has_no_outlines():
    assert traced([[OUTSIDE, OUTSIDE]]) == {}


def test_labels_of_another_shape_than_the_grid_are_refused():
    with pytest.raises(InputProblem, match=r"\(2, 2\) came with a grid of \(3, 3\)"):
        outlines(np.zeros((2, 2), int), Grid(0.0, 0.0, 1.0, 3, 3))


def sound(rings):
    return shapely.Polygon(rings[0], rings[1:]).is_valid


def straight(labels, deviation_m):
    labels = np.array(labels)
    return outlines(labels, grid_of(labels), deviation_m=deviation_m, sound=sound)


@given(LABELS, st.sampled_from([2.0, 4.0, 7.5, 20.0]))
def test_straightened_neighbours_still_share_every_vertex_without_gap_or_overlap(labels, deviation):
    polygons = [one for some in shapes(straight(labels, deviation)).values() for one in some]
    assert all(polygon.is_valid and polygon.area > 0 for polygon in polygons)
    assert bool(shapely.coverage_is_valid(polygons))
    # rounding of sums; the outside keeps its line, so that the whole is what the cells are
    assert sum(one.area for one in polygons) == pytest.approx(25 * np.count_nonzero(labels >= 0))
    assert shapely.union_all(polygons).area == pytest.approx(25 * np.count_nonzero(labels >= 0))


@given(LABELS, st.sampled_from([2.0, 4.0, 7.5, 20.0]))
def test_no_border_moves_further_than_the_deviation(labels, deviation):
    exact, moved = shapes(traced(labels)), shapes(straight(labels, deviation))
    for label, polygons in exact.items():
        for one, other in zip(polygons, moved[label]):
            assert shapely.hausdorff_distance(one.boundary, other.boundary) <= deviation + 1e-9


def test_a_flight_of_stairs_becomes_a_slope_with_its_ends_where_they_were():
    labels = (np.arange(8)[:, None] + np.arange(8)) >= 8
    found = straight(labels.astype(int), 4.0)  # stairs of 5 m reach 3.54 m from the slope
    assert len(found[1][0][0]) <= 6 and {(8, 8), (1, 8), (8, 1)} <= set(in_cells(found[1][0][0]))
    assert len(straight(labels.astype(int), 2.0)[1][0][0]) == len(traced(labels)[1][0][0]) > 10
    with pytest.raises(InputProblem, match="deviation of -1 m was asked for; enter 0 or more"):
        straight(labels.astype(int), -1)


def test_a_patch_that_would_not_be_sound_keeps_the_sides_of_its_cells():
    labels = np.zeros((9, 9), int)
    labels[4, 4] = 1
    assert straight(labels, 30.0)[1][0][0].tolist() == traced(labels)[1][0][0].tolist()
