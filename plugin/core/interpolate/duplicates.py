"""Readings taken at one place, made one: an average that keeps every reading's weight."""
import numpy as np

from ..observations import EXACT, Observations

SAME_PLACE_M = 0.01  # readings closer than this cannot be told apart on the ground


def merge_places(observations):
    """Return observations with the exact values of each place averaged, in order of first sight.

    The average's error variance is the mean error variance over the number averaged. Censored
    readings are left as they are: their limits cannot be averaged.
    """
    place = _numbered(np.round(observations.positions_m / SAME_PLACE_M))
    censored = np.flatnonzero(observations.censoring != EXACT)
    place[censored] = -1 - censored  # each by itself
    _, first, group = np.unique(place, return_index=True, return_inverse=True)
    together = np.bincount(group)
    if (together == 1).all():
        return observations
    order = np.argsort(first)
    labels = [observations.labels[reading] for reading in first[order].tolist()]
    for number in np.flatnonzero(together[order] > 1).tolist():
        labels[number] += f" and {together[order[number]] - 1} more there"
    return Observations(
        observations.name, observations.unit, observations.positions_m[first[order]],
        (np.bincount(group, observations.values) / together)[order],
        (np.bincount(group, observations.error_variance) / together**2)[order],
        observations.censoring[first[order]], tuple(labels))


def _numbered(cells):
    """Whole numbers (n,), alike for those of cells (n, 2) that are: numpy sorts pairs slowly."""
    east, north = (np.unique(along, return_inverse=True)[1] for along in cells.T)
    return east * (north.max(initial=0) + 1) + north
