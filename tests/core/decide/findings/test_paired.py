"""Two kinds of reading at the same stops."""
import numpy as np
import pytest
from scipy.stats import binom

from plugin.core.decide.findings.paired import enough_pairs, paired_difference
from plugin.core.problems import InputProblem

PAIRS = np.repeat(np.arange(6), 2), np.tile([True, False], 6)


def test_the_ground_of_a_stop_falls_out_and_the_rest_is_as_worked_by_hand():
    # Differences 1 2 3 4 5 6: mean 3.5, sd 1.8708, t(5, 0.95) = 2.0150: half 1.5390.
    values = np.array([101, 100, 52, 50, 3, 0, 904, 900, 15, 10, 26, 20.0])
    found = paired_difference(*PAIRS, values)
    assert found.difference == pytest.approx(3.5) and found.stops == 6
    assert (found.low, found.high) == pytest.approx((1.9610, 5.0390), abs=1e-4)
    # All six of one sign: 2 of 64 arrangements, but for the draw of 1,999 of them.
    assert found.p == pytest.approx(2 / 64, abs=4 * np.sqrt(2 / 64 / 2000))


def test_stops_of_one_kind_compare_nothing():
    stops, kinds = PAIRS
    values = np.arange(12.0)
    found = paired_difference([*stops, 77, 77], [*kinds, True, True], [*values, 1e6, 2e6])
    assert found == paired_difference(stops, kinds, values)


def test_kinds_that_do_not_differ_keep_the_level():
    generator, trials = np.random.default_rng(4), 150
    wrong = 0
    for _ in range(trials):
        stops = np.repeat(np.arange(12), 3)
        values = generator.normal(size=12)[stops] * 5 + generator.normal(size=36)
        wrong += paired_difference(stops, generator.random(36) < 0.4, values).p <= 0.05
    assert wrong <= binom.ppf(0.999, trials, 0.05)


def test_order_of_the_readings_does_not_matter():
    generator = np.random.default_rng(6)
    values = generator.normal(size=12)
    order = generator.permutation(12)
    one = paired_difference(*PAIRS, values)
    other = paired_difference(PAIRS[0][order], PAIRS[1][order], values[order])
    assert other.difference == pytest.approx(one.difference, rel=1e-12)
    assert other.low == pytest.approx(one.low, rel=1e-9)
    assert other.p == pytest.approx(one.p, abs=0.06)  # another draw of shuffles


@pytest.mark.parametrize("pairs,enough", [(5, False), (6, True)])
def test_five_pairs_can_never_be_rare_enough(pairs, enough):
    # 2 ** 5 = 32 arrangements: the rarest is 2 of 32, over 5 %.
    stops, kinds = PAIRS[0][:2 * pairs], PAIRS[1][:2 * pairs]
    assert enough_pairs(stops, kinds) is enough
    if not enough:
        with pytest.raises(InputProblem, match="10 readings hold too few of both kinds"):
            paired_difference(stops, kinds, np.arange(10.0))


def test_nothing_at_all_and_missing_values_are_refused():
    assert not enough_pairs([], [])
    with pytest.raises(InputProblem, match="1 of 12 readings have no value"):
        paired_difference(*PAIRS, [np.nan, *range(11)])
