"""How many stops: the table worked out for the reference, and what cannot be asked."""
import numpy as np
import pytest
from scipy.stats import t as student

from plugin.core.problems import InputProblem
from plugin.core.walk.stops_needed import precision_of, spread_percent, stops_needed

# Smallest n that satisfies n >= (t CV / E)2 at 95 %, worked out apart from this code.
TABLE = {5: (7, 5, 4, 3, 3), 10: (18, 10, 7, 5, 4), 15: (38, 18, 12, 7, 5),
         20: (64, 30, 18, 10, 7), 30: (141, 64, 38, 18, 12)}


@pytest.mark.parametrize("spread", TABLE)
def test_the_table_at_95_percent(spread):
    assert tuple(stops_needed(spread, precision) for precision in (5, 7.5, 10, 15, 20)) == \
        TABLE[spread]


@pytest.mark.parametrize(("spread", "precision", "stops"), [
    (10, 5, 13), (10, 10, 5), (15, 5, 27), (15, 10, 9), (20, 5, 46), (20, 10, 13)])
def test_the_figures_at_90_percent(spread, precision, stops):
    assert stops_needed(spread, precision, confidence_percent=90) == stops


@pytest.mark.parametrize("confidence", [80, 95, 99])
def test_the_number_is_enough_and_one_less_is_not(confidence):
    for spread in (4.0, 22.0, 61.0):
        stops = stops_needed(spread, 12.0, confidence_percent=confidence)
        half = [student.ppf(0.5 + confidence / 200, n - 1) * spread / np.sqrt(n)
                for n in (stops, max(stops - 1, 2))]
        assert half[0] <= 12.0
        assert stops == 2 or half[1] > 12.0
        assert precision_of(stops, spread, confidence_percent=confidence) == pytest.approx(half[0])


def test_hardly_any_spread_still_takes_two_stops():
    assert stops_needed(0.001, 100.0) == 2


@pytest.mark.parametrize(("spread", "precision", "confidence", "words"), [
    (0, 10, 95, "spread"), (-5, 10, 95, "spread"), (np.nan, 10, 95, "spread"),
    (15, 0, 95, "precision"), (15, np.inf, 95, "precision"), (15, 10, 100, "confidence"),
    (15, 10, 0, "confidence"), (90, 1, 95, "more than 500")])
def test_what_cannot_be_asked_is_refused(spread, precision, confidence, words):
    with pytest.raises(InputProblem, match=words):
        stops_needed(spread, precision, confidence_percent=confidence)


def test_the_spread_of_earlier_stops_is_that_of_the_reference():
    # Worked by hand: mean 28.000, s 3.6253, CV 12.948 %.
    assert spread_percent([27, 31, 24, 29, 33, 22, 30, 28, np.nan]) == pytest.approx(12.948,
                                                                                   abs=5e-4)


@pytest.mark.parametrize(("values", "words"), [
    ([1, 2, 3, 4, np.nan], "4 stops"), ([2, 2, 2, 2, 2], "spread 0"),
    ([0, 0, 0, 0, 0], "mean 0"), ([-1, 1, -2, 2, -3], "mean -0.6")])
def test_earlier_stops_that_say_nothing_are_refused(values, words):
    with pytest.raises(InputProblem, match=words):
        spread_percent(values)
