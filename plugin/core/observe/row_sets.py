"""Row units in sets that were counted side by side, each set tested by itself."""
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from ..problems import InputProblem
from .row_units import row_unit_test


@dataclass(frozen=True)
class RowUnitTests:
    """The RowUnitTest of each set, and sentences on what could not be compared."""
    tests: tuple
    not_compared: tuple

    @property
    def p_planter(self):
        """The least p of the units of any set, times the sets (Bonferroni)."""
        return min(1.0, len(self.tests) * min(test.p_planter for test in self.tests))

    @property
    def left_out(self):
        """Rows that compare nothing."""
        return sum(test.left_out for test in self.tests)


def row_unit_tests(stops, units, plants, lengths, *, tick=None, **settings):
    """Return the test of each set of row units that stops join, directly or by way of others.

    Where stops take in turn the one or the other set of neighbouring rows, units of two sets
    never stand on the same ground and are not compared; within each set they are.

    Parameters
        stops, units, plants, lengths, settings   as of `row_unit_test`
        tick   called with the fraction done; may raise Stopped
    Returns  RowUnitTests
    Raises   InputProblem: no set can be tested
    """
    rows = [np.asarray(part) for part in (stops, units, plants, lengths)]
    sets = _joined(*rows[:2])
    tests, reasons = [], []
    for number, chosen in enumerate(sets):
        try:
            tests.append(row_unit_test(*(part[chosen] for part in rows), **settings,
                                       tick=None if tick is None else _part(tick, number,
                                                                            len(sets))))
        except InputProblem as problem:
            reasons.append(str(problem))
    if not tests:
        raise InputProblem(reasons[0])
    if len(sets) > 1:
        reasons.append(f"Rows were counted in {len(sets)} sets that share no stop: whether a whole "
                       "set is off is not known. Begin the count at another row unit at some "
                       "stops.")
    return RowUnitTests(tuple(tests), tuple(dict.fromkeys(reasons)))


def _joined(stops, units):
    """Return the mask of the rows of each set, in order of the first unit."""
    numbers, stop = np.unique(stops, return_inverse=True)
    kinds, unit = np.unique(units, return_inverse=True)
    size = len(numbers) + len(kinds)
    links = coo_matrix((np.ones(len(stop)), (len(kinds) + stop, unit)), shape=(size, size))
    count, label = connected_components(links, directed=False)
    return [label[unit] == one for one in range(count)] or [np.zeros(0, bool)]


def _part(tick, number, count):
    return lambda done: tick((number + done) / count)
