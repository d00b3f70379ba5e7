import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from plugin.core.problems import Stopped
from plugin.core.zone.smallest_width import at_least_as_wide
from plugin.core.zone.window import disk, opened, strip

OUTSIDE = -1
LABELS = arrays(int, array_shapes(min_dims=2, max_dims=2, max_side=16), elements=st.integers(-1, 3))
FIELDS = st.integers(0, 10**6).map(lambda seed: blotches(np.random.default_rng(seed)))
WINDOWS = st.one_of(st.builds(disk, st.floats(0, 3)),
                    st.builds(strip, st.floats(0, 6), st.floats(0, 6), st.floats(0, 180)))


def blotches(generator):
    """Labels as they come: a few levels of a smooth surface, over a field with a ragged edge."""
    row, column = np.mgrid[:30, :26]
    phases = generator.uniform(0, 7, 4)
    height = np.sin(row / 4 + phases[0]) + np.sin(column / 3 + phases[1]) + np.sin(
        (row + column) / 5 + phases[2])
    field = (row - 15)**2 / 15**2 + (column - 13)**2 / 13**2 < generator.uniform(0.6, 2)
    return np.where(field, np.digitize(height, [-1, 0, 1]), OUTSIDE)


def allowed(labels, window):
    """What the window covers where the whole field is one label."""
    return opened(np.where(labels == OUTSIDE, OUTSIDE, 0), window)


@settings(max_examples=50)
@given(st.one_of(LABELS, FIELDS), WINDOWS, st.booleans())
def test_every_zone_is_wide_enough_wherever_the_field_is(labels, window, ordered):
    found = at_least_as_wide(labels, window, ordered=ordered)
    assert np.array_equal(allowed(labels, window), opened(found, window))
    assert np.array_equal(found == OUTSIDE, labels == OUTSIDE)
    assert set(found.ravel()) <= set(labels.ravel())


@settings(max_examples=50)
@given(st.one_of(LABELS, FIELDS), WINDOWS)
def test_of_ranks_none_is_lowered(labels, window):
    assert (at_least_as_wide(labels, window, ordered=True) >= labels).all()


@settings(max_examples=50)
@given(FIELDS, WINDOWS, st.booleans())
def test_what_is_wide_enough_stays_as_it_is(labels, window, ordered):
    once = at_least_as_wide(labels, window, ordered=ordered)
    assert np.array_equal(at_least_as_wide(once, window, ordered=ordered), once)


def test_a_strip_too_narrow_is_shared_between_its_neighbours():
    labels = np.repeat([[0] * 6 + [1] * 2 + [2] * 6], 9, axis=0)
    assert at_least_as_wide(labels, strip(4, 2, 0)).tolist() == [[0] * 7 + [2] * 7] * 9
    assert np.array_equal(at_least_as_wide(labels, strip(4, 1, 0)), labels)


def test_a_headed_strip_may_be_narrow_along_the_rows_but_not_short():
    labels = np.zeros((21, 12), int)
    labels[7:14, 5:8] = 1  # three cells wide, seven long, north and south
    assert np.array_equal(at_least_as_wide(labels, strip(6, 2, 0)), labels)
    assert not at_least_as_wide(labels, strip(6, 2, 90)).any()


def test_ranks_rise_from_the_lowest_up_so_that_a_slope_keeps_its_steps():
    labels = np.repeat([np.repeat(np.arange(6), 2)], 9, axis=0)  # six steps two cells wide
    found = at_least_as_wide(labels, strip(2, 2, 0), ordered=True)
    # three cells are needed: 0 joins 1, 2 joins 3, 4 joins 5
    assert found[4].tolist() == [1, 1, 1, 1, 3, 3, 3, 3, 5, 5, 5, 5]


def test_a_peak_too_small_for_the_window_is_widened_and_not_lowered():
    labels = np.zeros((9, 9), int)
    labels[4, 4] = 2
    found = at_least_as_wide(labels, strip(2, 2, 0), ordered=True)
    assert (found == 2).sum() == 9 and (found[3:6, 3:6] == 2).all()
    assert not at_least_as_wide(labels, strip(2, 2, 0)).any()


def test_labels_meeting_like_a_pinwheel_leave_nothing_narrow():
    # the cell in the middle fits no window of any of the four around it
    labels = np.array([[0, 0, 0, 1, 1], [0, 0, 0, 1, 1], [3, 3, 4, 1, 1],
                       [3, 3, 2, 2, 2], [3, 3, 2, 2, 2]])
    window = strip(1.5, 1.5, 45)
    found = at_least_as_wide(labels, window)
    assert np.array_equal(opened(found, window), allowed(labels, window))


def test_it_can_be_stopped():
    def tick(fraction):
        assert 0 <= fraction <= 1
        raise Stopped

    with pytest.raises(Stopped):
        at_least_as_wide(np.array([[0, 0, 0, 1, 0, 0, 0]] * 3), disk(1), tick=tick)
