"""The closed forms against quadrature, simulation and working by hand."""
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from plugin.core.decide.piecewise_line import PiecewiseLine

# Falls from 100 through 0 at 15, dips, and climbs back through 0 at 35.
LINE = PiecewiseLine(np.array([0.0, 10, 20, 30, 40]), np.array([100.0, 50, -50, -20, 20]))


def test_it_is_straight_between_its_knots_and_level_outside():
    assert LINE.at([-5, 0, 5, 15, 35, 90]).tolist() == [100, 100, 75, 0, 0, 20]


def test_crossings_are_where_the_sign_changes_as_worked_by_hand():
    # 50 to -50 over 10 from 10: at 15; -20 to 20 over 10 from 30: at 35
    assert LINE.crossings().tolist() == [15, 35]
    # 0 counts as not above: it leaves 0 at 2 and reaches it at 4
    flat = PiecewiseLine(np.arange(6.0), np.array([0.0, 0, 0, 3, 0, 0]))
    assert flat.crossings().tolist() == [2, 4]


def test_the_mean_of_a_hinge_is_the_unit_normal_loss_as_tabled():
    # E[max(Z, 0)] for a standard normal Z is 1 / sqrt(2 pi) = 0.398942; the line rises from 0 at 0
    # to 40 at 40, which is 40 standard deviations away
    hinge = PiecewiseLine(np.array([0.0, 40]), np.array([0.0, 40]))
    assert hinge.expected([0.0], [1.0]) == pytest.approx([0.3989423], abs=1e-7)  # as tabled


@pytest.mark.parametrize(("mean", "spread"), [(12, 4), (15, 0.1), (25, 30), (-20, 3), (60, 15),
                                              (35, 2)])
def test_mean_and_chance_agree_with_quadrature(mean, spread):
    def integral(of):
        bends = [*LINE.knots, *LINE.crossings()]
        ends = np.clip(np.sort([mean - 9 * spread, *bends, mean + 9 * spread]),
                       mean - 9 * spread, mean + 9 * spread)
        return sum(quad(lambda s: of(s) * norm.pdf(s, mean, spread), low, high)[0]
                   for low, high in zip(ends[:-1], ends[1:]) if high > low)
    # 9 standard deviations hold all but 1e-18 of the weight; quad is asked for 1.5e-8
    assert LINE.expected([mean], [spread]) == pytest.approx([integral(LINE.at)], abs=1e-6)
    assert LINE.chance_above_zero([mean], [spread]) == pytest.approx(
        [integral(lambda s: float(LINE.at(s) > 0))], abs=1e-6)


def test_mean_and_chance_agree_with_simulation():
    means, spreads = np.array([8.0, 16, 33, 50]), np.array([6.0, 3, 9, 20])
    drawn = means + spreads * np.random.default_rng(7).standard_normal((200_000, 4))
    gained = LINE.at(drawn)
    # four standard errors of a mean of 200,000 draws: false alarms some 1 in 2,000
    allowed = 4 * gained.std(axis=0) / np.sqrt(200_000)
    assert (np.abs(gained.mean(axis=0) - LINE.expected(means, spreads)) < allowed).all()
    share = (gained > 0).mean(axis=0)
    allowed = 4 * np.sqrt(share * (1 - share) / 200_000)
    assert (np.abs(share - LINE.chance_above_zero(means, spreads)) < allowed).all()


def test_without_uncertainty_it_is_the_value_itself():
    means = np.array([3.0, 15, 16, 36, 99])
    assert LINE.expected(means, 0).tolist() == LINE.at(means).tolist()
    assert LINE.chance_above_zero(means, 0).tolist() == [1, 0, 0, 1, 1]


@given(st.lists(st.integers(-50, 50), min_size=2, max_size=8), st.floats(-30, 90),
       st.floats(0.01, 50))
def test_the_mean_lies_between_the_extremes_and_the_chance_between_0_and_1(values, mean, spread):
    line = PiecewiseLine(np.arange(0.0, 10 * len(values), 10), np.array(values, float))
    low, high = min(values), max(values)
    assert low - 1e-9 <= line.expected([mean], [spread])[0] <= high + 1e-9  # rounding only
    chance = line.chance_above_zero([mean], [spread])[0]
    opposite = PiecewiseLine(line.knots, -line.values).chance_above_zero([mean], [spread])[0]
    assert 0 <= chance <= 1 and chance + opposite <= 1 + 1e-9
