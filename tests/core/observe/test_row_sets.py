import numpy as np
import pytest

from plugin.core.deliver.row_unit_account import row_unit_verdict
from plugin.core.observe.row_sets import row_unit_tests
from plugin.core.observe.row_units import row_unit_test
from plugin.core.problems import InputProblem, Stopped

# Stops take units 1 to 4 and 5 to 8 in turn; unit 6 is a third short.
STOPS = np.repeat(np.arange(20), 4)
UNITS = np.tile([1, 2, 3, 4, 5, 6, 7, 8], 10)
PLANTS = np.random.default_rng(6).poisson(np.where(UNITS == 6, 20, 30)).astype(float)
LENGTHS = np.full(80, 17.4)


def test_sets_that_share_no_stop_are_tested_each_by_itself():
    found = row_unit_tests(STOPS, UNITS, PLANTS, LENGTHS, permutations=199)
    assert [[one.unit for one in test.units] for test in found.tests] == [[1, 2, 3, 4],
                                                                          [5, 6, 7, 8]]
    later = UNITS > 4
    alone = row_unit_test(STOPS[later], UNITS[later], PLANTS[later], LENGTHS[later],
                          permutations=199)
    assert found.tests[1] == alone and [one.unit for one in alone.faulty] == [6]
    assert found.p_planter == pytest.approx(2 * alone.p_planter)
    assert "2 sets that share no stop" in found.not_compared[0]
    words = row_unit_verdict(found)
    assert "Row units 5, 6, 7, 8: the stand follows the planter" in words
    assert "share no stop" in words


def test_one_stop_that_holds_units_of_both_makes_one_set():
    stops, units = np.append(STOPS, [99, 99]), np.append(UNITS, [4, 5])
    found = row_unit_tests(stops, units, np.append(PLANTS, [30, 30]), np.append(LENGTHS, [17, 17]),
                           permutations=9)
    assert len(found.tests) == 1 and found.not_compared == ()


def test_a_set_that_tells_nothing_does_not_hide_the_others():
    stops, units = np.append(STOPS, [98, 99]), np.append(UNITS, [15, 16])
    found = row_unit_tests(stops, units, np.append(PLANTS, [30, 30]), np.append(LENGTHS, [17, 17]),
                           permutations=9)
    assert len(found.tests) == 2 and "Count several rows" in found.not_compared[0]


@pytest.mark.parametrize(("stops", "units"), [([1, 2], [1, 2]), ([], [])])
def test_without_a_set_that_can_be_tested_it_is_refused(stops, units):
    with pytest.raises(InputProblem, match="No stop has rows of two row units"):
        row_unit_tests(stops, units, np.full(len(stops), 30.0), np.ones(len(stops)))


def test_progress_rises_over_the_sets_and_a_stop_travels_up():
    told = []
    row_unit_tests(STOPS, UNITS, PLANTS, LENGTHS, permutations=300, tick=told.append)
    assert told == sorted(told) and told[-1] == 1 and len(told) == 4

    def tick(fraction):
        raise Stopped
    with pytest.raises(Stopped):
        row_unit_tests(STOPS, UNITS, PLANTS, LENGTHS, tick=tick)
