"""Smoothing of zones: each cell takes the label most common around it."""
from functools import partial

import numpy as np

from ..long_call import long_call
from ..problems import InputProblem
from ..zone_map import OUTSIDE
from .statistics import labels_there
from .window import votes

MOST_PASSES = 3


def mode_filter(labels, inside, window, *, passes=1, ordered=False, tick=None):
    """Return labels in which each cell has the most common label of the window around it.

    A cell keeps its label when no single label has the most cells in the window. Cells outside the
    field have no vote and stay OUTSIDE; each other cell has one vote, whatever its share inside.
    Filtering stops early when a pass changes nothing. Time grows with cells x labels x the rows of
    the window.

    Parameters
        labels        (rows, columns) integers, OUTSIDE where `inside` is 0
        inside        (rows, columns) share of each cell in the field
        window        Window of the cells that vote
        passes        1 to MOST_PASSES
        ordered       True: labels are ranks, and no cell takes a lower one than it has
        tick          called with the fraction done, label by label; may raise Stopped
    Returns  (rows, columns) labels
    Raises   InputProblem: the passes are out of range, shapes differ
    Source   Ping, J.L. and Dobermann, A. (2003), Agronomy Journal 95, for filtering classes
             rather than values; the rule for ties is ours
    """
    labels = np.asarray(labels)
    if labels.shape != np.shape(inside):
        raise InputProblem(f"Labels of shape {labels.shape} came with shares of shape "
                           f"{np.shape(inside)}.")
    if not 1 <= passes <= MOST_PASSES:
        raise InputProblem(f"{passes} smoothing passes were asked for; enter 1 to {MOST_PASSES}.")
    tick = tick or (lambda fraction: None)
    tick(0.0)
    smooth = np.where(np.asarray(inside) > 0, labels, OUTSIDE)
    for number in range(passes):
        before, smooth = smooth, _one_pass(
            smooth, window, lambda part, number=number: tick((number + part) / passes))
        tick((number + 1) / passes)
        if ordered:
            smooth = np.maximum(before, smooth)
        if np.array_equal(before, smooth):
            break
    return smooth


def _one_pass(labels, window, tick):
    there = long_call(lambda: labels_there(labels), tick)
    most, winner = np.zeros(labels.shape, np.int32), labels.copy()
    tied = np.zeros(labels.shape, bool)

    def count(label):
        found = votes(labels == label, window)
        ahead = found > most
        np.logical_or(tied, found == most, out=tied)
        tied[ahead] = False
        winner[ahead] = label
        np.maximum(most, found, out=most)

    for number, label in enumerate(there):
        long_call(partial(count, label), tick, number / len(there))
    return long_call(lambda: np.where((labels != OUTSIDE) & ~tied, winner, labels), tick, 1.0)
