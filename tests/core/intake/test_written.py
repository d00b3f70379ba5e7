"""Numbers, dates and angles as people write them."""
import datetime
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from plugin.core.intake.written_angles import DECIMAL, PARTS, angle_form_of, read_angles
from plugin.core.intake.written_dates import (
    ASK,
    DAY_FIRST,
    MONTH_FIRST,
    YEAR_FIRST,
    date_order_of,
    read_dates,
    read_times,
)
from plugin.core.intake.written_numbers import ASK as ASK_MARK
from plugin.core.intake.written_numbers import COMMA, POINT, decimal_mark_of, read_numbers


@pytest.mark.parametrize("text,mark,value", [
    ("12", POINT, 12), ("12.5", POINT, 12.5), ("-.5", POINT, -0.5), ("1e3", POINT, 1000),
    ("1,234", POINT, 1234), ("1,234.5", POINT, 1234.5), ("1,234,567", POINT, 1234567),
    ("12,5", POINT, 12.5), ("0,125", POINT, 0.125), ("1 234.5", POINT, 1234.5),
    ("1'234.5", POINT, 1234.5), ("\u22123", POINT, -3),
    ("12,5", COMMA, 12.5), ("1.234", COMMA, 1234), ("1.234,5", COMMA, 1234.5),
    ("1\u00a0234,5", COMMA, 1234.5), ("12.5", COMMA, 12.5)])
def test_a_number_is_read_as_it_is_meant(text, mark, value):
    found, wrong = read_numbers([text], mark)
    assert found[0] == value and not wrong


@pytest.mark.parametrize("cell", ["", "-", "n/a", "NaN", None, float("nan"), "  "])
def test_what_says_that_there_is_no_value_is_empty(cell):
    found, wrong = read_numbers([cell])
    assert math.isnan(found[0]) and not wrong


@pytest.mark.parametrize("cell,words", [
    ("x", "is no number"), ("1_000", "is no number"), ("inf", "is no number"),
    ("1e999", "is no number"), ("=2+2", "is a formula"), ("+1|x", "is a formula"),
    ("1.2.3", "is no number"), ("12 apples", "is no number"), (math.inf, "no finite number"),
    ("0x10", "is no number"), ("\u0661\u0662", None)])
def test_what_is_no_number_is_said(cell, words):
    found, wrong = read_numbers([cell])
    assert (words is None and found[0] == 12) or (words in wrong[0] and math.isnan(found[0]))


@pytest.mark.parametrize("cells,otherwise,mark", [
    (["12,5", "1,234"], "", COMMA), (["12.5", "1,234"], "", POINT), (["1,234"], "", ASK_MARK),
    (["1,234"], POINT, POINT), (["1,234"], COMMA, COMMA), (["1.234"], "", POINT),
    (["12,5", "12.5"], "", POINT), (["12,5", "12.5", "1,234"], "", ASK_MARK),
    (["5", 6.0, None], "", POINT), (["1.234.567"], "", COMMA), (["1,234,567"], "", POINT)])
def test_the_decimal_mark_of_a_column(cells, otherwise, mark):
    assert decimal_mark_of(cells, otherwise) == mark


@given(some.floats(allow_nan=False, allow_infinity=False))
def test_any_number_comes_back_in_either_mark(value):
    for text, mark in ((repr(value), POINT), (repr(value).replace(".", ","), COMMA)):
        found, wrong = read_numbers([text], mark)
        assert found[0] == value and not wrong


@pytest.mark.parametrize("text,order,moment", [
    ("2026-05-04", "", "2026-05-04"), ("2026/5/4 9:05", "", "2026-05-04T09:05"),
    ("20260504", "", "2026-05-04"), ("20260504T093000", "", "2026-05-04T09:30"),
    ("4.5.2026", DAY_FIRST, "2026-05-04"), ("5/4/26 2:05 pm", MONTH_FIRST, "2026-05-04T14:05"),
    ("26-05-04", YEAR_FIRST, "2026-05-04"), ("4-May-26", "", "2026-05-04"),
    ("May 4th, 2026 12:00 AM", "", "2026-05-04T00:00"), ("Mon, 4 May 2026", "", "2026-05-04"),
    ("2026-05-04T09:30:15.250", "", "2026-05-04T09:30:15.250"),
    ("2026-05-04T09:30:00-05:00", "", "2026-05-04T09:30"), ("46146", "", "2026-05-04"),
    ("46146.75", "", "2026-05-04T18:00"), (datetime.date(2026, 5, 4), "", "2026-05-04")])
def test_a_date_is_read_as_it_is_meant(text, order, moment):
    found, wrong = read_dates([text], order)
    assert not wrong and found[0] == np.datetime64(moment)


def test_universal_time_is_moved_to_the_fields_clock_once_it_is_known():
    _, wrong = read_dates(["2026-05-04T02:00:00Z"])
    assert "UTC_OFFSET" in wrong[0]
    found, _ = read_dates(["2026-05-04T02:00:00Z", "2026-05-04T02:00:00+00:00"], utc_offset_h=-5.5)
    assert (found == np.datetime64("2026-05-03T20:30")).all()


@pytest.mark.parametrize("text", ["31/31/2026", "yesterday", "1899-12-31", "2026-13-01", "4/5/2026",
                                  "2026-05-04 24:30", "2026-05-04 9:61", "9999-01-01"])
def test_what_is_no_date_is_said(text):
    found, wrong = read_dates([text])
    assert np.isnat(found[0]) and repr(text) in wrong[0]


@pytest.mark.parametrize("cells,order", [
    (["4/5/2026", "25/5/2026"], DAY_FIRST), (["4/5/2026", "5/25/2026"], MONTH_FIRST),
    (["4/5/2026"], ASK), (["4.5.2026"], DAY_FIRST), (["2026-05-04"], ""), ([None, "May 4"], ""),
    (["5/25/2026", "25/5/2026"], ASK), (["32/5/4"], YEAR_FIRST)])
def test_the_order_of_dates_in_a_column(cells, order):
    assert date_order_of(cells) == order


def test_times_of_the_day():
    found, wrong = read_times(["9:30", "2:05 PM", "0.75", "1430", "25:00", ""])
    assert found[:4].astype(int).tolist() == [n * 60_000 for n in (570, 845, 1080, 870)]
    assert list(wrong) == [4] and np.isnat(found[5])


@pytest.mark.parametrize("text,limit,degrees", [
    ("39\u00b044'57.318\"N", 90, 39.749255), ("N39 44.9553", 90, 39.749255),
    ("92:59:57.8976W", 180, -92.999416), ("-92 59.96496", 180, -92.999416),
    ("3944.9553", 90, 39.749255), ("-9259.96496", 180, -92.999416),
    ("394457.318", 90, 39.749255), ("41.5", 90, 41.5)])
def test_degrees_and_minutes_are_read_once_they_are_accepted(text, limit, degrees):
    found, wrong = read_angles([text], PARTS, limit=limit)
    assert not wrong and found[0] == pytest.approx(degrees, abs=1e-9)  # the ninth digit written


@pytest.mark.parametrize("text,form", [
    ("41.5", DECIMAL), ("41.5 N", DECIMAL), ("-93.25", DECIMAL), ("41 30.5", PARTS),
    ("41\u00b030'N", PARTS), ("4130.5", PARTS), ("95", DECIMAL), ("x", DECIMAL)])
def test_the_form_of_an_angle_is_known(text, form):
    assert angle_form_of([text], 90) == form


def test_sixty_minutes_are_no_angle_and_a_letter_gives_the_sign():
    _, wrong = read_angles(["41 60.0"], PARTS)
    assert "60 minutes" in wrong[0]
    assert read_angles(["93.5 W", "S 41.25"])[0].tolist() == [-93.5, -41.25]
