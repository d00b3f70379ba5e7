"""Smallest width: no part of a zone narrower than the machine, where the field itself is not."""
import numpy as np
from scipy import ndimage
from scipy.spatial import cKDTree

from ..zone_map import OUTSIDE
from .patches import patches, shared_borders
from .window import covered, open_again, opened, uniform, votes

_EVERY_SIDE = np.ones((3, 3), bool)
_AROUND = np.argwhere(_EVERY_SIDE) - 1


def at_least_as_wide(labels, window, *, ordered=False, tick=None):
    """Return labels in which the window, moved about inside each label, covers all of it.

    What the window cannot cover (the morphological opening by it) is too narrow. It goes to the
    nearest ground that is wide enough; where several labels meet in less room than the window
    needs, the one among them with the most ground in the field takes the whole window. Cells that
    the window cannot cover even where the whole field is one label, in corners of the field, keep
    their label: the field does not allow more. Where nothing is too narrow, nothing changes. There
    is no unique answer. Time grows with the cells, and with the turns taken times the ground that
    was too narrow.

    Parameters
        labels   (rows, columns) integers, OUTSIDE where no zone is
        window   Window, as wide and as long as a zone must be
        ordered  True: labels are ranks and none is lowered. What is too narrow joins the higher
                 neighbour with the longest border, from the lowest rank up, or else takes the
                 highest label within the window around it
        tick     called with the share of the narrow cells that is dealt with; may raise Stopped
    Returns  (rows, columns) labels
    Source   opening: Serra, J. (1982), Image Analysis and Mathematical Morphology (from memory);
             the rules for what is left over are ours
    """
    labels = np.array(labels)
    room = uniform(np.where(labels == OUTSIDE, OUTSIDE, 0), window) & (labels != OUTSIDE)
    wanted = covered(room, window)
    rank, first = _ranks(labels), None
    wide, before = opened(labels, window), labels.copy()

    def look_again():
        open_again(wide, labels, window, np.argwhere(labels != before))
        before[:] = labels
        return wanted & ~wide

    narrow = wanted & ~wide
    while narrow.any():
        left = np.count_nonzero(narrow)
        first = first or left
        if tick is not None:
            tick(max(0.0, 1.0 - left / first))
        if ordered:
            _raise_lowest(labels, narrow, room, window)
        else:
            _give_to_nearest(labels, narrow, wide)
            _claim(labels, look_again(), room, window, rank)
        narrow = look_again()
    return labels


def _ranks(labels):
    """Return the rank of each label by the ground it has, -1 for OUTSIDE, by label + 1."""
    times = np.bincount(labels.ravel() - OUTSIDE)
    times[0] = -1
    return np.argsort(np.argsort(times, kind="stable")) - 1


def _give_to_nearest(labels, narrow, wide):
    """Give each narrow cell the label of the nearest wide one that borders on narrow ground."""
    cells = np.argwhere(narrow)
    beside = np.zeros(narrow.shape, bool)
    for step in _AROUND:
        row, column = np.clip(cells + step, 0, np.array(narrow.shape) - 1).T
        beside[row, column] = True
    shore = np.argwhere(beside & wide)
    if len(shore):
        nearest = shore[cKDTree(shore).query(cells)[1]]
        labels[tuple(cells.T)] = labels[tuple(nearest.T)]


def _claim(labels, narrow, room, window, rank):
    """Put one whole window on each narrow place, of the label there with the highest rank.

    What a label covers is only ever lost to one of higher rank, so that this comes to an end.
    """
    offsets = window.offsets
    for centre in _centres(narrow, room, window, offsets):
        row, column = (centre + offsets).T
        there = labels[row, column]
        labels[row, column] = there[np.argmax(rank[there - OUTSIDE])]


def _centres(narrow, room, window, offsets):
    """Return for each narrow place the centre whose window lies in the field and covers most.

    Of several the first by `offsets` is taken. From one corner on, windows come to lie beside each
    other and few turns are needed; from the middle on, what is enlarged grows to all sides.
    """
    cells = np.argwhere(narrow)
    if not len(cells):
        return cells
    place = ndimage.label(narrow, _EVERY_SIDE)[0][tuple(cells.T)]
    cells = cells[np.argsort(place, kind="stable")]
    ends = np.cumsum(np.bincount(place)[1:])
    middles = cells[(ends - np.bincount(place)[1:] + ends) // 2]
    about = middles[:, None] + offsets
    on_grid = ((about >= 0) & (about < narrow.shape)).all(axis=2)
    row, column = np.clip(about, 0, np.array(narrow.shape) - 1).transpose(2, 0, 1)
    covers = np.where(on_grid & room[row, column], votes(narrow, window)[row, column], -1)
    return about[np.arange(len(about)), covers.argmax(axis=1)]


def _raise_lowest(labels, narrow, room, window):
    """Raise the narrow cells of the lowest label that has some."""
    lowest = labels[narrow].min()
    part = narrow & (labels == lowest)
    split = np.where(part, labels.max() + 1, labels)
    numbers, count = patches(split)
    label_of = np.empty(count, labels.dtype)
    label_of[numbers[numbers != OUTSIDE]] = labels[numbers != OUTSIDE]
    borders = shared_borders(numbers, count)
    borders.sum_duplicates()
    becomes = label_of.copy()
    for number in np.unique(numbers[part]).tolist():
        row = slice(*borders.indptr[number:number + 2])
        beside = label_of[borders.indices[row]]
        lengths = np.bincount(np.maximum(beside - lowest, 0), borders.data[row], minlength=1)
        lengths[0] = 0
        if lengths.any():
            becomes[number] = lowest + np.argmax(lengths)
    labels[part] = becomes[numbers[part]]
    offsets = window.offsets
    near_first = offsets[np.argsort((offsets**2).sum(axis=1), kind="stable")]
    for centre in _centres(part & (labels == lowest), room, window, near_first):
        row, column = (centre + offsets).T
        labels[row, column] = labels[row, column].max()
