"""Entries that the record's forms would not take: out of range, unknown words, upside down."""
import numpy as np

from .flag import Flag
from .reading_set import place_of


def check_range(readings, low, high):
    """Return a flag for each value below `low` or above `high`; None is no limit."""
    values = readings.values
    with np.errstate(invalid="ignore"):
        wrong = np.zeros(len(values), bool) if low is None else values < low
        wrong = wrong if high is None else wrong | (values > high)
    wrong |= np.isinf(values)
    ends = " and ".join(words for words in (
        "" if low is None else f"from {low:g}", "" if high is None else f"up to {high:g}") if words)
    return [readings.flag(number, "impossible_value",
                          what=f"{readings.title} is {readings.said(values[number])}.",
                          why=f"The record takes numbers {ends or 'that are finite'}.",
                          remedy="Correct the entry, or empty it where it is not known.")
            for number in np.flatnonzero(wrong)]


def check_words(layer, title, fids, positions_m, words, allowed):
    """Return a flag for each row with a word that is not one of those allowed.

    Parameters
        layer, title  what messages call the layer and the column
        fids          (n,) row numbers
        positions_m   (n, 2) metres, NaN where a row has no place
        words         (n,) texts, None where empty
        allowed       the words of the record
    """
    return [Flag("impossible_value", layer, int(fid), f"{title} is {word!r}.",
                 f"The record knows {', '.join(allowed)}.", "Choose one of these in the form.",
                 place_of(position))
            for fid, position, word in zip(fids, positions_m, words)
            if word not in (None, "") and word not in allowed]


def check_order(upper, lower, *, may_meet=False):
    """Return a flag for each row in which a depth that lies above another is entered below it.

    Parameters
        upper, lower  ReadingSets of the same rows; `upper` is the shallower depth
        may_meet      whether the two may be equal
    """
    with np.errstate(invalid="ignore"):
        wrong = upper.values > lower.values if may_meet else upper.values >= lower.values
    return [upper.flag(number, "impossible_value",
                       what=f"{upper.title} is {upper.said(upper.values[number])}, "
                            f"{lower.title.lower()} {lower.said(lower.values[number])}.",
                       why=f"{upper.title} lies above {lower.title.lower()}.",
                       remedy="Correct one of the two; they may stand in each other's place.")
            for number in np.flatnonzero(wrong)]
