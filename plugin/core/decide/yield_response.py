"""Yield response: the percent of full yield by planting date and stand, from published tables."""
import re
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from ..problems import InputProblem
from ..units import bushels_per_acre_as_tonnes_per_hectare, convert
from .data_table import DataTable, parse_data_table, read_data_table, titles_of_tables

USUAL_TABLE = "corn_nafziger_1994"  # the one that covers most dates and stands
USUAL_SOYBEAN, USUAL_WIDE_SOYBEAN = "soybean_drilled_indiana", "soybean_wide_indiana"
WIDE_ROWS_M = 0.5  # between rows of 15 in and of 20 in: our own choice
OWN_HEAD = ("title", "source", "year", "region", "crop", "stand_unit")  # a user's table must say
STAND_UNITS = ("plants/ac", "plants/ha")
MOST_PERCENT = 120.0  # of full yield, in a user's table
_PER_ACRE = re.compile(r"(\d[\d,]*(?: to \d[\d,]*)?) (plants/ac|bu/ac)\b")
_COMMON_YEAR = 2001  # any year without a 29 February: the tables know no year


@dataclass(frozen=True)
class YieldTable:
    """Percent of full yield on planting days and stands, with where it comes from.

    days     (d,) day of the year, 1 to 365, of a year without a 29 February; increasing
    stands   (s,) in `stand_unit`, increasing
    percent  (d, s) of full yield
    status   R: read in a copy of the publication; R2: read second-hand; M: from memory;
             `status_in_words` says it to the user
    note     what a user of the table should know
    """
    name: str
    title: str
    source: str
    year: str
    region: str
    crop: str
    status: str
    status_in_words: str
    note: str
    stand_unit: str
    days: np.ndarray
    stands: np.ndarray
    percent: np.ndarray

    @property
    def reach(self):
        """The dates and stands it covers, in words."""
        first, last = (_day_in_words(day) for day in (self.days[0], self.days[-1]))
        return (f"{first} to {last} and {self.stands[0]:,.0f} to {self.stands[-1]:,.0f} "
                f"{self.stand_unit}")


def tables():
    """Return the yield tables there are, name -> title."""
    return titles_of_tables("stand_unit")


def usual_table(crop, row_width_m=None):
    """Return the name of the table that a crop is judged by unless told otherwise.

    Soybean in rows below WIDE_ROWS_M apart, or of unknown width, takes the one for narrow rows.

    Raises   InputProblem: there is none for the crop, and so no replant plan
    """
    if crop == "soybean":
        wide = row_width_m is not None and row_width_m >= WIDE_ROWS_M
        return USUAL_WIDE_SOYBEAN if wide else USUAL_SOYBEAN
    if crop in (None, "corn"):
        return USUAL_TABLE
    called = "a crop entered as other" if crop == "other" else crop
    crops = sorted({read_data_table(name).head["crop"] for name in tables()})
    raise InputProblem(f"There is no yield table for {called} yet, so no replant plan is made. "
                       f"There are tables for {', '.join(crops)}; a table of your own can be "
                       "given as a file.")


def load_table(name, stand_unit):
    """Return a yield table with its stands in the wanted unit.

    Parameters
        name        one of `tables()`
        stand_unit  such as plants/ac or plants/ha
    Raises   InputProblem: there is no such yield table, or stands do not go into that unit
    """
    if name not in tables():
        raise InputProblem(f"There is no yield table called {name}; there are "
                           f"{', '.join(tables())}.")
    return _yield_table(name, read_data_table(name), stand_unit)


def own_table(text, called, stand_unit):
    """Return the yield table written in a text, in the form of the tables that come along.

    `# key: value` lines for each of OWN_HEAD, then a line `planted,stand,stand,...` and a line
    `month-day,percent,percent,...` for each planting date. Whether it was read or remembered is
    not asked; the plan says that the user gave it.

    Parameters
        text        the file's text
        called      the file's name, for messages and as the table's name
        stand_unit  such as plants/ac or plants/ha
    Raises   InputProblem, naming the file, row and column: something is missing, is no date or no
             number, or dates or stands do not rise
    """
    file = parse_data_table(text, called)
    lacking = [key for key in OWN_HEAD if not file.head.get(key)]
    if lacking:
        raise InputProblem(f"{called} lacks {', '.join(f'# {key}: ...' for key in lacking)} above "
                           "its table. Write where the figures come from and what they count.")
    if file.head["stand_unit"] not in STAND_UNITS:
        raise InputProblem(f"{called}: its stand_unit is {file.head['stand_unit']}. Write one of "
                           f"{', '.join(STAND_UNITS)}.")
    _require_figures(file, called)
    head = {"note": "", **file.head, "status": "O", "status_in_words": "entered by the user"}
    return _yield_table(called, DataTable(head, file.columns, file.rows), stand_unit)


def days_covered(table, year):
    """Return the first and the last date of a year that the table covers."""
    return tuple(date(year, one.month, one.day) for one in
                 (date(_COMMON_YEAR, 1, 1) + timedelta(days=int(day) - 1)
                  for day in (table.days[0], table.days[-1])))


def held_at_its_edges(table):
    """Return the table with dates before its first and after its last counting as these.

    The publication says nothing of such dates; the table's note says what was done.
    """
    days, first, last = table.days, *map(_day_in_words, (table.days[0], table.days[-1]))
    return replace(
        table, days=np.concatenate([[1.0], days, [365.0]]),
        percent=table.percent[[0, *range(len(days)), -1]],
        note=f"{table.note} It ends at {first} and {last}; dates beyond count as these, which was "
             "chosen and is not published: after the last, the yield is less than shown.".strip())


def _require_figures(file, called):
    """Refuse dates, stands and percents that are none, or that do not rise."""
    stands = [_number(called, "the line of stands", stand, stand, 0, np.inf)
              for stand in file.columns[1:]]
    days = []
    for number, row in enumerate(file.rows, 1):
        try:
            days.append(_day_of(_date_of(row[0])))
        except ValueError as problem:
            raise InputProblem(f"{called}, row {number} of the table: {row[0]} is no month-day "
                               "such as 05-20.") from problem
        for column, cell in zip(file.columns[1:], row[1:]):
            _number(called, f"row {number} of the table", column, cell, 0, MOST_PERCENT)
    for what, values in (("stands", stands), ("planting dates", days)):
        if len(values) < 2 or not (np.diff(values) > 0).all():
            raise InputProblem(f"{called}: its {what} must rise from one to the next, and there "
                               "must be at least two.")


def _number(called, where, column, cell, least, most):
    try:
        value = float(cell)
    except ValueError:
        value = np.nan
    if not least <= value <= most or not np.isfinite(value):
        within = f" from {least:g} to {most:g}" if np.isfinite(most) else f" of {least:g} or more"
        raise InputProblem(f"{called}, {where}, column {column}: {cell or 'an empty cell'} is no "
                           f"number{within}.")
    return value


def _yield_table(name, file, stand_unit):
    head = file.head
    stands = convert([float(stand) for stand in file.columns[1:]], head["stand_unit"], stand_unit)
    return YieldTable(
        name=name, title=head["title"], source=head["source"], year=head["year"],
        region=head["region"], crop=head["crop"], status=head["status"],
        status_in_words=head["status_in_words"],
        note=_in_units_of(stand_unit, head["note"], head["crop"]), stand_unit=stand_unit,
        stands=stands, days=np.array([_day_of(_date_of(row[0])) for row in file.rows], float),
        percent=np.array([row[1:] for row in file.rows], float))


def _date_of(text):
    return date(_COMMON_YEAR, *map(int, text.split("-")))


def _in_units_of(stand_unit, note, crop):
    """A note with its stands and yields per hectare where the table is read per hectare."""
    if not stand_unit.endswith("/ha"):
        return note

    def converted(found):
        figures, unit = found.groups()
        numbers = [float(text.replace(",", "")) for text in figures.split(" to ")]
        if unit == "plants/ac":
            said = [f"{round(float(convert(one, unit, 'plants/ha')), -2):,.0f}" for one in numbers]
            return f"{' to '.join(said)} plants/ha"
        said = [f"{float(bushels_per_acre_as_tonnes_per_hectare(one, crop)):.1f}"
                for one in numbers]
        return f"{' to '.join(said)} t/ha"

    return _PER_ACRE.sub(converted, note)


def percent(table, dates, stands):
    """Return the percent of full yield, straight-line between the table's dates and stands.

    Nothing is extrapolated: what lies outside the table is refused.

    Parameters
        table   YieldTable
        dates   a datetime.date, or a sequence of them that broadcasts with `stands`
        stands  float or array, in the table's stand unit
    Returns  percent, of the shape that dates and stands make together
    Raises   InputProblem: a date or a stand is outside the table
    """
    stands = np.asarray(stands, float)
    outside = ~((stands >= table.stands[0]) & (stands <= table.stands[-1]))
    if outside.any():
        first = stands[outside].flat[0]
        raise InputProblem(f"A stand of {first:,.0f} {table.stand_unit} is outside the table "
                           f"\"{table.title}\", which covers {table.reach}.")
    return _between(table, _days_within(table, dates), stands)


def percent_within(table, dates, stands):
    """Return the percent of full yield for any stand, and how many stands the table lacks.

    A stand above the table's last counts as its last; one below its first goes straight down to
    0 % at no plants. Both are this program's own continuation and no part of the publication:
    say so, with the count, wherever the result is shown. Dates are never continued.

    Parameters, Raises  as `percent`; stands below 0 or missing are refused
    Returns  percent, and the number of stands outside the table
    """
    stands = np.asarray(stands, float)
    if not (stands >= 0).all():
        raise InputProblem(f"{np.count_nonzero(~(stands >= 0))} stands are missing or below 0 "
                           f"{table.stand_unit}.")
    first, last = table.stands[0], table.stands[-1]
    days = _days_within(table, dates)
    share = np.minimum(stands / first, 1.0)
    found = share * _between(table, days, np.clip(stands, first, last))
    return found, int(np.count_nonzero((stands < first) | (stands > last)))


def _between(table, days, stands):
    days, stands = np.broadcast_arrays(days, stands)
    row, down = _place(table.days, days)
    column, across = _place(table.stands, stands)
    above = (1 - across) * table.percent[row, column] + across * table.percent[row, column + 1]
    below = ((1 - across) * table.percent[row + 1, column]
             + across * table.percent[row + 1, column + 1])
    return (1 - down) * above + down * below


def _place(knots, values):
    """Return the number of the knot before each value, and how far it is to the next, 0 to 1."""
    before = np.clip(np.searchsorted(knots, values, side="right") - 1, 0, len(knots) - 2)
    return before, (values - knots[before]) / (knots[before + 1] - knots[before])


def _days_within(table, dates):
    if isinstance(dates, date):
        days = np.array(_day_of(dates), float)
    else:
        days = np.array([_day_of(one) for one in dates], float)
    outside = (days < table.days[0]) | (days > table.days[-1])
    if outside.any():
        first, last = (_day_in_words(day) for day in (table.days[0], table.days[-1]))
        raise InputProblem(f"A planting date of {_day_in_words(days[outside].flat[0])} is outside "
                           f"the table \"{table.title}\", which covers {table.reach}. Enter a "
                           f"planting and a replant date from {first} to {last}, or make no "
                           "replant plan from this table.")
    return days


def _day_of(day):
    if (day.month, day.day) == (2, 29):
        day = day + timedelta(days=1)  # the tables' year has no such day
    return day.replace(year=_COMMON_YEAR).timetuple().tm_yday


def _day_in_words(day):
    found = date(_COMMON_YEAR, 1, 1) + timedelta(days=int(day) - 1)
    month = ("January", "February", "March", "April", "May", "June", "July", "August",
             "September", "October", "November", "December")[found.month - 1]
    return f"{found.day} {month}"
