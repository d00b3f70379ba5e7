import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plugin.core.problems import InputProblem, Stopped
from plugin.core.zone import fuzzy_c_means as module
from plugin.core.zone.fuzzy_c_means import (
    Neighbours,
    fuzzy_c_means,
    gather,
    k_means,
    memberships,
    spread_centres,
)
from plugin.core.zone.standardised import cloud_of, standardised


def blobs(cells=600, layers=3, seed=1):
    generator = np.random.default_rng(seed)
    middles = generator.normal(size=(layers, 3)) * 4
    return middles[:, np.arange(cells) % 3] + generator.normal(size=(layers, cells))


def test_layers_have_mean_0_and_deviation_1_whatever_their_unit():
    cloud = standardised([[1.0, 2, 6], [1000, 3000, 2000]], ["a", "b"])
    assert cloud.points().mean(axis=1) == pytest.approx(0, abs=1e-12)
    assert cloud.points().std(axis=1) == pytest.approx(1)
    with pytest.raises(InputProblem, match="pH has the value 6.1 in all cells used. Leave it out"):
        standardised([[1.0, 2], [6.1, 6.1]], ["a", "pH"])


@settings(max_examples=40)
@given(st.integers(1, 5000), st.sampled_from([1.3, 1.5, 2.0, 3.0]))
def test_memberships_are_those_of_the_formula_in_blocks_of_any_filling(cells, fuzzifier):
    points = blobs(cells)
    centres = blobs(3, seed=2).T
    apart = np.sqrt(((points[None] - centres[:, :, None])**2).sum(axis=1))
    power = 2 / (fuzzifier - 1)
    expected = 1 / ((apart[:, None] / apart[None])**power).sum(axis=1)
    found = memberships(cloud_of(points), centres, fuzzifier=fuzzifier)
    # squared distances come from a difference of squares, good to some 1e-12 of their size
    assert found == pytest.approx(expected, abs=1e-8)


def test_a_cell_at_a_centre_belongs_to_it_alone():
    found = memberships(cloud_of([[0.0, 1.0, 5.0]]), [[0.0], [5.0]], fuzzifier=1.3)
    assert found[:, [0, 2]] == pytest.approx(np.eye(2), abs=1e-9)


@pytest.mark.parametrize("fuzzifier", [1.5, 2.0, 1.8])
def test_at_rest_each_centre_is_the_weighted_mean_of_its_cells(fuzzifier):
    cloud = cloud_of(blobs())
    found = fuzzy_c_means(cloud, blobs(3).T, fuzzifier=fuzzifier)
    weight = memberships(cloud, found.centres, fuzzifier=fuzzifier)**fuzzifier
    mean = weight @ cloud.points().T / weight.sum(axis=1, keepdims=True)
    assert found.at_rest and mean == pytest.approx(found.centres, abs=1e-5)  # ends at steps of 1e-6
    apart = ((cloud.points()[None] - found.centres[:, :, None])**2).sum(axis=1)
    assert found.objective == pytest.approx((weight * apart).sum(), rel=1e-5)


def test_no_nearby_centres_cost_less():
    cloud = cloud_of(blobs())
    found = fuzzy_c_means(cloud, blobs(3).T)

    def cost(centres):
        apart = ((cloud.points()[None] - centres[:, :, None])**2).sum(axis=1)
        return (memberships(cloud, centres)**2 * apart).sum()
    for seed in range(20):
        shift = np.random.default_rng(seed).normal(size=found.centres.shape) * 0.01
        assert cost(found.centres + shift) > cost(found.centres)


def test_k_means_gives_each_cell_to_the_first_nearest_centre():
    # 2 lies half way: it goes to the first, so the centres end at 1 and 4 + a bit
    found = k_means(cloud_of([[0.0, 1.0, 2.0, 4.0]]), [[0.5], [3.5]])
    assert found.centres.tolist() == [[1.0], [4.0]]
    assert found.objective == pytest.approx(2.0)


def test_a_centre_without_cells_stays_where_it_is():
    found = k_means(cloud_of([[0.0, 1.0]]), [[0.5], [9.0]])
    assert found.centres.tolist() == [[0.5], [9.0]]


def test_the_answer_does_not_depend_on_threads_or_blocks(monkeypatch):
    cloud, start = cloud_of(blobs(40_000)), blobs(3).T
    whole = fuzzy_c_means(cloud, start)
    monkeypatch.setattr(module, "TOGETHER", 3)
    assert fuzzy_c_means(cloud, start).centres == pytest.approx(whole.centres, abs=1e-9)


def test_starts_are_cells_apart_and_the_same_seed_gives_the_same():
    cloud = cloud_of(blobs())
    one, same, other = (spread_centres(cloud, 3, np.random.default_rng(seed)) for seed in (4, 4, 5))
    assert np.array_equal(one, same) and not np.array_equal(one, other)
    assert len(np.unique(spread_centres(cloud_of([[1.0, 1, 1, 7]]), 2,
                                        np.random.default_rng(0)))) == 2


def test_the_best_of_several_starts_finds_the_three_blobs():
    points = blobs(30_000)  # more than are tried
    found = gather(cloud_of(points), 3, starts=5)
    label = memberships(cloud_of(points), found.centres).argmax(axis=0)
    for blob in range(3):
        assert np.bincount(label[blob::3]).max() > 0.9 * 10_000  # two of them overlap


def test_neighbours_silence_a_lone_cell():
    values = np.where(np.arange(20) < 10, 0.0, 1.0) * np.ones((20, 1))
    values[10, 4] = 1.0
    field = np.ones((20, 20), bool)
    field[3, :7] = False
    cloud = cloud_of(values[field][None])
    alone = fuzzy_c_means(cloud, [[0.2], [0.8]])
    label = np.full(field.shape, -1)
    label[field] = memberships(cloud, alone.centres).argmax(axis=0)
    assert label[10, 4] == 1
    around = Neighbours(field, 1.0)
    label[field] = memberships(cloud, [[0.3], [0.6]], neighbours=around).argmax(axis=0)
    smooth = fuzzy_c_means(cloud, [[0.2], [0.8]], neighbours=around)
    found = memberships(cloud, smooth.centres, neighbours=Neighbours(field, 4.0))
    assert found.sum(axis=0) == pytest.approx(1)
    label[field] = found.argmax(axis=0)
    assert label[10, 2] == 0 and label[10, 15] == 1


def test_memberships_with_neighbours_are_those_of_the_formula():
    # Chuang et al., p = q = 1: u times the sum of u in the 5 by 5 cells around, over their total
    values = np.random.default_rng(3).normal(size=(9, 8))
    field = np.random.default_rng(4).uniform(size=(9, 8)) < 0.8
    cloud, centres = cloud_of(values[field][None]), np.array([[-1.0], [0.5]])
    plain = np.zeros((2, 9, 8))
    plain[:, field] = memberships(cloud, centres)
    expected = np.zeros((2, 9, 8))
    for row, column in np.argwhere(field):
        around = plain[:, max(0, row - 2):row + 3, max(0, column - 2):column + 3].sum(axis=(1, 2))
        weighed = plain[:, row, column] * around
        expected[:, row, column] = weighed / weighed.sum()
    found = memberships(cloud, centres, neighbours=Neighbours(field))
    assert found == pytest.approx(expected[:, field], abs=1e-12)


@pytest.mark.parametrize("count", [0, 1, 5])
def test_a_number_of_zones_that_cannot_be_is_refused(count):
    with pytest.raises(InputProblem, match=f"{count} zones were asked .* more than the 4 cells"):
        gather(cloud_of([[1.0, 2, 3, 4]]), count)


def test_a_fuzzifier_of_1_is_refused_and_a_search_can_be_stopped():
    with pytest.raises(InputProblem, match="fuzzifier is 1; enter a number above 1"):
        fuzzy_c_means(cloud_of([[1.0, 2]]), [[1.0], [2.0]], fuzzifier=1.0)

    def tick(fraction):
        assert 0 < fraction <= 1
        raise Stopped
    with pytest.raises(Stopped):
        gather(cloud_of(blobs()), 2, tick=tick)
