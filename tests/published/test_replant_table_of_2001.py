"""The Iowa corn table of 2001 against a second copy, typed here from the published page."""
from datetime import date

import numpy as np
import pytest

from plugin.core.decide.yield_response import load_table, percent

# Iowa State University Extension, PM 1885 (2001). Each window by its first and last day, then the
# percent at 28 to 32, 24, 20, 16 and 12 thousand plants per acre.
PRINTED = [((4, 20), (5, 5), (100, 94, 81, 74, 68)), ((5, 13), (5, 19), (99, 93, 80, 73, 67)),
           ((5, 26), (6, 1), (90, 85, 73, 67, 61)), ((6, 10), (6, 16), (68, 64, 55, 50, 46)),
           ((6, 24), (6, 28), (52, 49, 42, 38, 35))]


@pytest.fixture(scope="module")
def table():
    return load_table("corn_iowa_2001", "plants/ac")


@pytest.mark.parametrize(("first", "last", "cells"), PRINTED)
def test_each_window_reads_as_printed_from_its_first_to_its_last_day(table, first, last, cells):
    stands = [28_000, 24_000, 20_000, 16_000, 12_000]
    for month, day in (first, last):
        assert percent(table, date(2026, month, day), stands).tolist() == list(cells)
        assert percent(table, date(2026, month, day), [30_000, 32_000]).tolist() == [cells[0]] * 2


def test_every_cell_is_a_window_times_a_stand_within_rounding(table):
    # The printed table is multiplicative: a rank-one table with each cell rounded to a whole
    # percent is at most 0.5 off, and a little more as the factors are estimated from rounded cells.
    left, size, right = np.linalg.svd(table.percent)
    assert np.abs(table.percent - size[0] * np.outer(left[:, 0], right[0])).max() < 0.7
