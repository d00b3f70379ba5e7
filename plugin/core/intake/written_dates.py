"""Dates and times as people write them, to the clock time in the field."""
import datetime
import re

import numpy as np

from ..problems import InputProblem
from .written_numbers import is_empty

DAY_FIRST, MONTH_FIRST, YEAR_FIRST, ASK = "day_first", "month_first", "year_first", "ask"
ORDERS = (DAY_FIRST, MONTH_FIRST, YEAR_FIRST)
FIRST_YEAR, LAST_YEAR = 1950, 2100
DAY_ZERO = datetime.datetime(1899, 12, 30)  # of spreadsheets' day numbers
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")

_PARTS = re.compile(r"(\d{1,4})\s*[-/.]\s*(\d{1,2})\s*[-/.]\s*(\d{1,4})")
_COMPACT = re.compile(r"((?:19|20)\d\d)(\d\d)(\d\d)")
_NAMED = re.compile(r"(?:[a-z]{3,9},?\s+)?(\d{1,2})[\s./-]*([a-z]{3,9})\.?[\s,./-]*(\d{2,4})")
_NAMED_FIRST = re.compile(r"(?:[a-z]{3,9},\s+)?([a-z]{3,9})\.?[\s./-]*(\d{1,2})(?:st|nd|rd|th)?"
                          r"[\s,./-]+(\d{2,4})")
_TIME = re.compile(r"(\d{1,2})[:.h](\d{2})(?:[:.](\d{2}(?:[.,]\d{1,9})?))?\s*([ap])?\.?m?\.?")
_COMPACT_TIME = re.compile(r"(\d{2})(\d{2})(\d{2})?()")
_ZONE = re.compile(r"\s*(z|utc|gmt|[+-]\d{2}:?\d{2})$")
_DAY_NUMBER = re.compile(r"[1-9]\d{4}([.,]\d+)?")


def date_order_of(cells):
    """Return the order in which a column writes day and month, ASK where it could be either.

    A day above 12 tells; so do dots between the parts, which only day-first countries write.
    "" where nothing is written in an order that could be mistaken.
    """
    could = {DAY_FIRST, MONTH_FIRST}
    doubtful = False
    for cell in cells:
        found = _PARTS.match(cell.strip()) if isinstance(cell, str) else None
        if found is None or len(found[1]) > 2:
            continue
        doubtful = True
        first, second = int(found[1]), int(found[2])
        if first > 31:
            return YEAR_FIRST
        if first > 12 or cell.count(".") >= 2:
            could.discard(MONTH_FIRST)
        if second > 12:
            could.discard(DAY_FIRST)
    if not doubtful:
        return ""
    return could.pop() if len(could) == 1 else ASK


def zoned(cells):
    """Return whether a cell names universal time, which is no clock time in the field."""
    return any(isinstance(cell, str) and _DATE_AND_Z.search(cell.strip()) for cell in cells)


_DATE_AND_Z = re.compile(r"\d(z|\s?utc|\s?gmt|[+]00:?00)$", re.IGNORECASE)


def read_dates(cells, order="", utc_offset_h=None):
    """Return dates and times of a column, and what is wrong with those that are none.

    A date alone is midnight. A time with the field's own offset ("-05:00") keeps its clock time;
    one in universal time is moved by `utc_offset_h`. A number is a spreadsheet's day number.

    Parameters
        cells         texts, numbers, dates, datetimes or None
        order         one of ORDERS, or "" where the cells cannot be mistaken
        utc_offset_h  hours from universal time to the field's clock; None where not known
    Returns  (n,) datetime64[ms], NaT where empty, and a dict of position to what is wrong there
    """
    found, wrong, days = np.empty(len(cells), "datetime64[ms]"), {}, {}
    for place, cell in enumerate(cells):
        try:
            found[place] = _moment(cell, order, utc_offset_h, days)
        except InputProblem as problem:
            wrong[place], found[place] = str(problem), np.datetime64("NaT")
    return found, wrong


def read_times(cells):
    """Return times of day of a column, and what is wrong with those that are none.

    Returns  (n,) timedelta64[ms], NaT where empty, and a dict of position to what is wrong there
    """
    found, wrong = np.empty(len(cells), "timedelta64[ms]"), {}
    for place, cell in enumerate(cells):
        try:
            found[place] = np.timedelta64("NaT") if is_empty(cell) else _time_cell(cell)
        except InputProblem as problem:
            wrong[place], found[place] = str(problem), np.timedelta64("NaT")
    return found, wrong


def _time_cell(cell):
    if isinstance(cell, datetime.time):
        return datetime.timedelta(hours=cell.hour, minutes=cell.minute, seconds=cell.second,
                                  microseconds=cell.microsecond)
    if isinstance(cell, datetime.datetime):
        return cell - datetime.datetime.combine(cell.date(), datetime.time())
    text = str(cell).strip().lower()
    if re.fullmatch(r"0?[.,]\d+|0", text):  # the part of a day, as spreadsheets keep it
        return datetime.timedelta(milliseconds=round(float(text.replace(",", ".")) * 86_400_000))
    return _time(text.split()[-1] if "/" in text else text, cell)


def _moment(cell, order, utc_offset_h, days):
    if isinstance(cell, datetime.datetime):
        return _in_range(cell, cell)
    if isinstance(cell, datetime.date):
        return _in_range(datetime.datetime.combine(cell, datetime.time()), cell)
    if is_empty(cell):
        return np.datetime64("NaT")
    text = str(cell).strip()
    try:
        moment = datetime.datetime.fromisoformat(text)  # the common form, and the fastest
    except ValueError:
        moment = None
    if moment is not None and text[4:5] == "-" and moment.utcoffset() is None:
        return _in_range(moment, cell)
    return _in_range(_written(text.lower(), cell, order, utc_offset_h, days), cell)


def _written(text, cell, order, utc_offset_h, days):
    if _DAY_NUMBER.fullmatch(text):
        return DAY_ZERO + datetime.timedelta(
            milliseconds=round(float(text.replace(",", ".")) * 86_400_000))
    zone = _ZONE.search(text)
    if zone and ":" not in text[:zone.start()] and "t" not in text:
        zone = None  # the year of 01-05-2026 is no zone
    body = text[:zone.start()] if zone else text
    day, rest = _day(body, cell, order, days)
    rest = rest.strip().lstrip("t,").strip()
    moment = datetime.datetime.combine(day, datetime.time()) + (
        _time(rest, cell) if rest else datetime.timedelta())
    if zone and zone[1] in ("z", "utc", "gmt", "+00:00", "+0000"):
        if utc_offset_h is None:
            raise InputProblem(f"{cell!r} is universal time. Say with UTC_OFFSET by how many "
                               "hours the field's clock differs.")
        moment += datetime.timedelta(hours=utc_offset_h)
    return moment


def _day(text, cell, order, days):
    """The date at the start of a text, and the rest of the text."""
    for pattern in (_PARTS, _COMPACT, _NAMED, _NAMED_FIRST):
        found = pattern.match(text)
        if found:
            break
    else:
        raise InputProblem(f"{cell!r} is no date. Write it as year-month-day.")
    key = found[0]
    if key not in days:
        days[key] = _date(_ymd(found, pattern, order, cell), cell)
    return days[key], text[found.end():]


def _ymd(found, pattern, order, cell):
    if pattern is _COMPACT:
        return found.groups()
    if pattern is _NAMED or pattern is _NAMED_FIRST:
        day, name, year = found.groups() if pattern is _NAMED else (found[2], found[1], found[3])
        if name[:3] not in MONTHS:
            raise InputProblem(f"{cell!r} names no month. Write it as year-month-day.")
        return year, MONTHS.index(name[:3]) + 1, day
    first, second, third = found.groups()
    if len(first) > 2 or order == YEAR_FIRST:
        return first, second, third
    if order == DAY_FIRST:
        return third, second, first
    if order == MONTH_FIRST:
        return third, first, second
    raise InputProblem(f"{cell!r} can be read in two ways. Say with DATE_ORDER whether the day or "
                       "the month comes first.")


def _date(ymd, cell):
    year, month, day = map(int, ymd)
    if year < 100:
        year += 2000
    try:
        return datetime.date(year, month, day)
    except ValueError as problem:
        raise InputProblem(f"{cell!r} is no day of the calendar. Correct it.") from problem


def _time(text, cell):
    found = _TIME.fullmatch(text) or _COMPACT_TIME.fullmatch(text)
    if found is None:
        raise InputProblem(f"{cell!r} has no time that can be read. Write it as hour:minute.")
    hour, minute, second, half = found.groups()
    hour, second = int(hour), float((second or "0").replace(",", "."))
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    if hour > 23 or int(minute) > 59 or second >= 60:
        raise InputProblem(f"{cell!r} is no time of the day. Correct it.")
    return datetime.timedelta(hours=hour, minutes=int(minute),
                              milliseconds=round(second * 1000))


def _in_range(moment, cell):
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise InputProblem(f"{str(cell)!r} is not between {FIRST_YEAR} and {LAST_YEAR}; "
                           "spreadsheets write such a date for an empty or broken one. Correct "
                           "or empty it.")
    return moment.replace(tzinfo=None)
