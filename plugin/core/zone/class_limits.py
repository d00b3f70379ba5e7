"""Limits between classes of a surface: of equal area, or where its values break naturally."""
import numpy as np

from ..problems import InputProblem

MOST_EXACT = 2048  # distinct values told apart; the table of their sums of squares takes 34 MB
MOST_CLASSES = 12


def equal_area_limits(surface, count):
    """Return the limits of classes that hold equal areas of the field, as nearly as cells allow.

    A limit is the lowest value of the class above it. Cells weigh by their share inside the field.

    Parameters
        surface  Surface
        count    classes, 2 to MOST_CLASSES
    Returns  (count - 1,) rising, in the surface's unit
    Raises   InputProblem: the count is out of range, the surface has fewer distinct values, or so
             much of the field has one value that a class would be empty
    """
    values, weights = _distinct(surface, count)
    reached = np.cumsum(weights) / weights.sum()
    wanted = np.arange(1, count) / count
    above = np.searchsorted(reached, wanted * (1 - 1e-12)) + 1  # rounding of the sum
    if above[-1] >= len(values) or (np.diff(above) <= 0).any():
        common = values[np.argmax(weights)]
        raise InputProblem(f"{surface.name}: {weights.max() / weights.sum():.0%} of the field has "
                           f"the value {common:g}, so {count} classes of equal area cannot be "
                           "made. Ask for fewer, or enter limits.")
    return values[above]


def natural_breaks(surface, count):
    """Return the limits for which the squared deviations from the class means sum to the least.

    Found exactly by dynamic programming over the sorted values. Of more than MOST_EXACT distinct
    values, those in the same MOST_EXACT-th part of their range stay together: a limit is then off
    by one such part at most. A limit is the lowest value of the class above it; of equally good
    ones the lower is taken. Cells weigh by their share inside the field. Time and memory grow with
    the square of the values told apart, and not with the cells.

    Parameters
        surface  Surface
        count    classes, 2 to MOST_CLASSES
    Returns  (count - 1,) rising, in the surface's unit
    Raises   InputProblem: the count is out of range, or the surface has fewer distinct values
    Source   Fisher, W.D. (1958), Journal of the American Statistical Association 53, 789-798;
             Jenks, G.F. (1967), International Yearbook of Cartography 7, 186-190 (from memory)
    """
    values, weights = _distinct(surface, count)
    start = _starts_of_parts(values)
    weight = np.add.reduceat(weights, start)
    centred = values - np.average(values, weights=weights)
    first = np.add.reduceat(weights * centred, start)
    second = np.add.reduceat(weights * centred**2, start)
    deviations = _deviations(weight, first, second)
    best, came_from = deviations[0], []
    for _ in range(count - 1):
        whole = best[:-1, None] + deviations[1:]  # the last class starts one after the row
        whole[np.tri(*whole.shape, k=0, dtype=bool)] = np.inf  # and needs a value of its own
        chosen = np.argmin(whole, axis=0)
        came_from.append(chosen + 1)
        best = np.take_along_axis(whole, chosen[None], axis=0)[0]
    at, breaks = len(start) - 1, []
    for chosen in reversed(came_from):
        breaks.append(chosen[at])
        at = chosen[at] - 1
    return values[start[breaks[::-1]]]


def _distinct(surface, count):
    if not 2 <= count <= MOST_CLASSES:
        raise InputProblem(f"{count} classes were asked for; enter 2 to {MOST_CLASSES}.")
    field = surface.inside > 0
    values, number = np.unique(surface.estimate[field], return_inverse=True)
    if len(values) < count or not np.isfinite(values).all():
        raise InputProblem(f"{surface.name} has {np.isfinite(values).sum()} distinct values in the "
                           f"field; {count} classes were asked for. Ask for fewer.")
    return values, np.bincount(number, surface.inside[field])


def _starts_of_parts(values):
    if len(values) <= MOST_EXACT:
        return np.arange(len(values))
    part = ((values - values[0]) / (values[-1] - values[0]) * MOST_EXACT).astype(int)
    return np.unique(np.minimum(part, MOST_EXACT - 1), return_index=True)[1]


def _deviations(weight, first, second):
    """Return [i, j]: the squared deviations of values i to j from their mean, inf where j < i."""
    weights, firsts, seconds = (np.append(0.0, np.cumsum(part)) for part in (weight, first, second))
    with np.errstate(invalid="ignore", divide="ignore"):
        found = (seconds[None, 1:] - seconds[:-1, None]
                 - (firsts[None, 1:] - firsts[:-1, None])**2
                 / (weights[None, 1:] - weights[:-1, None]))
    found[np.tri(*found.shape, k=-1, dtype=bool)] = np.inf
    return np.maximum(found, 0.0)
