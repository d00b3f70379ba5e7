"""Readings taken at one place, made one: an average that keeps every reading's weight."""
import numpy as np

from ..observations import EXACT, Observations

SAME_PLACE_M = 0.01  # readings closer than this cannot be told apart on the ground


def merge_places(observations):
    """Return observations with the exact values of each place averaged, in order of first sight.

    The average's error variance is the mean error variance over the number averaged. Censored
    readings are left as they are: their limits cannot be averaged.
    """
    cells = np.round(observations.positions_m / SAME_PLACE_M)
    own = np.where(observations.censoring == EXACT, 0, 1 + np.arange(len(observations)))
    _, first, group = np.unique(np.column_stack([cells, own]), axis=0, return_index=True,
                                return_inverse=True)
    group = group.reshape(-1)
    together = np.bincount(group)
    if (together == 1).all():
        return observations
    order = np.argsort(first)
    labels = tuple(observations.labels[first[place]]
                   + (f" and {together[place] - 1} more there" if together[place] > 1 else "")
                   for place in order)
    return Observations(
        observations.name, observations.unit, observations.positions_m[first[order]],
        (np.bincount(group, observations.values) / together)[order],
        (np.bincount(group, observations.error_variance) / together**2)[order],
        observations.censoring[first[order]], labels)
