"""Readings without a date, and dates that cannot be."""
import datetime

from .flag import Flag
from .reading_set import place_of

LONGEST = datetime.timedelta(days=366)  # after planting that a reading of the crop can be


def check_dates(layer, fids, positions_m, taken, *, planted=None, today=None):
    """Return flags of readings without a date, before planting, or in the future.

    Where no row of several has a date, one flag says so of the layer.

    Parameters
        layer        what messages call the layer
        fids         (n,) row numbers
        positions_m  (n, 2) metres
        taken        (n,) datetimes, None where empty
        planted      date the crop was planted, for readings of the crop; None where it is not
                     known or does not matter
        today        date after which nothing can have been taken; None asks about nothing
    """
    missing = [number for number, moment in enumerate(taken) if moment is None]
    flags = []
    if len(missing) == len(taken) > 1:
        flags.append(Flag(
            "missing_date", layer, None, f"None of its {len(taken)} rows says when it was taken.",
            *_MISSING))
    else:
        flags += [Flag("missing_date", layer, int(fids[number]), "It does not say when it was "
                       "taken.", *_MISSING, place_of(positions_m[number])) for number in missing]
    for fid, position, moment in zip(fids, positions_m, taken):
        why = "" if moment is None else _odd(moment.date(), planted, today)
        if why:
            flags.append(Flag("odd_date", layer, int(fid), f"It was taken on {moment:%Y-%m-%d}.",
                              why, "Correct the date, or the planting date in field.",
                              place_of(position)))
    return flags


_MISSING = ("Stage, moisture and nitrate change by the week; readings of different days should "
            "not be mixed unseen.", "Enter the day, at least.")


def _odd(day, planted, today):
    if today is not None and day > today:
        return f"That is after today, {today}."
    if planted is not None and day < planted:
        return f"That is before the planting date, {planted}."
    if planted is not None and day > planted + LONGEST:
        return f"That is more than a year after the planting date, {planted}."
    return ""
