"""Values on their way into the record: each checked against its column."""
import datetime
import math
import numbers
import uuid

import numpy as np

from ..core.problems import InputProblem

LARGEST_WHOLE = 2**31 - 1  # whole numbers are stored in 32 bits


def new_reading_id():
    """Return a new random reading id, a UUID without braces."""
    return str(uuid.uuid4())


def checked_row(layer, row, number):
    """Return the row as plain Python values, one per column of the layer, x and y left out.

    A column that the row does not name gets its default, and reading_id a new one; one given as
    None, or as a number that is NaN, stays empty.

    Parameters
        layer   LayerSpec
        row     dict of column name to value
        number  what messages call the row, counted from 1
    Raises   InputProblem: naming layer, row and column
    """
    places = ("x", "y") if layer.geometry == "point" else ()
    names = {column.name for column in layer.columns}
    for name in row:
        if name not in names and name not in places:
            raise InputProblem(f"{layer.name}, row {number}: there is no column {name}. Columns "
                               f"are {', '.join(sorted(names) + list(places))}.")
    checked = {}
    for column in layer.columns:
        if column.name == "reading_id" and row.get("reading_id") is None:
            checked["reading_id"] = new_reading_id()
            continue
        value = _plain(row.get(column.name, column.default))
        if value is None and column.required:
            raise InputProblem(f"{layer.name}, row {number}, {column.name}: it is empty. "
                               f"Enter {column.title.lower()}.")
        if value is not None:
            wrong = _what_is_wrong(column, value)
            if wrong:
                raise InputProblem(f"{layer.name}, row {number}, {column.name}: {wrong}")
            value = {"int": int, "real": float}.get(column.kind, lambda same: same)(value)
        checked[column.name] = value
    return checked


def checked_place(layer, row, number):
    """Return easting and northing (m) of a row of a point layer.

    Raises   InputProblem: one of them is missing or not a finite number
    """
    place = []
    for name in ("x", "y"):
        value = _plain(row.get(name))
        if isinstance(value, bool) or not isinstance(value, numbers.Real) \
                or not math.isfinite(value):
            raise InputProblem(f"{layer.name}, row {number}, {name}: {value!r} is no position. "
                               "Give x and y in metres, in the record's CRS.")
        place.append(float(value))
    return place


def _plain(value):
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and math.isnan(value) else value


def _what_is_wrong(column, value):
    wrong = _WRONG[column.kind](value)
    if wrong:
        return f"{value!r} {wrong}"
    if column.values and value not in column.values:
        return f"{value!r} is not one of {', '.join(column.values)}."
    if column.low is not None and value < column.low:
        return f"{value:g} is below {column.low:g}, the least that can be. Correct the value."
    if column.high is not None and value > column.high:
        return f"{value:g} is above {column.high:g}, the most that can be. Correct the value."
    return ""


def _wrong_text(value):
    if not isinstance(value, str):
        return "is not text."
    if "\0" in value or any("\ud800" <= letter <= "\udfff" for letter in value):
        return "holds a character that cannot be stored. Take it out."
    return ""


def _wrong_whole(value):
    if isinstance(value, bool) or not isinstance(value, numbers.Real) or value % 1:
        return "is not a whole number."
    if abs(value) > LARGEST_WHOLE:
        return f"is beyond {LARGEST_WHOLE}, the largest whole number stored."
    return ""


def _wrong_number(value):
    if isinstance(value, bool) or not isinstance(value, numbers.Real) or not math.isfinite(value):
        return "is not a number."
    return ""


def _wrong_bool(value):
    return "" if isinstance(value, bool) else "is neither true nor false."


def _wrong_date(value):
    if isinstance(value, datetime.datetime) or not isinstance(value, datetime.date):
        return "is not a date."
    return ""


def _wrong_datetime(value):
    if not isinstance(value, datetime.datetime):
        return "is not a date with a time."
    if value.tzinfo is not None:
        return "has a time zone; give the clock time in the field without one."
    return ""


_WRONG = {"text": _wrong_text, "int": _wrong_whole, "real": _wrong_number, "bool": _wrong_bool,
          "date": _wrong_date, "datetime": _wrong_datetime}
