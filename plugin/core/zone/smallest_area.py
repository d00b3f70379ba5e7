"""Smallest area: patches too small to work are given to a neighbour."""
import heapq
from itertools import count as counting

import numpy as np
from scipy import ndimage

from ..long_call import long_call
from ..problems import InputProblem
from ..zone_map import OUTSIDE
from .patches import patches, shared_borders

TURNS = 1000  # patches looked at between two ticks: some 10 ms


def merge_small(labels, inside, *, cell_area_m2, smallest_area_m2, ordered=False, tick=None):
    """Return labels in which no patch with a neighbour is smaller than the smallest area.

    The smallest patch goes first. It takes the label of the neighbour patch with which it shares
    the longest border, counted in cell sides; of several, the one with the larger area, then the
    one that comes first in reading order. Whatever patches of that label it touches become one.
    A patch surrounded by OUTSIDE stays, however small. Of ordered labels a patch joins a neighbour
    of higher rank alone, and one that has none is enlarged into the ground around it until it is
    large enough. The order is fixed, so the same labels always give the same answer, but a
    different order would give another: there is no unique one. Time grows as p log p with the
    number of patches p.

    Parameters
        labels            (rows, columns) integers, OUTSIDE where no zone is
        inside            (rows, columns) share of each cell in the field
        cell_area_m2      area of a whole cell
        smallest_area_m2  0 or more; a patch of just this area stays
        ordered           True: labels are ranks, and no cell takes a lower one than it has
        tick              called with the fraction done; may raise Stopped
    Returns  (rows, columns) labels
    Raises   InputProblem: the shapes differ, or the smallest area is negative or not a number
    Source   common practice ("eliminate by the longest border")
    """
    labels, inside = np.asarray(labels), np.asarray(inside, float)
    if labels.shape != inside.shape:
        raise InputProblem(f"Labels of shape {labels.shape} came with shares of shape "
                           f"{inside.shape}.")
    if not smallest_area_m2 >= 0:
        raise InputProblem(f"The smallest zone area is {smallest_area_m2} m2; enter 0 or more.")
    cell_areas_m2 = inside * cell_area_m2
    tick = tick or (lambda fraction: None)
    merged = _merged(labels, cell_areas_m2, smallest_area_m2, ordered, tick)
    while ordered:  # labels only rise, so that this comes to an end
        before = merged
        raised = _peaks_enlarged(merged, cell_areas_m2, smallest_area_m2)
        merged = _merged(raised, cell_areas_m2, smallest_area_m2, ordered, lambda part: tick(0.9))
        if np.array_equal(before, merged):
            break
    return merged


def _areas_m2(numbers, count, cell_areas_m2):
    within = numbers != OUTSIDE
    return np.bincount(numbers[within], cell_areas_m2[within], minlength=count)


def _merged(labels, cell_areas_m2, smallest_area_m2, ordered, tick):
    numbers, count = patches(labels, tick=lambda part: tick(0.3 * part))
    areas_m2 = long_call(lambda: _areas_m2(numbers, count, cell_areas_m2), tick, 0.3)
    if count < 2 or areas_m2.min() >= smallest_area_m2:
        return labels.copy()
    label_of = long_call(lambda: _labels_of(numbers, count, labels), tick, 0.35)
    borders = long_call(lambda: shared_borders(numbers, count), tick, 0.35)
    mosaic = _Mosaic(label_of.tolist(), areas_m2.tolist(), borders, ordered)
    tick(0.4)
    mosaic.dissolve(smallest_area_m2, lambda: tick(0.4))
    tick(0.9)
    final = np.array([*mosaic.final_labels(), OUTSIDE], labels.dtype)
    return long_call(lambda: final.take(numbers), tick, 0.9)  # OUTSIDE, -1, is the last of them


def _labels_of(numbers, count, labels):
    within, label_of = numbers != OUTSIDE, np.empty(count, labels.dtype)
    label_of[numbers[within]] = labels[within]
    return label_of


def _peaks_enlarged(labels, cell_areas_m2, smallest_area_m2):
    """Enlarge each patch that is too small and has neighbours, as far as cells around it allow."""
    numbers, count = patches(labels)
    neighbours = np.diff(shared_borders(numbers, count).indptr)
    areas_m2 = _areas_m2(numbers, count, cell_areas_m2)
    boxes = ndimage.find_objects(numbers + 1)
    room = int(np.sqrt(smallest_area_m2 / cell_areas_m2.max())) + 2
    raised = labels.copy()
    for number in np.flatnonzero((areas_m2 < smallest_area_m2) & (neighbours > 0)):
        box = tuple(slice(max(0, side.start - room), side.stop + room) for side in boxes[number])
        _enlarge(raised[box], numbers[box] == number, cell_areas_m2[box], smallest_area_m2)
    return raised


def _enlarge(labels, peak, cell_areas_m2, smallest_area_m2):
    """Raise the cells around a peak to its label, ring by ring, until the area is reached.

    It also ends where the peak has met ground of higher rank, which it can then join.
    """
    label = labels[peak].max()
    square = ndimage.generate_binary_structure(2, 2)
    for ring in counting():
        around = ndimage.binary_dilation(peak, square if ring % 2 else None)
        reached = around & (labels != OUTSIDE) & ~peak
        if (not reached.any() or cell_areas_m2[peak].sum() >= smallest_area_m2
                or (labels[peak] > label).any()):
            break
        labels[reached] = np.maximum(labels[reached], label)
        peak = peak | reached


class _Mosaic:
    """Patches with label, area and neighbours, that can be united.

    `parent` leads from each patch towards the one that stands for its union; neighbours are kept
    for these alone, and always name patches that stand for theirs.
    """

    def __init__(self, labels, areas_m2, borders, ordered):
        self.labels, self.areas_m2, self.ordered = labels, areas_m2, ordered
        self.parent = list(range(len(labels)))
        self.first = list(range(len(labels)))  # first in reading order of each union
        ends, others, lengths = (part.tolist() for part in
                                 (borders.indptr, borders.indices, borders.data))
        self.neighbours = [dict(zip(others[start:end], lengths[start:end]))
                           for start, end in zip(ends[:-1], ends[1:])]

    def dissolve(self, smallest_area_m2, tick):
        """Give every patch below the area to a neighbour, smallest first; tick now and then."""
        waiting = [(area, patch, patch) for patch, area in enumerate(self.areas_m2)
                   if area < smallest_area_m2]
        heapq.heapify(waiting)
        for turn in counting(1):
            if not waiting:
                return
            if turn % TURNS == 0:
                tick()
            area, _, patch = heapq.heappop(waiting)
            outdated = self.parent[patch] != patch or self.areas_m2[patch] != area
            if outdated or not self._takers(patch):
                continue
            union = self._give_away(patch)
            if self.areas_m2[union] < smallest_area_m2:
                heapq.heappush(waiting, (self.areas_m2[union], self.first[union], union))

    def _takers(self, patch):
        if not self.ordered:
            return self.neighbours[patch]
        return [other for other in self.neighbours[patch]
                if self.labels[other] > self.labels[patch]]

    def _give_away(self, patch):
        borders = self.neighbours[patch]
        taker = max(self._takers(patch), key=lambda other: (borders[other], self.areas_m2[other],
                                                -self.first[other]))
        label = self.labels[taker]
        alike = sorted(other for other in borders if self.labels[other] == label)
        union = patch
        for other in alike:
            union = self._unite(union, other)
        self.labels[union] = label
        return union

    def _unite(self, one, other):
        keeper, goer = one, other
        if len(self.neighbours[keeper]) < len(self.neighbours[goer]):
            keeper, goer = goer, keeper
        kept, gone = self.neighbours[keeper], self.neighbours[goer]
        self.neighbours[goer] = {}
        for neighbour, length in gone.items():
            theirs = self.neighbours[neighbour]
            del theirs[goer]
            if neighbour != keeper:
                kept[neighbour] = theirs[keeper] = kept.get(neighbour, 0) + length
        self.parent[goer] = keeper
        self.areas_m2[keeper] += self.areas_m2[goer]
        self.first[keeper] = min(self.first[keeper], self.first[goer])
        return keeper

    def final_labels(self):
        """Return the label of every original patch."""
        return [self.labels[self._standing_for(patch)] for patch in range(len(self.parent))]

    def _standing_for(self, patch):
        while self.parent[patch] != patch:
            self.parent[patch] = self.parent[self.parent[patch]]
            patch = self.parent[patch]
        return patch
