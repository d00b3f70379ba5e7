from datetime import date

import numpy as np
import pytest

from plugin.core.decide.yield_response import (
    load_table,
    percent,
    percent_within,
    require_table_for,
    tables,
)
from plugin.core.problems import InputProblem

TABLE = load_table("corn_nafziger_1994", "plants/ac")
PLANTED = date(2026, 4, 30)


def test_the_tables_there_are_carry_their_source_year_region_crop_and_status():
    assert list(tables()) == ["corn_iowa_2001", "corn_nafziger_1994"]
    for name, title in tables().items():
        table = load_table(name, "plants/ac")
        assert table.title == title and table.crop == "corn" and table.status in ("R", "R2", "M")
        assert str(table.year) in table.source and table.region and table.note
        assert (np.diff(table.days) > 0).all() and (np.diff(table.stands) > 0).all()


def test_stands_per_hectare_read_the_same_cells():
    # 28,000 plants/ac are 28,000 x 2.4710538 plants/ha
    metric = load_table("corn_nafziger_1994", "plants/ha")
    assert float(percent(metric, PLANTED, 28_000 * 2.4710538)) == pytest.approx(100, abs=1e-5)
    assert metric.reach == "10 April to 9 June and 24,711 to 88,958 plants/ha"


def test_a_crop_without_a_table_is_refused_and_one_with_a_table_is_not():
    require_table_for("corn")
    with pytest.raises(InputProblem, match="no yield table for sorghum yet, so no replant plan"):
        require_table_for("sorghum")


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
    with pytest.raises(InputProblem, match="corn_iowa_2001, corn_nafziger_1994"):
        load_table("compaction_rating_2002", "plants/ac")
