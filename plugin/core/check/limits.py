"""Impossible and unlikely values, and the mistakes of unit that explain them."""
import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from ..units import convert
from .reading_set import figure, rows_of

TABLE = Path(__file__).with_name("tables") / "reading_limits.csv"
ANY_CROP = "any"
MOST_OF = 0.5  # share of a set from which a mistake is said of the set, not of each row
FEWEST_ALIKE = 3


@dataclass(frozen=True)
class Limits:
    """What a quantity can be (least to greatest) and usually is (likely_from to likely_to)."""
    least: float
    likely_from: float
    likely_to: float
    greatest: float
    source: str

    def likely(self, values):
        """Tell of each value whether it is a usual one."""
        return (values >= self.likely_from) & (values <= self.likely_to)

    def possible(self, values):
        """Tell of each value whether it can be at all."""
        return (values >= self.least) & (values <= self.greatest)


@dataclass(frozen=True)
class Mistake:
    """A way to mistake a unit.

    kind    of the flag
    factor  the value entered times this is the value meant; one number, or (n,) of each row
    words   what was done, such as "centimetres were entered as inches"
    """
    kind: str
    factor: object
    words: str


def limits_of(quantity, crop, unit):
    """Return the Limits of a quantity in a unit, those of the crop before those of any; or None.

    None where the table has neither. `crop` may be None.

    Raises   InputProblem: the table's unit cannot be expressed in `unit`
    """
    rows = _rows()
    row = rows.get((quantity, crop)) or rows.get((quantity, ANY_CROP))
    if row is None:
        return None
    ends = (float(convert(float(row[name]), row["unit"], unit))
            for name in ("least", "likely_from", "likely_to", "greatest"))
    return Limits(*ends, row["source"])


@cache
def _rows():
    lines = TABLE.read_text(encoding="utf-8").splitlines()
    return {(row["quantity"], row["crop"]): row
            for row in csv.DictReader(line for line in lines if not line.startswith("#"))}


def check_limits(readings, limits, mistakes=()):
    """Return flags of values that are impossible or unlikely.

    Where a mistake would make an unusual value a usual one, the flag is of that mistake. A
    mistake that explains more than MOST_OF the values, FEWEST_ALIKE at least, is flagged once, of
    the whole set. Empty values are not judged.

    Parameters
        readings  ReadingSet
        limits    Limits, in the set's unit
        mistakes  Mistakes that may have been made, the likeliest first
    """
    known = np.isfinite(readings.values)
    unusual = known & ~limits.likely(readings.values)
    flags = []
    for mistake in mistakes:
        meant = unusual & limits.likely(readings.values * mistake.factor)
        unusual &= ~meant
        if np.count_nonzero(meant) > MOST_OF * np.count_nonzero(known) and \
                np.count_nonzero(meant) >= FEWEST_ALIKE:
            flags.append(_mistaken_set(readings, limits, mistake, meant))
        else:
            flags += [_mistaken(readings, limits, mistake, number)
                      for number in np.flatnonzero(meant)]
    return flags + [_unusual(readings, limits, number) for number in np.flatnonzero(unusual)]


def _usual(readings, limits):
    unit = f" {readings.unit}" if readings.unit else ""
    least, most = (figure(float(f"{end:.2g}")) for end in (limits.likely_from, limits.likely_to))
    return f"Usual are about {least} to {most}{unit} ({limits.source})."


def _both(readings, mistake, number):
    """The value of a row as entered and as it may have been meant, in words."""
    value = readings.values[number]
    factor = np.broadcast_to(mistake.factor, len(readings))[number]
    return readings.said(value), readings.said(value * factor)


def _mistaken_set(readings, limits, mistake, meant):
    middle = np.flatnonzero(meant)[np.argsort(readings.values[meant])[meant.sum() // 2]]
    value, told = _both(readings, mistake, middle)
    return readings.flag_of_all(
        mistake.kind,
        what=f"{readings.title} in {rows_of(readings.fids[meant])}: {value} in the middle.",
        why=f"{_usual(readings, limits)} If {mistake.words}, {value} is {told}.",
        remedy="Look at the notes; if that is so, enter these rows again in the record's unit.")


def _mistaken(readings, limits, mistake, number):
    value, told = _both(readings, mistake, number)
    return readings.flag(
        number, mistake.kind, what=f"{readings.title} is {value}.",
        why=f"{_usual(readings, limits)} If {mistake.words}, it is {told}.",
        remedy="Look at the notes; if that is so, enter it again in the record's unit.")


def _unusual(readings, limits, number):
    value = readings.values[number]
    what = f"{readings.title} is {readings.said(value)}."
    if not limits.possible(value):
        return readings.flag(
            number, "impossible_value", what=what,
            why=f"It cannot be below {readings.said(limits.least)} or above "
                f"{readings.said(limits.greatest)}.",
            remedy="Correct the entry, or empty it where it is not known.")
    return readings.flag(number, "unlikely_value", what=what, why=_usual(readings, limits),
                         remedy="Look at the notes. If it is right, leave it as it is.")
