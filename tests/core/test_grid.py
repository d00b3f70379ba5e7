import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugin.core.grid import MOST_CELLS, Grid
from plugin.core.problems import InputProblem


def test_the_grid_is_the_smallest_on_whole_multiples_of_the_cell():
    # 12..31 by 8..19 m, cells of 10 m: columns from 10 to 40, rows from 0 to 20
    grid = Grid.covering(12, 8, 31, 19, cell_m=10, crs_wkt="here")
    assert grid == Grid(10, 20, 10, 2, 3, "here")
    assert (grid.shape, grid.cell_area_m2) == ((2, 3), 100)


def test_a_rectangle_on_the_lines_takes_no_cell_more():
    assert Grid.covering(-20, 0, 20, 30, cell_m=10).shape == (3, 4)


@given(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6), st.floats(1, 500), st.floats(1, 500),
       st.floats(1, 50))
def test_the_grid_covers_the_rectangle_with_less_than_a_cell_to_spare(
        west, south, wide, high, cell):
    grid = Grid.covering(west, south, west + wide, south + high, cell_m=cell)
    east, bottom = grid.west_m + grid.columns * cell, grid.north_m - grid.rows * cell
    slack = 1e-6  # m: the corners are up to 1e6 m, with 16 digits
    for spare in (west - grid.west_m, east - west - wide, grid.north_m - south - high,
                  south - bottom):
        assert -slack <= spare <= cell + slack


def test_centres_run_from_the_north_west_row_by_row():
    assert Grid(0, 20, 10, 2, 2).centres().tolist() == [[5, 15], [15, 15], [5, 5], [15, 5]]


@given(st.integers(1, 7), st.integers(1, 7), st.floats(0.5, 40))
def test_every_centre_lies_in_its_own_cell(rows, columns, cell):
    grid = Grid(500_000.0, 4_400_000.0, cell, rows, columns)
    assert grid.cells_of(grid.centres()).tolist() == list(range(rows * columns))


def test_a_line_belongs_east_and_south_and_outside_is_minus_one():
    grid = Grid(0, 20, 10, 2, 2)
    assert grid.cells_of([[10, 15], [5, 10], [0, 20], [20, 5], [5, 0], [-0.1, 5], [5, 20.1]]
                         ).tolist() == [1, 2, 0, -1, -1, -1, -1]


@pytest.mark.parametrize(("corners", "cell", "message"), [
    ((0, 0, 0, 9), 1, "holds no area"), ((0, 9, 9, 0), 1, "holds no area"),
    ((0, 0, float("nan"), 9), 1, "holds no area"), ((0, 0, float("inf"), 9), 1, "holds no area"),
    ((0, 0, 9, 9), 0, "A cell of 0 m was asked for"), ((0, 0, 9, 9), -2, "A cell of -2 m"),
    ((0, 0, 9, 9), float("nan"), "A cell of nan m"), ((0, 0, 9, 9), float("inf"), "A cell of inf")])
def test_a_grid_that_holds_nothing_is_refused(corners, cell, message):
    with pytest.raises(InputProblem, match=message):
        Grid.covering(*corners, cell_m=cell)


def test_too_many_cells_are_refused_with_a_cell_that_does():
    with pytest.raises(InputProblem, match=r"100,000,000 cells; at most 10,000,000") as refused:
        Grid.covering(0, 0, 10_000, 10_000, cell_m=1)
    advised = float(str(refused.value).split("Choose a cell of ")[1].split()[0])
    assert np.prod(Grid.covering(0, 0, 10_000, 10_000, cell_m=advised).shape) <= MOST_CELLS


@given(st.floats(1.0, 1e6), st.floats(1.0, 1e6), st.floats(-1e6, 1e6))
def test_the_advised_cell_always_does(wide, high, west):
    try:
        Grid.covering(west, 0, west + wide, high, cell_m=0.1)
    except InputProblem as refused:
        advised = float(str(refused).split("Choose a cell of ")[1].split()[0])
        assert np.prod(Grid.covering(west, 0, west + wide, high, cell_m=advised).shape
                       ) <= MOST_CELLS
