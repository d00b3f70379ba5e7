"""Places from rows and paces: by hand, by the way back, and by walking them many times."""
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugin.core.observe.row_places import (
    placement_error_m,
    places_in_rows,
    row_along,
    row_between,
)
from plugin.core.problems import InputProblem

# Both hemispheres and both sides of a zone: southern UTM northings run up to 10,000 km.
eastings = st.floats(166_000, 834_000)
northings = st.floats(0, 10_000_000)
headings = st.floats(-720, 720)
rows = st.integers(-500, 500)
distances = st.floats(-3_000, 3_000)


def north_line(**options):
    return row_along((500_000.0, 4_400_000.0), 0.0,
                     **{"point_error_m": 0.0, "heading_error_deg": 0.0, **options})


def test_rows_to_the_right_of_a_walk_north_lie_east():
    # 4 rows of 0.75 m are 3 m east, 20 m on is north.
    found = places_in_rows(north_line(), [4, -4], [20.0, 20.0], row_width_m=0.75)
    assert found == pytest.approx(np.array([[500_003, 4_400_020], [499_997, 4_400_020]]))


def test_rows_to_the_right_of_a_walk_east_lie_south():
    line = row_along((0.0, 0.0), 90.0, point_error_m=0.0, heading_error_deg=0.0)
    found = places_in_rows(line, [10], [7.0], row_width_m=0.5)
    assert found == pytest.approx(np.array([[7.0, -5.0]]), abs=1e-12)  # rounding of cos 90


@given(eastings, northings, headings, rows, distances)
def test_the_way_back_gives_row_and_distance_again(easting, northing, heading, row, distance):
    line = row_along((easting, northing), heading, point_error_m=0.0, heading_error_deg=0.0)
    place = places_in_rows(line, [row], [distance], row_width_m=0.76)[0]
    moved = complex(*(place - (easting, northing)))
    # Turned so that the heading lies along the imaginary axis, the real part is the way right.
    turned = moved * np.exp(1j * np.deg2rad(heading))
    # 1e-8 m: northings of ten million metres keep nine digits behind the point.
    assert turned.imag == pytest.approx(distance, abs=2e-8)
    assert turned.real / 0.76 == pytest.approx(row, abs=2e-8)


@given(headings, rows, distances)
def test_a_full_turn_changes_nothing(heading, row, distance):
    there = [places_in_rows(row_along((0.0, 0.0), heading + turn, point_error_m=0.0,
                                      heading_error_deg=0.0), [row], [distance], row_width_m=0.76)
             for turn in (0, 360)]
    assert there[0] == pytest.approx(there[1], abs=1e-8)


@given(eastings, northings, st.floats(0, 359.99), st.floats(1.01, 3_000))
def test_two_points_give_the_heading_between_them(easting, northing, heading, length):
    angle = np.deg2rad(heading)
    second = (easting + length * np.sin(angle), northing + length * np.cos(angle))
    line = row_between((easting, northing), second, point_error_m=2.0)
    off = (line.heading_deg - heading + 180) % 360 - 180
    assert off * length == pytest.approx(0.0, abs=1e-5)  # 1e-5 degrees at 1 m: 2e-7 m
    assert line.length_m == pytest.approx(length, abs=1e-8)
    assert places_in_rows(line, [0], [length], row_width_m=1.0)[0] == pytest.approx(
        np.array(second), abs=1e-7)


def test_two_points_at_one_place_are_refused():
    with pytest.raises(InputProblem, match="0.50 m apart"):
        row_between((0.0, 0.0), (0.5, 0.0), point_error_m=2.0)
    with pytest.raises(InputProblem, match="nan m apart"):
        row_between((0.0, 0.0), (np.nan, 0.0), point_error_m=2.0)


@pytest.mark.parametrize("width", [0.0, -0.76, np.nan, np.inf])
def test_a_row_width_that_is_none_is_refused(width):
    with pytest.raises(InputProblem, match="row width"):
        places_in_rows(north_line(), [1], [1.0], row_width_m=width)


def test_a_heading_that_is_no_number_is_refused():
    with pytest.raises(InputProblem, match="heading"):
        row_along((0.0, 0.0), np.nan, point_error_m=0.0, heading_error_deg=0.0)


def test_the_error_is_as_worked_by_hand():
    # c 3 m twice over: 18; 5 % of 200 m: 100; 2 rows in 100 of 0.75 m over 100 rows: 2.25.
    line = north_line(point_error_m=3.0)
    found = placement_error_m(line, [100], [200.0], row_width_m=0.75, pace_error=0.05,
                              row_error=2.0)
    assert found == pytest.approx([np.sqrt(18 + 100 + 2.25)])


@pytest.mark.parametrize("two_points", [True, False])
def test_the_error_is_that_of_many_walks(two_points):
    """Each error is drawn, the readings are placed with what was drawn, and compared."""
    draw = np.random.default_rng(5)
    count, point, turn, pace, row_error, width, length = 40_000, 2.0, 1.5, 0.04, 3.0, 0.76, 250.0
    start = draw.normal(0, point, (count, 2))
    if two_points:
        second = (0.0, length) + draw.normal(0, point, (count, 2))
        aim = second - start
        heading = np.arctan2(aim[:, 0], aim[:, 1])
        line = row_between((0.0, 0.0), (0.0, length), point_error_m=point)
    else:
        heading = np.deg2rad(draw.normal(0, turn, count))
        line = north_line(point_error_m=point, heading_error_deg=turn)
    for row, distance in ((0, 120.0), (60, 400.0), (-200, 30.0)):
        walked = distance * (1 + draw.normal(0, pace, count))
        over = width * (row + draw.normal(0, row_error, count) * np.sqrt(abs(row) / 100))
        placed = (start + walked[:, None] * np.column_stack([np.sin(heading), np.cos(heading)])
                  + over[:, None] * np.column_stack([np.cos(heading), -np.sin(heading)]))
        off = np.sqrt(((placed - (row * width, distance)) ** 2).sum(axis=1).mean())
        said = placement_error_m(line, [row], [distance], row_width_m=width, pace_error=pace,
                                 row_error=row_error)
        assert said == pytest.approx([off], rel=0.02)  # 40,000 draws: 0.5 %; second order: 1 %


def test_the_error_never_falls_as_more_rows_are_crossed():
    said = placement_error_m(north_line(point_error_m=1.0), np.arange(100), np.full(100, 50.0),
                             row_width_m=0.76, pace_error=0.03, row_error=1.0)
    assert (np.diff(said) > 0).all()
