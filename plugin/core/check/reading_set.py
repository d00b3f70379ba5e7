"""Readings of one quantity, as the checks look at them."""
from dataclasses import dataclass

import numpy as np

from .flag import Flag

MOST_NAMED = 8  # rows named one by one in a flag of many


@dataclass(frozen=True)
class ReadingSet:
    """Values of one quantity, one a row of a layer.

    layer, title, unit   of the record, as messages say them; unit "" for none
    fids                 (n,) row numbers
    positions_m          (n, 2) metres, NaN where a row has no place
    values               (n,) in `unit`, NaN where empty
    """
    layer: str
    title: str
    unit: str
    fids: np.ndarray
    positions_m: np.ndarray
    values: np.ndarray

    def __len__(self):
        return len(self.fids)

    def said(self, value):
        """Return a value with its unit, as messages say it."""
        return f"{figure(value)} {self.unit}".strip()

    def flag(self, number, kind, *, what, why, remedy):
        """Return a Flag of one row, by its place in the set."""
        return Flag(kind, self.layer, int(self.fids[number]), what, why, remedy,
                    place_of(self.positions_m[number]))

    def flag_of_all(self, kind, *, what, why, remedy):
        """Return a Flag of the set as a whole."""
        return Flag(kind, self.layer, None, what, why, remedy)


def place_of(position_m):
    """Return a position as a tuple, None where it is no place."""
    return tuple(map(float, position_m)) if np.isfinite(position_m).all() else None


def figure(value):
    """Return a number with the four digits that count, thousands parted."""
    return f"{float(f'{value:.4g}'):,.10g}"


def rows_of(fids):
    """Return rows as words: "row 3", "rows 3, 4 and 7", the first MOST_NAMED and how many more."""
    named = [str(fid) for fid in fids[:MOST_NAMED]]
    if len(fids) > MOST_NAMED:
        named.append(f"{len(fids) - MOST_NAMED} more")
    return (f"row {named[0]}" if len(named) == 1
            else f"rows {', '.join(named[:-1])} and {named[-1]}")
