"""The Illinois corn table against a second copy, typed here from the published page."""
from datetime import date

import numpy as np
import pytest

from plugin.core.decide.yield_response import load_table, percent

# Nafziger, E.D. (1994), J. Prod. Agric. 7:59-62, as reprinted by Purdue Extension, Pest & Crop
# 2012 no. 15, table 1: percent of the highest yield at 10, 12 ... 36 thousand plants per acre.
PRINTED = """
10 4 | 62 | 68 | 73 | 78 | 82 | 85 | 88 | 91 | 92 | 93 | 94 | 94 | 93 | 91
15 4 | 65 | 71 | 76 | 81 | 85 | 88 | 91 | 94 | 95 | 96 | 97 | 96 | 96 | 94
20 4 | 67 | 73 | 78 | 83 | 87 | 90 | 93 | 96 | 97 | 98 | 99 | 98 | 98 | 96
25 4 | 68 | 74 | 79 | 84 | 88 | 92 | 94 | 97 | 98 | 99 | 100 | 100 | 99 | 97
30 4 | 68 | 74 | 79 | 84 | 88 | 92 | 95 | 97 | 99 | 100 | 100 | 100 | 99 | 97
5 5 | 67 | 73 | 79 | 83 | 87 | 91 | 94 | 96 | 98 | 99 | 99 | 99 | 98 | 97
10 5 | 65 | 71 | 77 | 82 | 86 | 89 | 92 | 94 | 96 | 97 | 97 | 97 | 96 | 95
15 5 | 63 | 69 | 74 | 79 | 83 | 87 | 89 | 92 | 93 | 94 | 95 | 95 | 94 | 92
20 5 | 59 | 65 | 71 | 75 | 80 | 83 | 86 | 88 | 90 | 91 | 91 | 91 | 90 | 89
25 5 | 55 | 61 | 66 | 71 | 75 | 79 | 81 | 84 | 85 | 86 | 87 | 87 | 86 | 84
30 5 | 49 | 55 | 61 | 65 | 70 | 73 | 76 | 78 | 80 | 81 | 81 | 81 | 80 | 79
4 6 | 43 | 49 | 54 | 59 | 63 | 67 | 70 | 72 | 74 | 75 | 75 | 75 | 74 | 73
9 6 | 36 | 42 | 47 | 52 | 56 | 60 | 62 | 65 | 66 | 67 | 68 | 68 | 67 | 65
"""
STANDS = np.arange(10_000, 36_001, 2_000)


@pytest.fixture(scope="module")
def table():
    return load_table("corn_nafziger_1994", "plants/ac")


@pytest.mark.parametrize("line", PRINTED.strip().splitlines())
def test_each_date_reads_as_printed(table, line):
    when, *cells = line.split("|")
    day, month = map(int, when.split())
    found = percent(table, date(2026, month, day), STANDS)
    assert found.tolist() == [float(cell) for cell in cells]


def test_the_file_has_no_row_or_column_beyond_the_printed_ones(table):
    assert table.percent.shape == (len(PRINTED.strip().splitlines()), len(STANDS))
    assert table.stands.tolist() == STANDS.tolist()


def test_every_cell_is_a_date_part_plus_a_stand_part_within_rounding(table):
    # The printed table is additive; its largest departure from date mean + stand mean is 0.57
    # of a point, so a mistyped cell would stand out by more than 0.6.
    cells = table.percent
    additive = cells.mean(axis=1, keepdims=True) + cells.mean(axis=0) - cells.mean()
    assert np.abs(cells - additive).max() == pytest.approx(0.57, abs=0.005)  # as rounded there


@pytest.mark.parametrize(("when", "stand", "worked"), [
    # 30 April: halfway from 84 at 16,000 ... 88 at 18,000 is 3/4 of the way: 84 + 3 = 87
    (date(2026, 4, 30), 17_500, 87.0),
    # 3 May is 3/5 from 30 April to 5 May; at 21,500: 94.25 and 93.25, so 94.25 - 0.6
    (date(2026, 5, 3), 21_500, 93.65),
    # 22 May is 2/5 from 20 to 25 May; at 31,000: 91 and 87, so 91 - 1.6
    (date(2026, 5, 22), 31_000, 89.4),
    # 27 April at 19,000: (88 + 92) / 2 on both dates
    (date(2026, 4, 27), 19_000, 90.0),
    # 1 June is 2/5 from 30 May to 4 June; at 30,000: 81 and 75, so 81 - 2.4
    (date(2026, 6, 1), 30_000, 78.6)])
def test_between_the_printed_cells_it_is_straight_both_ways(table, when, stand, worked):
    assert float(percent(table, when, stand)) == pytest.approx(worked, abs=1e-9)  # rounding only


def test_the_pennsylvania_guide_reads_the_same_table():
    # Frankenfield (2018): 17,500 plants on 30 April make 87 %; 30,000 on 29 May make 81 %, which
    # is the row of 30 May: the guide rounds to the nearest row, straight lines give 82.2.
    table = load_table("corn_nafziger_1994", "plants/ac")
    assert float(percent(table, date(2018, 4, 30), 17_500)) == pytest.approx(87.0)
    assert float(percent(table, date(2018, 5, 30), 30_000)) == 81.0
    assert float(percent(table, date(2018, 5, 29), 30_000)) == pytest.approx(82.2)
