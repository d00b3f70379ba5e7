"""Correlation and difference of means where neighbouring readings are alike."""
import numpy as np
import pytest
from scipy.special import stdtrit
from scipy.stats import binom, spearmanr, ttest_ind

from bench.findings import patchy, places
from plugin.core.decide.findings.association import (
    CLASSES,
    mean_difference,
    rank_association,
)
from plugin.core.problems import InputProblem


def effective_by_the_book(first, second, positions):
    """Dutilleul's equation with plain loops and the centring matrix written out."""
    count = len(first)
    apart = np.linalg.norm(positions[:, None] - positions[None], axis=2)
    edges = np.linspace(0, apart.max(), CLASSES + 1)
    matrices = []
    for values in (first - first.mean(), second - second.mean()):
        matrix = np.empty((count, count))
        for lower, upper in zip(edges[:-1], edges[1:]):
            pairs = [(i, j) for i in range(count) for j in range(count)
                     if i != j and lower < apart[i, j] <= upper]
            if pairs:
                mean = np.mean([values[i] * values[j] for i, j in pairs])
                for i, j in pairs:
                    matrix[i, j] = mean
        np.fill_diagonal(matrix, np.mean(values**2))
        centre = np.eye(count) - 1 / count
        matrices.append(centre @ matrix @ centre)
    one, other = matrices
    return 1 + np.trace(one) * np.trace(other) / np.trace(one @ other)


def test_the_effective_number_is_that_of_the_equation():
    generator = np.random.default_rng(7)
    where = generator.uniform(0, 300, (14, 2))
    first, second = patchy(where, generator, 150.0), patchy(where, generator, 150.0)
    ranks = [np.argsort(np.argsort(values)) + 1.0 for values in (first, second)]
    expected = effective_by_the_book(*ranks, where)
    assert 2 < expected < 14  # else the cap would hide a difference
    assert rank_association(first, second, where).effective == pytest.approx(expected, rel=1e-9)


def test_the_correlation_is_spearmans():
    generator = np.random.default_rng(5)
    where = generator.uniform(0, 300, (30, 2))
    first, second = generator.normal(size=30), generator.normal(size=30).round(1)  # with ties
    found = rank_association(first, second, where)
    assert found.correlation == pytest.approx(spearmanr(first, second)[0], rel=1e-12)
    assert found.low < found.correlation < found.high and found.pairs == 30


def test_infinite_depths_rank_as_the_deepest():
    where = np.column_stack([np.arange(9.0), np.zeros(9)])
    deep = np.array([3, 1, 2, 9, 9, 4, 6, 7, 8.0])
    found = rank_association(np.where(deep == 9, np.inf, deep), deep, where)
    assert found.correlation == pytest.approx(1.0) and found.p < 1e-6


def test_it_knows_neither_scale_order_nor_place():
    generator = np.random.default_rng(8)
    where = places(generator)
    first, second = patchy(where, generator), patchy(where, generator)
    found = rank_association(first, second, where)
    order = generator.permutation(len(where))
    turned = (where @ np.array([[0.6, 0.8], [-0.8, 0.6]]) * 3 + 500)[order]
    again = rank_association(np.exp(first)[order], 9 - 2 * second[order], turned)
    # rounding may move a pair at an edge to the next class of distance
    assert again.correlation == pytest.approx(-found.correlation, rel=1e-9)
    assert again.p == pytest.approx(found.p, rel=0.05)


@pytest.mark.parametrize("range_m,nugget", [(1.0, 1.0), (80.0, 0.3), (200.0, 0.1)])
def test_unlinked_patchy_variables_are_called_linked_in_one_of_twenty(range_m, nugget):
    generator, trials = np.random.default_rng(11), 300
    naive = wrong = wrong_means = 0
    for _ in range(trials):
        where = places(generator)
        first, second = (patchy(where, generator, range_m, nugget) for _ in range(2))
        wrong += rank_association(first, second, where).p <= 0.05
        wrong_means += mean_difference(first, where[:, 1] < 60, where).p <= 0.05
        naive += spearmanr(first, second)[1] <= 0.05
    most = binom.ppf(0.999, trials, 0.05)  # 5 %, and what chance adds in 999 of 1000 runs
    assert wrong <= most and wrong_means <= most
    if nugget < 0.2:
        assert naive > most  # as the plain test does, taking neighbours for independent


def test_independent_readings_are_worth_nearly_their_number_and_the_plain_t_test_comes_out():
    generator = np.random.default_rng(2)
    where = generator.uniform(0, 500, (60, 2))
    group = generator.random(60) < 0.4
    values = generator.normal(10, 2, 60) - 3 * group
    found = mean_difference(values, group, where)
    plain = ttest_ind(values[group], values[~group])
    assert found.effective > 45 and found.difference == pytest.approx(
        values[group].mean() - values[~group].mean())
    assert found.low < found.difference < found.high < 0
    assert np.log10(found.p) == pytest.approx(np.log10(plain.pvalue), rel=0.25)


def test_the_interval_holds_no_difference_just_where_the_p_says_so():
    generator, sides = np.random.default_rng(21), []
    for _ in range(60):
        where = places(generator)
        group = where[:, 0] < 100
        values = patchy(where, generator) - 0.8 * group
        found = mean_difference(values, group, where)
        assert (found.low < 0 < found.high) == (found.p > 0.10)  # the 90 % interval
        # Student's t of the slope: difference over its error, with the effective number less 2.
        free = found.effective - 2
        r = np.corrcoef(values, group)[0, 1]
        error = (found.high - found.difference) / stdtrit(free, 0.95)
        assert found.difference / error == pytest.approx(r * np.sqrt(free / (1 - r**2)))
        sides.append(found.p > 0.10)
    assert 10 < sum(sides) < 50  # both sides were met


@pytest.mark.parametrize("first,second,count,words", [
    (np.arange(7.0), np.arange(7.0), 7, "7 pairs are too few"),
    (np.arange(3001.0), np.arange(3001.0), 3001, "3001 pairs are too many"),
    (np.ones(9), np.arange(9.0), 9, "alike"), (np.arange(9.0), np.ones(9), 9, "alike"),
    (np.arange(9.0), np.arange(8.0), 9, "9 and 8 values came with 9")])
def test_what_cannot_be_correlated_is_refused(first, second, count, words):
    with pytest.raises(InputProblem, match=words):
        rank_association(first, second, np.random.default_rng(0).random((count, 2)))


def test_readings_all_at_one_place_tell_nothing_but_do_not_fail():
    found = rank_association(np.arange(9.0), np.arange(9.0)[::-1], np.zeros((9, 2)))
    assert found.correlation == pytest.approx(-1.0) and 0 <= found.p <= 1
