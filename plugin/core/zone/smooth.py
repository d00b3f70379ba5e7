"""Smoothing of zones: each cell takes the label most common around it."""
import numpy as np

from ..problems import InputProblem
from ..zone_map import OUTSIDE
from .statistics import labels_there

MOST_PASSES = 3


def mode_filter(labels, inside, *, radius_cells, passes=1, tick=None):
    """Return labels in which each cell has the most common label of the disk around it.

    A cell keeps its label when no single label has the most cells in the disk. Cells outside the
    field have no vote and stay OUTSIDE; each other cell has one vote, whatever its share inside.
    Filtering stops early when a pass changes nothing. Time grows with cells x labels x radius.

    Parameters
        labels        (rows, columns) integers, OUTSIDE where `inside` is 0
        inside        (rows, columns) share of each cell in the field
        radius_cells  0 or more; cells whose centres are this near vote; 0 changes nothing
        passes        1 to MOST_PASSES
        tick          called with the fraction done, row span by row span; may raise Stopped
    Returns  (rows, columns) labels
    Raises   InputProblem: the radius is negative, the passes are out of range, shapes differ
    Source   Ping, J.L. and Dobermann, A. (2003), Agronomy Journal 95, for filtering classes
             rather than values; the rule for ties is ours
    """
    labels = np.asarray(labels)
    if labels.shape != np.shape(inside):
        raise InputProblem(f"Labels of shape {labels.shape} came with shares of shape "
                           f"{np.shape(inside)}.")
    if not radius_cells >= 0:
        raise InputProblem(f"The smoothing radius is {radius_cells} cells; enter 0 or more.")
    if not 1 <= passes <= MOST_PASSES:
        raise InputProblem(f"{passes} smoothing passes were asked for; enter 1 to {MOST_PASSES}.")
    smooth = np.where(np.asarray(inside) > 0, labels, OUTSIDE)
    tick = tick or (lambda fraction: None)
    for number in range(passes):
        before, smooth = smooth, _one_pass(
            smooth, float(radius_cells),
            lambda part, number=number: tick((number + part) / passes))
        if np.array_equal(before, smooth):
            break
    return smooth


def _one_pass(labels, radius, tick):
    voters = labels != OUTSIDE
    most = np.zeros(labels.shape, np.int32)
    winner, tied = labels.copy(), np.zeros(labels.shape, bool)
    there = labels_there(labels)
    for number, label in enumerate(there):
        votes = _in_disk(labels == label, radius,
                         lambda part, number=number: tick((number + part) / len(there)))
        ahead = votes > most
        tied = np.where(ahead, False, tied | (votes == most))
        winner[ahead] = label
        np.maximum(most, votes, out=most)
    return np.where(voters & ~tied, winner, labels)


def _in_disk(marked, radius, tick):
    """Count the marked cells within the radius of every cell, row span by row span."""
    rows, columns = marked.shape
    reach = int(radius)
    run = np.zeros((rows, columns + 1), np.int32)
    np.cumsum(marked, axis=1, out=run[:, 1:])
    count = np.zeros(marked.shape, np.int32)
    column = np.arange(columns)
    shifts = range(-min(reach, rows - 1), min(reach, rows - 1) + 1)
    for number, shift in enumerate(shifts):
        tick(number / len(shifts))
        half = int(np.sqrt(radius**2 - shift**2))
        span = (run[:, np.minimum(column + half + 1, columns)]
                - run[:, np.maximum(column - half, 0)])
        count[max(0, -shift):rows - max(0, shift)] += span[max(0, shift):rows - max(0, -shift)]
    return count
