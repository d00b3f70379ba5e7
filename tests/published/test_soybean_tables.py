"""Soybean and the Iowa tables of 2010 against the figures of their sources."""
from datetime import date

import pytest

from plugin.core.decide.yield_response import load_table, percent


def of_full_yield(name, month, day, stand):
    return float(percent(load_table(name, "plants/ac"), date(2026, month, day), stand))


@pytest.mark.parametrize(("table", "stand", "wanted"), [
    # Purdue field guide and replant column (second-hand): drilled, then rows of 30 in
    ("soybean_drilled_indiana", 160_000, 100), ("soybean_drilled_indiana", 120_000, 100),
    ("soybean_drilled_indiana", 80_000, 96), ("soybean_drilled_indiana", 60_000, 92),
    ("soybean_wide_indiana", 160_000, 100), ("soybean_wide_indiana", 120_000, 100),
    ("soybean_wide_indiana", 80_000, 100), ("soybean_wide_indiana", 60_000, 94)])
def test_soybean_planted_at_its_best_date_gives_the_percent_of_its_stand(table, stand, wanted):
    assert of_full_yield(table, 5, 10, stand) == wanted


@pytest.mark.parametrize(("month", "day", "wanted"), [
    (5, 10, 100), (5, 20, 98), (5, 30, 95), (6, 10, 88), (6, 20, 76)])  # Penn State (2012)
@pytest.mark.parametrize("table", ["soybean_drilled_indiana", "soybean_wide_indiana"])
def test_a_full_stand_of_soybean_gives_the_percent_of_its_date(table, month, day, wanted):
    assert of_full_yield(table, month, day, 130_000) == wanted


@pytest.mark.parametrize("table", ["soybean_drilled_indiana", "soybean_wide_indiana"])
def test_stand_and_date_multiply(table):
    stand = of_full_yield(table, 5, 10, 60_000)
    assert of_full_yield(table, 6, 10, 60_000) == pytest.approx(stand * 0.88)


@pytest.mark.parametrize(("stand", "row"), [
    # Iowa State newsletter of 3 May 2010: 35 and 30 read whole, 25 up to 25 May, 20 up to 5 May;
    # the others from memory
    (35_000, (100, 96, 87, 70, 54)), (30_000, (99, 95, 86, 69, 53)),
    (25_000, (95, 91, 83, 67, 51)), (20_000, (89, 85, 77, 63, 48)),
    (15_000, (81, 78, 71, 57, 44)), (10_000, (71, 68, 62, 50, 38))])
def test_iowa_of_2010_gives_each_figure_at_the_middle_of_its_window(stand, row):
    middles = ((4, 28), (5, 10), (5, 20), (5, 31), (6, 10))
    assert [of_full_yield("corn_iowa_2010", *day, stand) for day in middles] == list(row)
