import numpy as np
import pytest

from plugin.core.observations import ABOVE, BELOW, EXACT, Observations
from plugin.core.problems import InputProblem

PLACES = [[0, 0], [1, 0], [2, 0]]


def three(values=(1, 2, 3), **parts):
    return Observations.of("stand", "plants/ac", PLACES, values, **parts)


def test_errors_default_to_none_and_censoring_to_exact():
    found = three()
    assert len(found) == 3
    assert found.error_variance.tolist() == [0, 0, 0]
    assert found.censoring.tolist() == [EXACT] * 3
    assert found.labels == ("stand 1", "stand 2", "stand 3")


@pytest.mark.parametrize("keep", [[True, False, True], [0, 2]])
def test_a_subset_takes_all_parts_by_mask_or_number(keep):
    found = three(error_variance=[4, 5, 6], censoring=[ABOVE, EXACT, BELOW],
                  labels=["a", "b", "c"]).subset(keep)
    assert found.positions_m.tolist() == [[0, 0], [2, 0]]
    assert (found.values.tolist(), found.error_variance.tolist()) == ([1, 3], [4, 6])
    assert (found.censoring.tolist(), found.labels) == ([ABOVE, BELOW], ("a", "c"))


def test_a_subset_keeps_the_order_it_was_asked_for():
    assert three().subset([2, 0]).values.tolist() == [3, 1]


@pytest.mark.parametrize(("parts", "message"), [
    ({"values": [1, 2]}, r"stand: 2 values came with positions of shape \(3, 2\)"),
    ({"error_variance": [0, 0]}, "3 values came with 2 of error_variance"),
    ({"censoring": [0]}, "3 values came with 1 of censoring"),
    ({"labels": ["a"]}, "3 values came with 1 of labels"),
    ({"values": [1, np.nan, np.inf]}, "2 of 3 observations .* the first is stand 2"),
    ({"error_variance": [0, 0, -1]}, "1 of 3 observations .* the first is stand 3"),
    ({"error_variance": [np.nan, 0, 0], "labels": ["stop 7", "b", "c"]}, "the first is stop 7")])
def test_parts_that_do_not_fit_are_refused_by_name(parts, message):
    with pytest.raises(InputProblem, match=message):
        three(**parts)


def test_a_place_that_is_missing_is_refused():
    with pytest.raises(InputProblem, match="the first is depth 2"):
        Observations.of("depth", "in", [[0, 0], [np.nan, 1]], [1, 2])


def test_none_is_allowed_and_has_no_length():
    assert len(Observations.of("depth", "in", [], [])) == 0
