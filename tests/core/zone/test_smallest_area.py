import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from plugin.core.problems import InputProblem
from plugin.core.zone.patches import patches, shared_borders
from plugin.core.zone.smallest_area import merge_small

OUTSIDE = -1
LABELS = arrays(int, array_shapes(min_dims=2, max_dims=2, max_side=10), elements=st.integers(-1, 3))


def merged(labels, cells, inside=None):
    labels = np.array(labels)
    inside = (labels != OUTSIDE).astype(float) if inside is None else inside
    return merge_small(labels, inside, cell_area_m2=25.0, smallest_area_m2=25.0 * cells).tolist()


def test_a_small_patch_joins_the_neighbour_with_the_longest_border():
    # the 5 touches the three 1s by two sides, left and below, and the six 2s by one
    assert merged([[1, 5, 2, 2, 2], [1, 1, 2, 2, 2]], 2) == [[1, 1, 2, 2, 2], [1, 1, 2, 2, 2]]


def test_of_equal_borders_the_larger_neighbour_takes_it():
    assert merged([[1, 1, 5, 2, 2, 2]], 2) == [[1, 1, 2, 2, 2, 2]]
    assert merged([[1, 1, 1, 5, 2, 2]], 2) == [[1, 1, 1, 1, 2, 2]]


def test_of_equal_borders_and_areas_the_first_in_reading_order_takes_it():
    assert merged([[2, 2, 5, 1, 1]], 2) == [[2, 2, 2, 1, 1]]


def test_the_smallest_goes_first_and_what_it_makes_large_enough_stays():
    # 5, one cell, joins 1, larger than 6; then 6, two cells, joins 1 (four cells now), not 2
    # (three). Had 6 gone first it would have joined 2, and 5 after it.
    assert merged([[1, 1, 1, 5, 6, 6, 2, 2, 2]], 3) == [[1, 1, 1, 1, 1, 1, 2, 2, 2]]
    # 5 joins 6, its one neighbour, which makes three cells of it: it stays
    assert merged([[5, 6, 6, 2, 2, 2]], 3) == [[6, 6, 6, 2, 2, 2]]


def test_a_patch_that_takes_a_label_unites_all_it_touches_of_that_label():
    # the 5 joins the 1s on the left, and so makes one patch of four with the single 1 on the
    # right, which by itself would have been too small and gone to the larger 2
    assert merged([[1, 1, 5, 1, 2, 2, 2, 2]], 3) == [[1, 1, 1, 1, 2, 2, 2, 2]]


def test_a_patch_that_only_the_outside_surrounds_stays():
    assert merged([[1, OUTSIDE, 2, 2, 2]], 3) == [[1, OUTSIDE, 2, 2, 2]]


def test_a_patch_of_just_the_smallest_area_stays_and_shares_inside_count():
    labels = [[1, 1, 2, 2]]
    assert merged(labels, 2) == labels
    # half of a cell of 1 lies outside: 1.5 cells are too small
    assert merged(labels, 2, np.array([[0.5, 1, 1, 1]])) == [[2, 2, 2, 2]]


def test_when_everything_is_too_small_one_patch_remains():
    assert np.unique(merged(np.arange(30).reshape(5, 6), 1000)).size == 1


@given(LABELS, st.integers(0, 12))
def test_what_remains_is_large_enough_or_has_no_neighbour(labels, cells):
    found = np.array(merged(labels, cells))
    assert np.array_equal(found == OUTSIDE, labels == OUTSIDE)
    numbers, count = patches(found)
    sizes = np.bincount(numbers[numbers != OUTSIDE], minlength=count)
    neighbours = np.asarray((shared_borders(numbers, count) > 0).sum(axis=1)).ravel()
    assert ((sizes >= cells) | (neighbours == 0)).all()


@given(LABELS, st.integers(0, 12))
def test_merging_again_changes_nothing_and_no_label_is_invented(labels, cells):
    found = np.array(merged(labels, cells))
    assert merged(found, cells) == found.tolist()
    assert set(found.ravel()) <= set(labels.ravel())


@pytest.mark.parametrize("seed", range(60))
def test_it_is_what_merging_one_patch_at_a_time_by_the_rule_gives(seed):
    rng = np.random.default_rng(seed)
    labels = rng.integers(-1, 2 + seed % 4, (9, 11))
    cells = int(rng.integers(2, 12))
    assert merged(labels, cells) == one_at_a_time(labels, cells).tolist()


def one_at_a_time(labels, cells):
    """The rule as written, with everything counted afresh after each step."""
    labels = labels.copy()
    while True:
        numbers, count = patches(labels)
        sizes = np.bincount(numbers[numbers != OUTSIDE], minlength=count)
        borders = shared_borders(numbers, count).toarray()
        small = [(sizes[n], n) for n in range(count) if sizes[n] < cells and borders[n].any()]
        if not small:
            return labels
        patch = min(small)[1]
        taker = max(range(count), key=lambda n: (borders[patch, n], sizes[n], -n))
        labels[numbers == patch] = labels[numbers == taker][0]


@pytest.mark.parametrize("area", [-1.0, float("nan")])
def test_an_area_below_0_is_refused(area):
    with pytest.raises(InputProblem, match="smallest zone area is .* enter 0 or more"):
        merge_small(np.zeros((2, 2), int), np.ones((2, 2)), cell_area_m2=1, smallest_area_m2=area)


def test_shapes_that_differ_are_refused():
    with pytest.raises(InputProblem, match=r"\(2, 2\) came with shares of shape \(3, 2\)"):
        merge_small(np.zeros((2, 2), int), np.ones((3, 2)), cell_area_m2=1, smallest_area_m2=1)
