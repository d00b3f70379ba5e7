import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays
from scipy import ndimage

from plugin.core.zone.patches import patches, shared_borders

OUTSIDE = -1
LABELS = arrays(int, array_shapes(min_dims=2, max_dims=2, max_side=9), elements=st.integers(-1, 2))


def test_cells_that_touch_at_a_corner_are_separate_patches_in_reading_order():
    numbers, count = patches(np.array([[7, 7, 3], [3, 7, 3], [OUTSIDE, 3, 7]]))
    assert count == 5
    assert numbers.tolist() == [[0, 0, 1], [2, 0, 1], [OUTSIDE, 3, 4]]


@given(LABELS)
def test_patches_are_those_of_labelling_each_label_by_itself(labels):
    numbers, count = patches(labels)
    assert np.array_equal(numbers == OUTSIDE, labels == OUTSIDE)
    expected = 0
    for label in range(3):
        alone, pieces = ndimage.label(labels == label)
        expected += pieces
        for piece in range(1, pieces + 1):  # one number, held by nobody else
            mine = np.unique(numbers[alone == piece])
            assert len(mine) == 1 and (numbers == mine[0]).sum() == (alone == piece).sum()
    assert count == expected


@given(LABELS)
def test_patches_are_numbered_in_reading_order(labels):
    numbers, count = patches(labels)
    seen = list(dict.fromkeys(numbers[numbers != OUTSIDE].tolist()))
    assert seen == list(range(count))


def test_borders_are_counted_in_cell_sides_and_the_outside_has_none():
    numbers, count = patches(np.array([[0, 0, 1], [0, 0, 1], [2, OUTSIDE, 1]]))
    assert shared_borders(numbers, count).toarray().tolist() == [[0, 2, 1], [2, 0, 0], [1, 0, 0]]


@pytest.mark.parametrize("shape", [(1, 1), (1, 4), (4, 1)])
def test_a_single_row_or_column_is_one_patch(shape):
    assert patches(np.zeros(shape, int))[1] == 1
