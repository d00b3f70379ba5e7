"""The checks that look at one row, or at two of them."""
import datetime

import numpy as np
import pytest

from plugin.core.check.core_depth import check_core_depth
from plugin.core.check.dates import check_dates
from plugin.core.check.dry_soil import check_dry_soil
from plugin.core.check.duplicates import check_duplicates, check_sample_numbers
from plugin.core.check.entries import check_order, check_range, check_words
from plugin.core.check.few_readings import check_few_readings
from plugin.core.check.flag import KINDS, Flag, counts_by_kind
from plugin.core.check.orphans import check_orphans
from plugin.core.check.places import check_places
from plugin.core.check.reading_set import ReadingSet, figure, rows_of

NOWHERE = (np.nan, np.nan)
DAY = datetime.date(2026, 4, 25)


def readings(values, title="Nitrate nitrogen", unit="ppm", places=None):
    values = np.array(values, float)
    places = np.zeros((len(values), 2)) if places is None else np.array(places, float)
    return ReadingSet("probe_points", title, unit, np.arange(1, len(values) + 1), places, values)


def fids(flags):
    return [flag.fid for flag in flags]


def test_places_missing_and_outside():
    found = check_places("stand_counts", [1, 2, 3], [NOWHERE, (1, 2), (3, 4)],
                         [np.nan, 0.0, 760.4])
    assert [(flag.kind, flag.fid) for flag in found] == [("no_place", 1), ("outside_field", 3)]
    assert "760 m outside" in found[1].what and found[1].position_m == (3.0, 4.0)
    assert found[0].position_m is None


def test_only_rows_equal_in_place_and_entries_are_duplicates():
    found = check_duplicates(
        "stand_counts", [4, 5, 6, 7, 8, 9], [(0, 0), (0, 0), (0, 0), (1, 0), NOWHERE, (0, 0)],
        [(27, 17.4), (28, 17.4), (27, 17.4), (27, 17.4), (27, 17.4), None])
    assert fids(found) == [6] and "row 4" in found[0].what


def test_a_sample_number_belongs_to_one_place_and_depth():
    here, there = (0.0, 0.0), (50.0, 0.0)
    found = check_sample_numbers(
        "probe_points", range(1, 7), [here, here, there, here, here, here],
        [("A1", 0, 7), ("A1", 0, 7), ("A1", 0, 7), (" A1 ", 0, 12), (None, 0, 7), ("", 0, 7)])
    assert fids(found) == [3, 4]


def test_parts_without_their_reading_are_named():
    found = check_orphans("row_counts", [1, 2, 3], ["a", "gone", None], "stand_counts", ["a", "b"])
    assert fids(found) == [2, 3]


def test_entries_that_a_form_would_not_take():
    ph = readings([6.0, 15.0, -1.0, np.nan, np.inf], "pH", "")
    assert fids(check_range(ph, 0, 14)) == [2, 3, 5]
    assert "from 0 and up to 14" in check_range(ph, 0, 14)[0].why
    assert fids(check_range(ph, None, None)) == [5]
    found = check_words("compaction_readings", "Cone", [1, 2, 3], [NOWHERE] * 3,
                        ["small", "Small", None], ("small", "large"))
    assert fids(found) == [2] and "'Small'" in found[0].what


@pytest.mark.parametrize(("may_meet", "wrong"), [(False, [2, 3]), (True, [3])])
def test_depths_upside_down(may_meet, wrong):
    upper = readings([0, 12, 14, np.nan], "Top", "in")
    lower = readings([12, 12, 7, 3], "Bottom", "in")
    assert fids(check_order(upper, lower, may_meet=may_meet)) == wrong


def test_dry_soil_and_moisture_not_noted():
    found = check_dry_soil("compaction_readings", [1, 2, 3], [NOWHERE] * 3, ["dry", "moist", None])
    assert fids(found) == [1, None] and "1 of 3" in found[1].what
    assert check_dry_soil("compaction_readings", [1], [NOWHERE], ["at_capacity"]) == []


@pytest.mark.parametrize(("unit", "right", "wrong"), [
    ("in", [(0, 12), (np.nan, 12), (0, 11.5), (1, 12)], [(0, 7), (0, 24), (6, 12), (0, np.nan)]),
    ("cm", [(0, 30), (0, 30.5), (np.nan, 32)], [(0, 18), (0, 60), (0, 12), (15, 30)])])
def test_nitrate_is_of_the_first_foot(unit, right, wrong):
    depths = np.array(right + wrong, float)
    top, bottom = (readings(depths[:, one], ("Top", "Bottom")[one], unit) for one in (0, 1))
    nitrate = readings(np.full(len(depths), 20.0))
    assert fids(check_core_depth(nitrate, top, bottom)) == list(
        range(len(right) + 1, len(depths) + 1))
    assert check_core_depth(readings(np.full(len(depths), np.nan)), top, bottom) == []


def moment(year, month, day):
    return datetime.datetime(year, month, day, 9, 30)


def test_dates_missing_and_odd():
    taken = [None, moment(2026, 5, 20), moment(2026, 4, 24), moment(2027, 6, 1),
             moment(2026, 4, 25)]
    found = check_dates("stand_counts", range(1, 6), [NOWHERE] * 5, taken, planted=DAY,
                        today=datetime.date(2026, 12, 1))
    assert [(flag.kind, flag.fid) for flag in found] == [
        ("missing_date", 1), ("odd_date", 3), ("odd_date", 4)]
    assert "before the planting date" in found[1].why and "after today" in found[2].why
    late = check_dates("stand_counts", [1], [NOWHERE], [moment(2027, 6, 1)], planted=DAY)
    assert "more than a year" in late[0].why


def test_a_layer_without_any_date_is_flagged_once():
    assert fids(check_dates("stand_counts", [1, 2], [NOWHERE] * 2, [None, None])) == [None]
    assert fids(check_dates("stand_counts", [1], [NOWHERE], [None])) == [1]
    assert check_dates("stand_counts", [], [], []) == []


@pytest.mark.parametrize(("count", "flagged", "words"), [
    (0, False, ""), (1, True, "1 place."), (4, True, "no area is planned"), (9, True, "9 places."),
    (10, False, "")])
def test_too_few_places_for_a_map(count, flagged, words):
    places = [(number, 0) for number in range(count)]
    found = check_few_readings(readings(np.ones(count), places=places or np.zeros((0, 2))))
    assert bool(found) == flagged
    assert words in "".join(flag.what + flag.why for flag in found)


def test_rows_at_one_place_are_one_place():
    assert "1 place." in check_few_readings(readings(np.ones(30)))[0].what


def test_every_flag_is_of_a_known_kind_and_counted():
    counts = counts_by_kind([Flag("outlier", "probe_points", 1, "", "", "")] * 2)
    assert counts["outlier"] == 2 and sum(counts.values()) == 2 and list(counts) == list(KINDS)


def test_words_for_figures_and_rows():
    assert [figure(value) for value in (28_000.4, 1.96850, 0.00012345, 0)] == [
        "28,000", "1.968", "0.0001234", "0"]
    assert rows_of([3]) == "row 3" and rows_of([3, 4]) == "rows 3 and 4"
    assert rows_of(list(range(20))).endswith("6, 7 and 12 more")
