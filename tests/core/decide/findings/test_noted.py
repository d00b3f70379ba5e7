"""Shares of thin stops and others with a note."""
import numpy as np
import pytest
from scipy.stats import binom

from bench.findings import patchy, places
from plugin.core.decide.findings.noted import noted_shares, thin_stops
from plugin.core.problems import InputProblem

SCATTERED = np.random.default_rng(0).uniform(0, 400, (16, 2))
STAND = np.array([20.0] * 6 + [30.0] * 10)


def test_thin_is_a_tenth_below_the_middle_stop():
    assert thin_stops([30, 30, 27, 27.1, 40]).tolist() == [False, False, True, False, False]
    assert len(thin_stops([])) == 0


def test_shares_and_their_difference_are_as_worked_by_hand():
    noted = np.array([1, 1, 1, 1, 1, 0] + [1] + [0] * 9, bool)
    found = noted_shares(thin_stops(STAND), noted, STAND, SCATTERED)
    assert (found.thin_noted, found.thin, found.others_noted, found.others) == (5, 6, 1, 10)
    assert found.difference == pytest.approx(5 / 6 - 1 / 10)
    # Fisher, two-sided: tables of margins 6, 6: (C(6,5) C(10,1) + C(6,6)) / C(16,6) = 61 / 8008,
    # the tables at the other end (0 of 6: C(10,6) = 210) are likelier than 60.
    assert found.p >= 61 / 8008 - 1e-12
    # Wilson, 90 %: 5 of 6 (0.7297 -+ 0.2322), 1 of 10 (0.1852 -+ 0.1625); Newcombe from these:
    # 0.7333 - sqrt(0.3357^2 + 0.2477^2), 0.7333 + sqrt(0.1286^2 + 0.0774^2).
    assert (found.low, found.high) == pytest.approx((0.3161, 0.8834), abs=2e-4)


def test_where_stops_are_independent_the_p_is_that_of_fisher_or_a_little_more():
    noted = np.array([1, 1, 1, 1, 1, 0] + [1] + [0] * 9, bool)
    generator = np.random.default_rng(12)
    found = [noted_shares(thin_stops(STAND), noted, STAND, generator.uniform(0, 400, (16, 2))).p
             for _ in range(20)]
    assert np.median(found) < 0.02  # Fisher's is 0.0076


def test_two_patchy_things_are_called_linked_in_one_of_twenty_at_most():
    generator, trials, wrong = np.random.default_rng(9), 200, 0
    for _ in range(trials):
        where = places(generator)
        stand = 30 + 4 * patchy(where, generator, 200.0, 0.1)
        noted = patchy(where, generator, 200.0, 0.1) > 0.3
        thin = thin_stops(stand)
        if noted.any() and not noted.all() and thin.any():
            wrong += noted_shares(thin, noted, stand, where).p <= 0.05
    assert wrong <= binom.ppf(0.999, trials, 0.05)


@pytest.mark.parametrize("thin,noted", [
    (np.ones(16, bool), np.arange(16) < 3), (np.zeros(16, bool), np.arange(16) < 3),
    (np.arange(16) < 6, np.zeros(16, bool)), (np.arange(16) < 6, np.ones(16, bool))])
def test_what_cannot_be_compared_is_refused(thin, noted):
    with pytest.raises(InputProblem, match="16 stops that were looked at, .* cannot be compared"):
        noted_shares(thin, noted, STAND, SCATTERED)
