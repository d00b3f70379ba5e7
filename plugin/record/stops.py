"""Stops: readings of one layer that belong together, and what messages call them."""
import numpy as np

APART_M = 30.0  # readings of one stop further apart than this are asked about: our own choice


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
