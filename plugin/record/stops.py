"""Stops: readings of one layer that belong together, and what messages call them."""
import numpy as np
from scipy.spatial import cKDTree

APART_M = 30.0  # readings of one stop further apart than this are asked about: our own choice
ONE_PLACE_M = 0.5  # stops nearer than this are asked about: less than a step, our own choice
MOST_NAMED = 8


def stop_numbers(table, usable):
    """Return the stop number of each usable row; one without gets minus its fid."""
    return np.where(np.isfinite(table["stop"]), table["stop"], -table["fid"])[usable].astype(int)


def stop_named(layer, number):
    """Return what messages call a stop of a layer."""
    return f"{layer}, stop {number}" if number >= 0 else f"{layer}, row {-number}"


def rows_named(fids, most=8):
    """Return row numbers as words, the first `most` of them and how many more there are."""
    named = ", ".join(str(fid) for fid in fids[:most])
    more = f" and {len(fids) - most} more" if len(fids) > most else ""
    return f"{'row' if len(fids) == 1 else 'rows'} {named}{more}"


def scattered_stops(layer, stops, positions_m):
    """Return a warning for each stop number whose readings lie more than APART_M apart.

    Parameters
        layer        what messages call the layer
        stops        (n,) stop number of each reading
        positions_m  (n, 2) metres
    """
    warnings = []
    for stop in np.unique(stops):
        here = positions_m[stops == stop]
        apart_m = float(np.linalg.norm(here.max(axis=0) - here.min(axis=0)))
        if apart_m > APART_M:
            warnings.append(
                f"{stop_named(layer, stop)}: its {len(here)} readings lie {apart_m:.0f} m apart. "
                "Check the stop number; readings of another stop need a number of their own. Used "
                "at their mean place.")
    return warnings


def stops_at_one_place(layer, stops, positions_m):
    """Return a warning for each place, ONE_PLACE_M wide, at which several stops lie.

    A place is that of its first stop by number; a stop belongs to one place only.

    Parameters
        layer        what messages call the layer
        stops        (n,) stop number of each reading
        positions_m  (n, 2) metres
    """
    numbers, group = np.unique(stops, return_inverse=True)
    counts = np.bincount(group, minlength=len(numbers))
    places = np.column_stack([np.bincount(group, positions_m[:, axis], len(numbers)) / counts
                              for axis in (0, 1)])
    tree, named, warnings = cKDTree(places), np.zeros(len(numbers), bool), []
    for first in np.argsort(np.abs(numbers), kind="stable"):
        if named[first]:
            continue
        here = [one for one in tree.query_ball_point(places[first], ONE_PLACE_M) if not named[one]]
        if len(here) > 1:
            named[here] = True
            warnings.append(
                f"{layer}, {_stops_named(numbers[here])} share one place (within {ONE_PLACE_M:g} "
                "m). Check the points and the stop numbers. Used; the map averages them there.")
    return warnings


def _stops_named(numbers):
    """Return numbers of several stops as words; those without a number by their row."""
    numbers = sorted(numbers.tolist(), key=abs)
    known, rows = [n for n in numbers if n >= 0], [-n for n in numbers if n < 0]
    words = [_listed("stop", known)] if known else []
    return " and ".join(words + ([_listed("row", rows)] if rows else []))


def _listed(what, numbers):
    shown = [str(number) for number in numbers[:MOST_NAMED]]
    more = f"{len(numbers) - MOST_NAMED} more" if len(numbers) > MOST_NAMED else shown.pop()
    return f"{what}s {', '.join(shown)} and {more}" if shown else f"{what} {more}"
