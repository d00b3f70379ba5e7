import numpy as np
import pytest

from plugin.core.problems import InputProblem
from plugin.core.zone.standardised import cloud_of
from plugin.core.zone.validity import (
    Validity,
    best_count,
    classification_entropy,
    confusion,
    fuzziness_performance,
    validity,
)

CRISP = np.array([[1.0, 1, 0], [0, 0, 1]])
EVEN = np.full((3, 4), 1 / 3)


def test_indices_run_from_0_for_crisp_zones_to_1_for_none():
    assert fuzziness_performance(CRISP) == 0 and classification_entropy(CRISP) == pytest.approx(0)
    assert fuzziness_performance(EVEN) == pytest.approx(1)
    assert classification_entropy(EVEN) == pytest.approx(1)


def test_confusion_is_1_where_two_zones_are_as_likely():
    assert confusion(np.array([[0.5, 0.9, 0.2], [0.5, 0.1, 0.2], [0, 0, 0.6]])) == pytest.approx(
        [1.0, 0.2, 0.6])


def test_the_share_explained_is_that_of_the_likeliest_zones():
    # labels 0 0 1 1 of values 0 2 8 10: within 2 + 2, in all 68
    found = validity(cloud_of([[0.0, 2, 8, 10]]), np.array([[0.9, 0.8, 0.3, 0.1],
                                                            [0.1, 0.2, 0.7, 0.9]]))
    assert found.by_layer == pytest.approx([1 - 4 / 68]) and found.explained == found.by_layer[0]


def rows(*figures):
    return [Validity(number, fuzziness, entropy, explained, np.array([explained]))
            for number, (fuzziness, entropy, explained) in enumerate(figures, start=2)]


def test_the_least_sum_of_ranks_is_taken_and_of_several_the_fewest_zones():
    assert best_count(rows((0.5, 0.5, 0.3), (0.2, 0.3, 0.5), (0.4, 0.4, 0.7)))[0] == 3
    assert best_count(rows((0.5, 0.4, 0.3), (0.4, 0.5, 0.5)))[0] == 2


def test_a_zone_more_must_explain_five_points_more():
    count, reason = best_count(rows((0.5, 0.5, 0.3), (0.4, 0.4, 0.5), (0.1, 0.1, 0.54)))
    assert count == 3
    assert "From 3 to 4 zones the share of variance explained rises by less than 5%" in reason
    assert best_count(rows((0.5, 0.5, 0.3)))[1] == "2 zones, as asked for."
    with pytest.raises(InputProblem, match="No number of zones was tried"):
        best_count([])
