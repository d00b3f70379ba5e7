import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugin.core.deliver.degree_grid import DegreeGrid, metres_per_degree
from plugin.core.problems import InputProblem


@pytest.mark.parametrize("latitude,north,east", [
    # computed apart from the program, whole metres (ellipsoid of WGS 84)
    (0, 110_574, 111_320), (30, 110_852, 96_486), (-30, 110_852, 96_486), (60, 111_412, 55_800)])
def test_a_degree_is_as_long_as_tables_say(latitude, north, east):
    assert metres_per_degree(latitude) == pytest.approx((north, east), abs=1.0)


def test_cells_are_counted_from_the_south_west_and_rows_run_north():
    grid = DegreeGrid(42.0, -93.5, 0.0002, 0.00027, 4, 5)
    centres = grid.centres()
    assert grid.shape == (4, 5) and len(centres) == 20
    assert centres[0] == pytest.approx((-93.499865, 42.0001), abs=1e-12)
    assert centres[1] - centres[0] == pytest.approx((0.00027, 0.0), abs=1e-12)  # one to the east
    assert centres[5] - centres[0] == pytest.approx((0.0, 0.0002), abs=1e-12)  # one to the north
    assert centres[-1] == pytest.approx((-93.498785, 42.0007), abs=1e-12)


@given(st.floats(-179, 178), st.floats(-75, 75), st.floats(1e-5, 0.02), st.floats(1e-5, 0.02),
       st.floats(1, 50))
def test_a_grid_covers_its_extent_by_less_than_a_cell(west, south, width, height, cell_m):
    grid = DegreeGrid.covering(west, south, west + width, south + height, cell_m=cell_m,
                               most_cells=10**9)
    near = 2e-9  # the corner is put on whole billionths
    assert west - near <= grid.west <= west and south - near <= grid.south <= south
    for start, size, count, end in ((grid.west, grid.cell_east, grid.columns, west + width),
                                    (grid.south, grid.cell_north, grid.rows, south + height)):
        assert start + size * (count - 1) - near <= end <= start + size * count + near
    per_north, per_east = metres_per_degree(south + height / 2)
    # half a billionth of a degree is 0.06 mm
    assert grid.cell_north * per_north == pytest.approx(cell_m, abs=1e-4)
    assert grid.cell_east * per_east == pytest.approx(cell_m, abs=1e-4)
    for number in (grid.west, grid.south, grid.cell_east, grid.cell_north):
        assert round(number, 9) == number


def test_too_many_cells_are_refused_with_both_numbers():
    with pytest.raises(InputProblem, match=r"Cells of 1 m make a grid of [\d,]+ cells, above the "
                                           r"limit of 1,000\. Choose larger"):
        DegreeGrid.covering(10, 50, 10.01, 50.01, cell_m=1, most_cells=1000)


@pytest.mark.parametrize("cell_m", [float("nan"), float("inf"), 0.0, -5.0])
def test_a_cell_that_is_none_is_refused(cell_m):
    with pytest.raises(InputProblem, match=f"A cell of {cell_m:g} m was asked for"):
        DegreeGrid.covering(10, 50, 10.01, 50.01, cell_m=cell_m, most_cells=10**6)


def test_a_cell_wider_than_a_task_file_holds_is_refused():
    # 0.6 degrees from the pole a degree of longitude is 1.1 km, 0.5 from it less than 1 km
    DegreeGrid.covering(10, 89.35, 30, 89.45, cell_m=1000, most_cells=10**6)
    with pytest.raises(InputProblem, match="1000 m are wider than a degree at latitude 89.5"):
        DegreeGrid.covering(10, 89.45, 30, 89.55, cell_m=1000, most_cells=10**6)


def test_a_grid_over_the_180th_meridian_is_refused():
    with pytest.raises(InputProblem, match="180th meridian"):
        DegreeGrid.covering(179.9999, -17, 179.99999, -16.9999, cell_m=20, most_cells=10**6)


def test_shapes_agree_with_an_array():
    grid = DegreeGrid(0.0, 0.0, 1e-4, 1e-4, 3, 2)
    assert grid.centres().reshape(*grid.shape, 2)[2, 1] == pytest.approx((1.5e-4, 2.5e-4))
    assert np.ones(grid.shape).size == 6
