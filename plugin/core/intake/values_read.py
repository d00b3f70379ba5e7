"""Cells to values: each column of a source read as what its target holds."""
import csv
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from ..problems import InputProblem
from ..units import bushels_per_acre_as_tonnes_per_hectare as as_tonnes
from ..units import convert, measures_force, pressures_of_forces
from .photo_names import plain_photo_path
from .written_angles import DECIMAL, PARTS, angle_form_of, read_angles
from .written_dates import ASK, date_order_of, read_dates, read_times, zoned
from .written_numbers import decimal_mark_of, is_empty, read_numbers

LARGEST_WHOLE = 2**31 - 1  # whole numbers are stored in 32 bits
NUMERIC = ("int", "real", "x", "y", "range")

_TABLE = Path(__file__).with_name("value_words.csv")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")
_RANGE = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:-|–|to)\s*(\d+(?:[.,]\d+)?)\s*(\D*)", re.IGNORECASE)
_PAIR = re.compile(r"\s*(.+?)\s*(?:[,;]\s+|;|,(?=\s*[-+]?\d+\.)|\s+(?=[-+]?\d+\.\d))\s*(.+?)\s*")


@dataclass(frozen=True)
class Answers:
    """What the user says about cells that can be read in more than one way; "" says nothing.

    decimal       "point" or "comma", in columns whose numbers do not tell
    date_order    one of written_dates.ORDERS
    utc_offset_h  hours from universal time to the field's clock
    angles        "decimal" or "parts"
    crop          for yields by volume
    """
    decimal: str = ""
    date_order: str = ""
    utc_offset_h: float = None
    angles: str = ""
    crop: str = ""


@dataclass(frozen=True)
class ColumnReader:
    """How one column is read, once everything about it is decided.

    key    under which its values are kept: the target's name, and the `at` of a series
    place  of the column in the rows
    """
    key: tuple
    place: int
    header: str
    kind: str
    unit: str
    to: str
    values: tuple
    mark: str
    order: str
    form: str
    answers: Answers
    cone: tuple


def readers_of(mapping, targets, names, sample, *, geographic, answers):
    """Return the ColumnReaders of a mapping, and the questions that must be answered first.

    Parameters
        mapping     Mapping
        targets     dict of name to Target
        names       of the source's columns
        sample      rows of cells, to look at
        geographic  whether x and y are longitude and latitude
        answers     Answers
    Returns  tuple of ColumnReader, tuple of sentences
    Raises   InputProblem: a column or a target is not there, twice there, or its unit cannot be
             the target's
    """
    readers, questions, columns = [], [], {}
    for use in mapping.columns:
        _refuse_unusable(use, targets, names, columns)
        columns[use] = _column(sample, names.index(use.header))
    shared = _shared_mark(columns, targets)
    for use, cells in columns.items():
        target = targets[use.target]
        mark, order, form = use.decimal, answers.date_order, DECIMAL
        if target.kind in NUMERIC and not mark:
            mark = decimal_mark_of(cells, shared)
            if mark == ASK:
                mark = answers.decimal
            if not mark:
                questions.append(
                    f"{use.header}: {_example(cells, ',')!r} may be a thousand or a decimal. Say "
                    "which with DECIMAL.")
        if target.kind == "datetime":
            order = order or date_order_of(cells)
            if order == ASK:
                questions.append(
                    f"{use.header}: {_example(cells, '/.-')!r} can be read in two ways, and no day "
                    "is above 12. Say with DATE_ORDER whether the day or the month comes first.")
            if answers.utc_offset_h is None and zoned(cells):
                questions.append(
                    f"{use.header}: times are universal time (UTC), but a record keeps the clock "
                    "time in the field. Say with UTC_OFFSET by how many hours the two differ, "
                    "such as -5.")
        if geographic and target.kind in ("x", "y", "xy"):
            form, question = _form(use, target, cells, answers)
            questions += question
        readers.append(ColumnReader(
            (use.target, use.at), names.index(use.header), use.header, _kind(target, geographic),
            use.unit or target.unit, target.unit, target.values, mark, order, form, answers,
            (mapping.cone_area, mapping.cone_area_unit)))
        _try_unit(readers[-1])
    return tuple(readers), tuple(questions)


def read_block(rows, readers):
    """Return the values of a block of rows, and for each row that cannot be used the reason.

    Parameters
        rows     list of lists of cells
        readers  ColumnReaders
    Returns  dict of key to (n,) array: float with NaN, datetime64[ms] or timedelta64[ms] with
             NaT, or object with None where empty; and a dict of position to reason
    """
    values, reasons = {}, {}
    for reader in readers:
        cells = _column(rows, reader.place)
        found, wrong = _READ[reader.kind](reader, cells)
        values.update(found)
        for place, what in wrong.items():
            reasons.setdefault(place, f"{reader.header}: {what}")
    return values, reasons


def _column(rows, place):
    return [row[place] if place < len(row) else None for row in rows]


def _refuse_unusable(use, targets, names, others):
    if use.header not in names:
        raise InputProblem(f"The mapping names the column {use.header!r}, but the file has "
                           f"{', '.join(map(repr, names))}. Choose its column again.")
    if use.target not in targets:
        raise InputProblem(f"The mapping reads {use.header!r} as {use.target}, which these "
                           f"readings do not have; they have {', '.join(sorted(targets))}.")
    if any((other.target, other.at) == (use.target, use.at) for other in others):
        raise InputProblem(f"The mapping reads two columns as {use.target}; the second is "
                           f"{use.header!r}. Leave one of them out.")


def _shared_mark(columns, targets):
    """The mark that all columns of values use; receivers write positions in their own way."""
    marks = {decimal_mark_of(cells) for use, cells in columns.items()
             if targets[use.target].kind in ("int", "real", "range") and any(
                 isinstance(cell, str) and ("," in cell or "." in cell) for cell in cells)}
    marks.discard(ASK)
    return marks.pop() if len(marks) == 1 else ""


def _form(use, target, cells, answers):
    limit = 90 if target.kind == "y" else 180
    if target.kind == "xy":
        cells = [part for cell in cells for part in _pair(cell)]
    if answers.angles:
        return answers.angles, []
    if angle_form_of(cells, limit) == DECIMAL:
        return DECIMAL, []
    parts, wrong = read_angles(cells, PARTS, limit=limit)
    place = next(n for n, cell in enumerate(cells)
                 if n not in wrong and not is_empty(cell) and angle_form_of([cell], limit) == PARTS)
    return PARTS, [f"{use.header}: {str(cells[place]).strip()!r} looks like degrees and minutes; "
                   f"it would be read as {parts[place]:.6f} degrees. Say with ANGLES whether that "
                   "is right."]


def _kind(target, geographic):
    if target.kind in ("x", "y"):
        return ("longitude" if target.kind == "x" else "latitude") if geographic else "real"
    return "word" if target.kind == "text" and target.values else target.kind


def _example(cells, marks):
    return next((cell for cell in cells if isinstance(cell, str)
                 and any(mark in cell for mark in marks)), "")


def _try_unit(reader):
    """Raises InputProblem, naming the column, where its unit cannot be the target's."""
    if reader.kind in ("int", "real", "range") and reader.unit != reader.to:
        try:
            _converted(np.ones(1), reader)
        except InputProblem as problem:
            raise InputProblem(f"{reader.header}: {problem} Choose the column's unit "
                               "again.") from problem


def _converted(values, reader):
    unit, to = reader.unit, reader.to
    if unit == to or not to:
        return values
    if measures_force(unit):
        area, area_unit = reader.cone
        if area is None:
            raise InputProblem(f"{unit} is a force, which makes a pressure only with the area of "
                               'the cone\'s base. Give it in the mapping as "cone_area", in in2.')
        return pressures_of_forces(values, unit, to, area=area, area_unit=area_unit)
    if (unit, to) == ("bu/ac", "t/ha"):
        return as_tonnes(values, reader.answers.crop)
    if (unit, to) == ("t/ha", "bu/ac"):
        return values / as_tonnes(1.0, reader.answers.crop)
    return convert(values, unit, to)


def _real(reader, cells):
    found, wrong = read_numbers(cells, reader.mark, reader.unit)
    return {reader.key: _converted(found, reader)}, wrong


def _whole(reader, cells):
    found, wrong = read_numbers(cells, reader.mark, reader.unit)
    for place in np.flatnonzero((found % 1 != 0) & ~np.isnan(found)):
        wrong[int(place)] = f"{found[place]:g} is no whole number. Correct or empty it."
    for place in np.flatnonzero(np.abs(found) > LARGEST_WHOLE):
        wrong[int(place)] = f"{found[place]:g} is beyond {LARGEST_WHOLE}, the largest stored."
    return {reader.key: found}, wrong


def _angle_of(limit):
    def read(reader, cells):
        found, wrong = read_angles(cells, reader.form, reader.mark or "point", limit=limit)
        return {reader.key: found}, wrong
    return read


def _pair_of_angles(reader, cells):
    pairs = [_pair(cell) for cell in cells]
    wrong = {place: f"{str(cell)[:40]!r} is no pair of coordinates. Write latitude, longitude."
             for place, (cell, pair) in enumerate(zip(cells, pairs))
             if not is_empty(cell) and len(pair) != 2}
    pairs = [pair if len(pair) == 2 else (None, None) for pair in pairs]
    found = {}
    for number, (name, limit) in enumerate((("y", 90), ("x", 180))):
        found[name, None], bad = read_angles([pair[number] for pair in pairs], reader.form,
                                             limit=limit)
        wrong = {**bad, **wrong}
    return found, wrong


def _pair(cell):
    found = None if is_empty(cell) else _PAIR.fullmatch(str(cell))
    return found.groups() if found else ()


def _range_of_depths(reader, cells):
    tops, bottoms, wrong = np.full(len(cells), np.nan), np.full(len(cells), np.nan), {}
    for place, cell in enumerate(cells):
        found = _RANGE.fullmatch(cell.strip()) if isinstance(cell, str) else None
        top, bottom = (found[1] + found[3], found[2] + found[3]) if found else (0.0, cell)
        (tops[place], bottoms[place]), bad = read_numbers([top, bottom], reader.mark, reader.unit)
        if bad:
            wrong[place] = f"{str(cell)[:40]!r} is no depth, nor a range such as 0-6."
        elif np.isnan(bottoms[place]):
            tops[place] = np.nan
    return {("top_depth", None): _converted(tops, reader),
            ("bottom_depth", None): _converted(bottoms, reader)}, wrong


def _text(reader, cells):
    found, wrong, same = np.empty(len(cells), object), {}, {}
    for place, cell in enumerate(cells):
        if cell is None or cell == "":
            continue
        text = cell if isinstance(cell, str) else _as_text(cell)
        if _CONTROL.search(text):
            wrong[place] = "it holds a control character, which cannot be stored. Take it out."
            continue
        found[place] = same.setdefault(text, text)
    return {reader.key: found}, wrong


def _as_text(cell):
    return str(int(cell)) if isinstance(cell, float) and cell.is_integer() else str(cell)


def _word(reader, cells):
    known = {_key(word): word for word in reader.values} | {
        word: value for word, value in _words() if value in reader.values}
    known = {**known, **{_key(word): word for word in reader.values}}
    found, wrong = np.empty(len(cells), object), {}
    for place, cell in enumerate(cells):
        if is_empty(cell):
            continue
        found[place] = known.get(_key(_as_text(cell)))
        if found[place] is None:
            wrong[place] = (f"{str(cell)[:40]!r} is not one of {', '.join(reader.values)}. Write "
                            "one of these, or leave the column out.")
    return {reader.key: found}, wrong


def _truth(reader, cells):
    found, wrong = np.empty(len(cells), object), {}
    known = dict(_words())
    for place, cell in enumerate(cells):
        if is_empty(cell) and _key(_as_text(cell) if cell is not None else "") != "no":
            continue
        word = known.get(_key(_as_text(cell)))
        if word not in ("true", "false"):
            wrong[place] = f"{str(cell)[:40]!r} is neither yes nor no."
        else:
            found[place] = word == "true"
    return {reader.key: found}, wrong


@cache
def _words():
    with open(_TABLE, encoding="utf-8", newline="") as file:
        return tuple((_key(word), row["value"]) for row in csv.DictReader(file)
                     for word in row["words"].split("|"))


def _key(word):
    return " ".join(word.strip().lower().replace("_", " ").replace("-", " ").split())


def _photo(reader, cells):
    found, wrong = np.empty(len(cells), object), {}
    for place, cell in enumerate(cells):
        if is_empty(cell):
            continue
        try:
            found[place] = plain_photo_path(str(cell))
        except InputProblem as problem:
            wrong[place] = str(problem)
    return {reader.key: found}, wrong


def _date(reader, cells):
    found, wrong = read_dates(cells, reader.order, reader.answers.utc_offset_h)
    return {reader.key: found}, wrong


def _time(reader, cells):
    found, wrong = read_times(cells)
    return {reader.key: found}, wrong


_READ = {"real": _real, "int": _whole, "longitude": _angle_of(180), "latitude": _angle_of(90),
         "xy": _pair_of_angles, "range": _range_of_depths, "text": _text, "word": _word,
         "bool": _truth, "photo": _photo, "datetime": _date, "time": _time}
