import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays
from scipy import ndimage

from plugin.core.problems import InputProblem
from plugin.core.zone.window import covered, disk, opened, strip, uniform, votes

LABELS = arrays(int, array_shapes(min_dims=2, max_dims=2, max_side=12), elements=st.integers(-1, 2))
WINDOWS = st.one_of(
    st.builds(disk, st.floats(0, 4)),
    st.builds(strip, st.floats(0, 7), st.floats(0, 7), st.floats(0, 360)))


def footprint(window):
    marked = np.zeros((2 * window.reach + 1,) * 2, int)
    marked[tuple((window.offsets + window.reach).T)] = 1
    return marked


def test_a_strip_lies_along_its_heading():
    assert footprint(strip(4, 2, 0)).tolist() == [
        [0, 1, 1, 1, 0]] * 5                                     # north and south
    assert np.array_equal(footprint(strip(4, 2, 90)), footprint(strip(4, 2, 0)).T)
    assert footprint(strip(2.9, 0, 45)).tolist() == [  # to the north-east, in one piece
        [0, 1, 1], [1, 1, 1], [1, 1, 0]]


def test_a_disk_holds_the_cells_whose_centres_are_near():
    assert footprint(disk(1)).tolist() == [[0, 1, 0], [1, 1, 1], [0, 1, 0]]
    assert disk(0).offsets.tolist() == [[0, 0]]
    with pytest.raises(InputProblem, match="radius is -1 cells"):
        disk(-1)


@given(WINDOWS)
def test_every_window_is_one_piece_alike_on_both_sides_without_gaps(window):
    marked = footprint(window)
    assert np.array_equal(marked, marked[::-1, ::-1])
    assert ndimage.label(marked)[1] == 1
    assert (np.abs(np.diff(marked, axis=1, prepend=0, append=0)).sum(axis=1) <= 2).all()


@given(LABELS, WINDOWS)
def test_votes_are_those_of_a_convolution(labels, window):
    expected = ndimage.convolve((labels == 1).astype(int), footprint(window), mode="constant")
    assert np.array_equal(votes(labels == 1, window), expected)


@given(LABELS, WINDOWS)
def test_the_opening_is_that_of_every_label_by_itself(labels, window):
    marked = footprint(window)
    centres, inside = np.zeros(labels.shape, bool), np.zeros(labels.shape, bool)
    for label in range(3):
        centres |= ndimage.binary_erosion(labels == label, marked)
        inside |= ndimage.binary_opening(labels == label, marked)
    assert np.array_equal(uniform(labels, window) & (labels >= 0), centres)
    assert np.array_equal(opened(labels, window), inside)
    assert np.array_equal(covered(centres, window), inside)
