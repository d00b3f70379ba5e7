"""Clark and Evans: places at random score as normal figures do; clusters and lattices do not."""
import numpy as np
import pytest

from plugin.core.check.clustered import check_clustered, nearest_neighbours
from plugin.core.check.reading_set import ReadingSet
from plugin.core.problems import InputProblem


def readings(places):
    return ReadingSet("stand_counts", "Stand", "", np.arange(len(places)),
                      np.asarray(places, float), np.ones(len(places)))


@pytest.mark.parametrize("count", [10, 30, 100])
def test_places_at_random_score_as_normal_figures_do(count):
    draw = np.random.default_rng(count)
    scores = [nearest_neighbours(draw.uniform(0, 1, (count, 2)) * (400, 300), 120_000, 1_400).score
              for _ in range(800)]
    assert np.mean(scores) == pytest.approx(0, abs=0.12)  # 1 / sqrt(800) is 0.035
    assert np.std(scores) == pytest.approx(1, abs=0.1)
    # One in a hundred is called clustered by chance: 8 of 800, give or take 2.8.
    assert np.mean(np.array(scores) < -2.326) < 0.025


def test_the_sum_for_a_square_of_four_by_four():
    # 16 places 100 m apart in 400 m by 400 m: mean 100; expected 0.5 * 100 + (0.0514 + 0.041 / 4)
    # * 1600 / 16 = 56.165 m.
    places = [(50 + 100 * east, 50 + 100 * north) for east in range(4) for north in range(4)]
    found = nearest_neighbours(places, 160_000, 1_600)
    assert (found.places, found.mean_m) == (16, 100)
    assert found.expected_m == pytest.approx(56.165)
    assert found.ratio == pytest.approx(100 / 56.165)
    # Error: sqrt(0.070 * 160000 + 0.037 * 1600 * 100) / 16 = 8.177 m.
    assert found.score == pytest.approx((100 - 56.165) / 8.1777, rel=1e-3)
    assert check_clustered(readings(places), 160_000, 1_600) == []


def test_clusters_are_flagged():
    draw = np.random.default_rng(4)
    places = draw.uniform(0, 400, (5, 2)).repeat(6, axis=0) + draw.normal(0, 4, (30, 2))
    found = check_clustered(readings(places), 160_000, 1_600)
    assert [flag.kind for flag in found] == ["clustered_stops"]
    assert "The 30 places of stand lie" in found[0].what


def test_equal_places_count_once_and_few_say_nothing():
    places = np.repeat([(50 + 100 * east, 50) for east in range(7)], 4, axis=0)
    assert check_clustered(readings(places), 160_000, 1_600) == []
    with pytest.raises(InputProblem, match="7 places"):
        nearest_neighbours(places, 160_000, 1_600)
