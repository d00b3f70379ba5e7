from datetime import date

import numpy as np
import pytest

from plugin.core.decide.yield_response import (
    held_at_its_edges,
    load_table,
    own_table,
    percent,
    percent_within,
    tables,
    usual_table,
)
from plugin.core.problems import InputProblem

TABLE = load_table("corn_nafziger_1994", "plants/ac")
PLANTED = date(2026, 4, 30)


def test_the_tables_there_are_carry_their_source_year_region_crop_and_status():
    assert list(tables()) == ["corn_iowa_2001", "corn_iowa_2010", "corn_nafziger_1994",
                              "soybean_drilled_indiana", "soybean_wide_indiana"]
    for name, title in tables().items():
        table = load_table(name, "plants/ac")
        assert table.title == title and table.crop in name and table.status in ("R", "R2", "M")
        assert str(table.year) in table.source and table.region and table.note
        assert (np.diff(table.days) > 0).all() and (np.diff(table.stands) > 0).all()


def test_stands_per_hectare_read_the_same_cells():
    # 28,000 plants/ac are 28,000 x 2.4710538 plants/ha
    metric = load_table("corn_nafziger_1994", "plants/ha")
    assert float(percent(metric, PLANTED, 28_000 * 2.4710538)) == pytest.approx(100, abs=1e-5)
    assert metric.reach == "10 April to 9 June and 24,711 to 88,958 plants/ha"


@pytest.mark.parametrize(("crop", "row_m", "table"), [
    ("corn", 0.762, "corn_nafziger_1994"), (None, None, "corn_nafziger_1994"),
    ("soybean", 0.762, "soybean_wide_indiana"), ("soybean", 0.19, "soybean_drilled_indiana"),
    ("soybean", None, "soybean_drilled_indiana")])
def test_each_crop_has_its_usual_table(crop, row_m, table):
    assert usual_table(crop, row_m) == table


@pytest.mark.parametrize("crop", ["sorghum", "wheat", "other"])
def test_a_crop_without_a_table_is_refused(crop):
    with pytest.raises(InputProblem, match="no yield table for .* yet, so no replant plan"):
        usual_table(crop)


OWN = """# title: Corn in our valley
# source: Our own strips of 2019 to 2025
# year: 2025
# region: the valley
# crop: corn
# stand_unit: plants/ac

planted,20000,30000
05-01, 90,100
06-01,70,80
"""


def test_a_table_of_the_users_own_is_read_and_said_to_be_so():
    table = own_table("\ufeff" + OWN.replace("\n", "\r\n"), "valley.csv", "plants/ac")
    assert float(percent(table, date(2026, 5, 1), 25_000)) == 95
    assert (table.title, table.year, table.status_in_words) == (
        "Corn in our valley", "2025", "entered by the user")
    assert own_table(OWN, "valley.csv", "plants/ha").stands[0] == pytest.approx(49_421.08)


@pytest.mark.parametrize(("old", "new", "said"), [
    ("# source: Our own strips of 2019 to 2025\n", "", "valley.csv lacks # source"),
    ("06-01,70,80", "06-01,70", "row 2 of the table: 2 cells, but there are 3 columns"),
    ("06-01,70,80", "06-31,70,80", "row 2 of the table: 06-31 is no month-day"),
    ("06-01,70,80", "june,70,80", "june is no month-day"),
    ("06-01,70,80", "04-01,70,80", "planting dates must rise"),
    ("06-01,70,80", "", "planting dates must rise"),
    ("20000,30000", "30000,20000", "stands must rise"),
    ("20000,30000", "few,30000", "the line of stands, column few"),
    ("70,80", "70,nan", "row 2 of the table, column 30000: nan is no number from 0 to 120"),
    ("70,80", "70,", "column 30000: an empty cell is no number"),
    ("70,80", "-7,80", "column 20000: -7"), ("70,80", "700,80", "column 20000: 700"),
    ("plants/ac", "plants/furlong", "stand_unit is plants/furlong. Write one of"),
    ("planted,20000,30000\n05-01, 90,100\n06-01,70,80\n", "", "holds no table")])
def test_an_own_table_that_is_not_whole_is_refused_by_row_and_column(old, new, said):
    assert old in OWN
    with pytest.raises(InputProblem, match=said):
        own_table(OWN.replace(old, new), "valley.csv", "plants/ac")


def test_a_leap_year_reads_the_same_date():
    assert percent(TABLE, date(2028, 5, 10), 20_000) == percent(TABLE, date(2026, 5, 10), 20_000)


def test_dates_go_with_stands():
    found = percent(TABLE, [date(2026, 4, 30), date(2026, 5, 30)], [20_000, 30_000])
    assert found.tolist() == [92, 81]


def test_the_last_date_and_stand_are_still_inside():
    assert float(percent(TABLE, date(2026, 6, 9), 36_000)) == 65


@pytest.mark.parametrize("stand", [9_999, 36_001, float("nan")])
def test_a_stand_outside_the_table_is_refused_with_its_reach(stand):
    with pytest.raises(InputProblem, match="10 April to 9 June and 10,000 to 36,000 plants/ac"):
        percent(TABLE, PLANTED, [20_000, stand])


@pytest.mark.parametrize(("day", "said"), [(date(2026, 4, 9), "9 April"),
                                           (date(2026, 6, 10), "10 June"),
                                           (date(2028, 2, 29), "1 March")])
def test_a_date_outside_the_table_is_refused_with_or_without_continuation(day, said):
    for read in (percent, percent_within):
        with pytest.raises(InputProblem, match=f"date of {said} is outside .* covers 10 April.*"
                           "Enter a planting and a replant date from 10 April to 9 June, or make "
                           "no replant plan from this table."):
            read(TABLE, day, 20_000)


def test_continued_stands_hold_the_last_and_go_straight_down_to_nothing_and_are_counted():
    found, beyond = percent_within(TABLE, PLANTED, [0, 5_000, 10_000, 36_000, 60_000])
    # 68 % at 10,000, so 34 % at half of it; 97 % at 36,000
    assert found.tolist() == [0, 34, 68, 97, 97] and beyond == 3


def test_within_the_table_both_readings_agree():
    stands = np.random.default_rng(3).uniform(10_000, 36_000, 500)
    found, beyond = percent_within(TABLE, date(2026, 5, 3), stands)
    assert beyond == 0
    assert found == pytest.approx(percent(TABLE, date(2026, 5, 3), stands), abs=1e-12)  # rounding


def test_a_missing_or_negative_stand_is_refused():
    with pytest.raises(InputProblem, match="2 stands are missing or below 0 plants/ac"):
        percent_within(TABLE, PLANTED, [-1, float("nan"), 5])


def test_a_table_that_does_not_exist_is_refused_with_those_that_do():
    with pytest.raises(InputProblem, match="corn_iowa_2001, corn_iowa_2010"):
        load_table("compaction_rating_2002", "plants/ac")


def test_a_table_held_at_its_edges_reads_its_first_and_last_row_beyond_them_and_says_so():
    held = held_at_its_edges(TABLE)
    for day, stand in ((date(2026, 1, 2), 10_000), (date(2026, 12, 30), 36_000)):
        with pytest.raises(InputProblem, match="outside the table"):
            percent(TABLE, day, stand)
    assert percent(held, date(2026, 1, 2), 10_000) == percent(TABLE, date(2026, 4, 10), 10_000)
    assert percent(held, date(2026, 12, 30), 36_000) == percent(TABLE, date(2026, 6, 9), 36_000)
    assert percent(held, PLANTED, 21_500) == percent(TABLE, PLANTED, 21_500)
    assert "10 April and 9 June; dates beyond count as these" in held.note


def test_a_table_read_per_hectare_has_its_note_per_hectare_too():
    # 24,000 plants/ac x 2.4710538 = 59,305; 125 and 100 bu/ac of corn x 0.0627677 = 7.8 and 6.3.
    note = load_table("corn_nafziger_1994", "plants/ha").note
    assert "about 59,300 plants/ha brought" in note and "about 7.8 t/ha" in note
    assert "about 6.3 t/ha" in note and "/ac" not in note
    assert "69,200 to 79,100 plants/ha" in load_table("corn_iowa_2001", "plants/ha").note
    assert "125 bu/ac" in load_table("corn_nafziger_1994", "plants/ac").note
