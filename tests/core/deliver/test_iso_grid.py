import numpy as np
import pytest

from plugin.core.deliver.iso_grid import CODES, VALUES, grid_bytes, grid_cells
from plugin.core.problems import InputProblem

# 100 + 50 x row + 5 x column, rows from the south: little-endian, written out by hand
CELLS = [[100 + 50 * row + 5 * column for column in range(5)] for row in range(4)]
CONTENT = bytes.fromhex(
    "64000000 69000000 6e000000 73000000 78000000 96000000 9b000000 a0000000 a5000000 aa000000"
    "c8000000 cd000000 d2000000 d7000000 dc000000 fa000000 ff000000 04010000 09010000 0e010000")


def test_values_are_little_endian_from_the_south_west_along_the_row():
    assert grid_bytes(CELLS, VALUES) == CONTENT
    assert grid_cells(CONTENT, VALUES, 4, 5).tolist() == CELLS


def test_a_code_takes_one_byte():
    assert grid_bytes([[0, 1, 2], [254, 255, 3]], CODES) == bytes([0, 1, 2, 254, 255, 3])
    assert grid_cells(bytes([0, 1, 2, 254, 255, 3]), CODES, 2, 3).tolist() == [
        [0, 1, 2], [254, 255, 3]]


@pytest.mark.parametrize("cells,kind,words", [
    ([[2**31]], VALUES, "a cell is 2147483648"), ([[-2**31 - 1]], VALUES, "is -2147483649"),
    ([[256]], CODES, "holds 0 to 255, and a cell is 256"), ([[-1]], CODES, "a cell is -1")])
def test_a_number_that_does_not_fit_is_refused_not_wrapped_round(cells, kind, words):
    with pytest.raises(InputProblem, match=words):
        grid_bytes(np.array(cells, np.int64), kind)


def test_a_file_of_another_length_is_refused():
    with pytest.raises(InputProblem, match="4 rows of 5 cells take 80 bytes, .* has 79"):
        grid_cells(CONTENT[:-1], VALUES, 4, 5)
