"""Zones against outside sources: scikit-fuzzy, jenkspy and scipy, and figures worked elsewhere."""
import jenkspy
import numpy as np
import pytest
from scipy.cluster.vq import kmeans2
from skfuzzy import cmeans

from plugin.core.grid import Grid
from plugin.core.surface import Surface
from plugin.core.zone import fuzzy_c_means as module
from plugin.core.zone.class_limits import natural_breaks
from plugin.core.zone.fuzzy_c_means import fuzzy_c_means, gather, k_means, memberships
from plugin.core.zone.standardised import cloud_of
from plugin.core.zone.validity import classification_entropy, confusion, fuzziness_performance

SEVEN = [[0.9, 1, 1.1, 3, 4.8, 5, 5.2]]  # seven values and what fuzzy c-means makes of them
FIVE = np.array([[0.9, 0.8, 0.6, 0.1, 0.3], [0.1, 0.2, 0.4, 0.9, 0.7]])


def points(layers, cells=1000, seed=6):
    generator = np.random.default_rng(seed)
    middles = generator.normal(size=(layers, 4)) * 2
    return middles[:, generator.integers(4, size=cells)] + generator.normal(size=(layers, cells))


@pytest.mark.parametrize("count", [2, 3, 4, 5, 6])
@pytest.mark.parametrize("fuzzifier", [1.3, 1.5, 2.0])
def test_fuzzy_c_means_ends_where_scikit_fuzzy_ends_from_the_same_start(count, fuzzifier,
                                                                        monkeypatch):
    # both creep towards the same point: with steps this small they are 1e-6 from it at most
    monkeypatch.setattr(module, "STILL", 1e-11)
    monkeypatch.setattr(module, "MOST_STEPS", 3000)
    data = points(4)
    cloud = cloud_of(data)
    start = memberships(cloud, data[:, :count].T, fuzzifier=fuzzifier)
    centres, shares, _, _, objective, steps, partition = cmeans(
        data, count, fuzzifier, error=1e-10, maxiter=3000, init=start)
    weight = start**fuzzifier
    found = fuzzy_c_means(cloud, weight @ data.T / weight.sum(axis=1, keepdims=True),
                          fuzzifier=fuzzifier)
    assert steps < 3000 and found.at_rest
    assert found.centres == pytest.approx(centres, abs=1e-6)
    mine = memberships(cloud, found.centres, fuzzifier=fuzzifier)
    assert mine == pytest.approx(shares, abs=1e-6)
    assert found.objective == pytest.approx(objective[-1], rel=1e-6)
    assert fuzziness_performance(mine) == pytest.approx(
        count / (count - 1) * (1 - partition), abs=1e-6)


@pytest.mark.parametrize("count", [2, 4, 6])
def test_k_means_ends_where_scipy_ends_from_the_same_start(count):
    data = points(3)
    centres, label = kmeans2(data.T, data[:, :count].T, iter=300, minit="matrix")
    found = k_means(cloud_of(data), data[:, :count].T)
    assert found.at_rest and found.centres == pytest.approx(centres, abs=1e-6)
    assert found.objective == pytest.approx(((data.T - centres[label])**2).sum(), rel=1e-9)


@pytest.mark.parametrize("count", [2, 3, 5, 8])
@pytest.mark.parametrize("seed", range(4))
def test_natural_breaks_are_those_of_jenkspy(count, seed):
    values = np.random.default_rng(seed).gamma(2.0, 10.0, 400)
    surface = Surface("v", "", Grid(0.0, 0.0, 1.0, 20, 20), np.ones((20, 20)),
                      values.reshape(20, 20), np.zeros((20, 20)), {})
    # jenkspy names the highest value of each class, we the lowest of the class above
    highest = np.array(jenkspy.jenks_breaks(values, n_classes=count)[1:-1])
    ordered = np.sort(values)
    assert natural_breaks(surface, count) == pytest.approx(
        ordered[np.searchsorted(ordered, highest) + 1])


def test_seven_values_in_two_zones_as_worked_with_numpy():
    # project reference, zones and interpolation, 6a: computed there with numpy, fuzzifier 2
    cloud = cloud_of(SEVEN)
    found = gather(cloud, 2)
    order = np.argsort(found.centres[:, 0])
    shares = memberships(cloud, found.centres[order])
    assert found.centres[order, 0] == pytest.approx([1.154516, 4.844086], abs=1e-5)
    assert shares[:, 3] == pytest.approx([0.499621, 0.500379], abs=1e-5)
    assert found.objective == pytest.approx(1.944847, abs=1e-5)
    assert (shares**2).sum() / 7 == pytest.approx(0.924183, abs=1e-5)
    assert fuzziness_performance(shares) == pytest.approx(0.151633, abs=1e-5)
    assert classification_entropy(shares) == pytest.approx(0.163369, abs=1e-5)


def test_indices_of_five_cells_as_worked_with_numpy():
    # project reference, zones and interpolation, 6b
    assert fuzziness_performance(FIVE) == pytest.approx(0.632, abs=1e-6)
    assert classification_entropy(FIVE) == pytest.approx(0.702432, abs=1e-6)
    assert confusion(FIVE) == pytest.approx([0.2, 0.4, 0.8, 0.2, 0.6])
