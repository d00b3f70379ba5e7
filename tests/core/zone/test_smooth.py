import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from plugin.core.problems import InputProblem
from plugin.core.zone.smooth import mode_filter
from plugin.core.zone.window import disk, strip

OUTSIDE = -1
LABELS = arrays(int, array_shapes(min_dims=2, max_dims=2, max_side=9), elements=st.integers(-1, 2))


def smoothed(labels, radius, **settings):
    labels = np.array(labels)
    return mode_filter(labels, (labels != OUTSIDE).astype(float), disk(radius), **settings)


def by_counting(labels, radius):
    """One pass as the rule says it, cell by cell."""
    rows, columns = np.indices(labels.shape)
    found = labels.copy()
    for row, column in zip(*np.nonzero(labels != OUTSIDE)):
        near = (rows - row)**2 + (columns - column)**2 <= radius**2
        label, votes = np.unique(labels[near & (labels != OUTSIDE)], return_counts=True)
        winners = label[votes == votes.max()]
        if len(winners) == 1:
            found[row, column] = winners[0]
    return found


@given(LABELS, st.sampled_from([0, 1, 1.5, 2, 2.5, 4, 20]))
def test_one_pass_is_what_counting_cell_by_cell_gives(labels, radius):
    assert np.array_equal(smoothed(labels, radius), by_counting(labels, radius))


def test_along_a_heading_only_the_cells_of_the_strip_vote():
    # a strip three cells long, one wide, due east: each cell sees itself and both beside it
    labels = np.array([[0, 1, 0, 1, 1], [2, 2, 2, 2, 2]])
    found = mode_filter(labels, np.ones((2, 5)), strip(2, 0, 90))
    assert found.tolist() == [[0, 0, 1, 1, 1], [2, 2, 2, 2, 2]]


@given(LABELS)
def test_of_ranks_none_is_lowered(labels):
    plain, ordered = smoothed(labels, 1.5), smoothed(labels, 1.5, ordered=True)
    assert np.array_equal(ordered, np.maximum(labels, plain))


def test_a_lone_cell_takes_the_label_around_it():
    labels = np.zeros((5, 5), int)
    labels[2, 2] = 1
    assert not smoothed(labels, 1).any()


def test_on_a_tie_a_cell_keeps_its_label():
    # the middle cell sees one of each label, itself among them
    assert smoothed([[0, 1, 2]], 1).tolist() == [[0, 1, 2]]


def test_the_outside_has_no_vote():
    # the 1 sees two cells outside and one 0: 1 and 0 are level, so it stays
    assert smoothed([[OUTSIDE, 1, OUTSIDE], [0, 0, 0]], 1)[0].tolist() == [OUTSIDE, 1, OUTSIDE]


def test_a_second_pass_goes_on_where_the_first_stopped():
    labels = np.random.default_rng(5).integers(0, 3, (30, 30))
    assert np.array_equal(smoothed(labels, 2, passes=2), smoothed(smoothed(labels, 2), 2))


@given(LABELS)
def test_renaming_the_labels_renames_the_answer(labels):
    renamed = np.where(labels == OUTSIDE, OUTSIDE, 7 - labels)
    found = smoothed(labels, 1.5)
    assert np.array_equal(smoothed(renamed, 1.5), np.where(found == OUTSIDE, OUTSIDE, 7 - found))


def test_a_negative_radius_too_many_passes_and_shapes_that_differ_are_refused():
    with pytest.raises(InputProblem, match="radius is -1 cells"):
        smoothed([[0, 1]], -1)
    with pytest.raises(InputProblem, match="4 smoothing passes .* 1 to 3"):
        smoothed([[0, 1]], 1, passes=4)
    with pytest.raises(InputProblem, match=r"\(1, 2\) came with shares of shape \(2, 2\)"):
        mode_filter(np.array([[0, 1]]), np.ones((2, 2)), disk(1))
