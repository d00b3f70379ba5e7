"""Outlines: the polygons of a label grid, along the sides of its cells or nearly so."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem
from ..zone_map import OUTSIDE
from .patches import patches
from .straighten import straightened

SIDES = 100_000  # followed between two ticks: some 20 ms

# Sides run east, north, west, south with their own cell on the left: counter-clockwise around it.
_ROW_STEP, _COLUMN_STEP = np.array([0, -1, 0, 1]), np.array([1, 0, -1, 0])


def outlines(labels, grid, *, deviation_m=0.0, sound=None, tick=None):
    """Return the polygons of every label, tracing the sides of its cells.

    Each patch that hangs together by cell sides is one polygon, so cells that meet at a corner
    alone are two. Where a patch meets itself at a corner its ring turns away from itself, which
    makes a ring and a hole that touch at a point, both simple. Neighbours share every vertex: one
    on a straight side is dropped only where no third patch, or the outside, meets. Whole cells
    are traced, whatever their share inside the field. Time and memory grow with the cells, some
    30 bytes each, then with the sides between patches.

    Borders between two patches can be straightened: both sides take the same line, its ends, where
    a third patch or the outside meets, stay, and no point of the old line is further from the new
    one than the deviation. Borders to the outside stay as they are. Where a straightened patch
    would not be sound, its borders keep the sides of the cells.

    Parameters
        labels  (rows, columns) integers, OUTSIDE where no zone is
        grid    Grid of that shape
        deviation_m  largest distance by which a border may leave the sides of the cells
        sound   function of a polygon, as returned, that tells whether it is valid; it is asked of
                each polygon with a straightened border
        tick    called with the fraction done; may raise Stopped
    Returns  label -> list of polygons in reading order, each a list of rings, each (k, 2) easting
             and northing, metres, its last point the first; the exterior comes first and runs
             counter-clockwise, holes run clockwise
    Raises   InputProblem: labels are not of the grid's shape, or the deviation is negative
    """
    labels = np.asarray(labels)
    if labels.shape != grid.shape:
        raise InputProblem(f"Labels of shape {labels.shape} came with a grid of {grid.shape}.")
    if not deviation_m >= 0:
        raise InputProblem(f"A largest deviation of {deviation_m} m was asked for; enter 0 or "
                           "more.")
    tick = tick or (lambda fraction: None)
    numbers, count = patches(labels, tick=lambda part: tick(0.3 * part))
    if not count:
        return {}
    rings = _rings(numbers, lambda part: tick(0.3 + 0.5 * part))
    if deviation_m > 0:
        polygons = _straightened_polygons(rings, count, grid, deviation_m / grid.cell_m,
                                          sound or (lambda one: True), lambda: tick(0.8))
    else:
        polygons = _polygons(rings, np.ones(len(rings.node), bool), count, grid)
    label_of = np.empty(count, labels.dtype)
    label_of[numbers[numbers != OUTSIDE]] = labels[numbers != OUTSIDE]
    found = {label: [] for label in np.unique(label_of).tolist()}
    for patch, label in enumerate(label_of.tolist()):
        found[label].append(polygons[patch])
    return found


@dataclass(frozen=True)
class _Rings:
    """The corners and junctions of all rings, ring after ring, each beginning at a junction if any.

    node      number of the grid node, row by row
    row, column   of the node
    owner     patch on the left of the side that starts here
    other     patch on the right, OUTSIDE where there is none
    junction  whether three patches meet here
    starts    where each ring starts
    """
    node: np.ndarray
    row: np.ndarray
    column: np.ndarray
    owner: np.ndarray
    other: np.ndarray
    junction: np.ndarray
    starts: np.ndarray


def _rings(numbers, tick):
    owner, other, node, direction, following = _sides(numbers, lambda part: tick(0.6 * part))
    at_junction = _at_junction(numbers, node)
    kept, following = _corners(node, direction, following, at_junction)
    tick(0.8)
    order, starts = _walk(following, at_junction[kept], lambda: tick(0.8))
    tick(1.0)
    along = kept[order]
    row, column = np.divmod(node[along], numbers.shape[1] + 1)
    return _Rings(node[along], row, column, owner[along], other[along], at_junction[along], starts)


def _polygons(rings, kept, count, grid):
    """Return each patch as a list of its rings through the kept corners, the exterior first."""
    number = np.cumsum(kept) - 1
    row, column = rings.row[kept], rings.column[kept]
    starts = number[rings.starts]
    points = np.column_stack([grid.west_m + column * grid.cell_m,
                              grid.north_m - row * grid.cell_m])
    ring_owner = rings.owner[rings.starts]
    exterior = _twice_areas(rings.row, rings.column, rings.starts) > 0
    closed = _closed_rings(points, starts)
    polygons = [[] for _ in range(count)]
    for ring in np.argsort(~exterior, kind="stable").tolist():  # exteriors first
        polygons[ring_owner[ring]].append(closed[ring])
    return polygons


def _straightened_polygons(rings, count, grid, deviation_cells, sound, tick):
    """Return the polygons with straightened borders, but for those that would not be sound."""
    exact = np.zeros(count, bool)
    while True:
        kept = straightened(rings, deviation_cells, exact)
        broken = _turned(rings, kept) | _run_through(rings, kept)
        touched = np.setdiff1d(rings.owner[~kept], np.flatnonzero(exact))
        polygons = _polygons(rings, kept, count, grid)
        wrong = []
        for patch in touched.tolist():
            tick()
            if broken[patch] or not sound(polygons[patch]):
                wrong.append(patch)
        if not wrong:
            return polygons
        exact[wrong] = True


def _turned(rings, kept):
    """Mark the patches of which a ring has lost its area, or runs the other way round."""
    number = np.cumsum(kept) - 1
    areas = _twice_areas(rings.row[kept], rings.column[kept], number[rings.starts])
    before = _twice_areas(rings.row, rings.column, rings.starts)
    turned = np.zeros(rings.owner.max() + 1, bool)
    turned[rings.owner[rings.starts][np.sign(areas) != np.sign(before)]] = True
    return turned


def _run_through(rings, kept):
    """Mark the patches of which a straightened border runs through a corner that it does not hold.

    Corners are nodes of the grid, so the line can only meet one in a whole fraction of itself.
    """
    number = np.flatnonzero(kept)
    after = np.append(number[1:], len(kept))
    following = after % len(kept)
    last = np.flatnonzero(np.isin(after, np.append(rings.starts[1:], len(kept))))
    following[last] = rings.starts
    across = rings.column[following] - rings.column[number]
    down = rings.row[following] - rings.row[number]
    parts = np.maximum(np.where(after - number > 1, np.gcd(across, down), 1), 1)
    which = np.repeat(np.arange(len(number)), parts - 1)
    step = np.arange(len(which)) - np.repeat(np.cumsum(parts - 1) - (parts - 1), parts - 1) + 1
    row = rings.row[number][which] + step * down[which] // parts[which]
    column = rings.column[number][which] + step * across[which] // parts[which]
    width = rings.column.max() + 1
    corners = np.unique(rings.row[kept] * width + rings.column[kept])
    met = np.isin(row * width + column, corners)
    through = np.zeros(rings.owner.max() + 1, bool)
    through[rings.owner[number][which[met]]] = True
    return through


def _cells_about_nodes(numbers):
    """Return the patches north-west, north-east, south-west and south-east of each grid node."""
    framed = np.pad(numbers, 1, constant_values=OUTSIDE)
    return framed[:-1, :-1], framed[:-1, 1:], framed[1:, :-1], framed[1:, 1:]


def _sides(numbers, tick):
    """List the sides between patches: owner, patch beyond, starting node, direction, side after it.

    A patch has at most one side from a node in a direction. Where two sides could follow, the
    patch meets itself at a corner, and the one to the right is taken.
    """
    north_west, north_east, south_west, south_east = _cells_about_nodes(numbers)
    node, owner, other, direction = [], [], [], []
    for heading, (left, right) in enumerate((
            (north_east, south_east), (north_west, north_east), (south_west, north_west),
            (south_east, south_west))):
        starts = (left != right) & (left != OUTSIDE)
        node.append(np.flatnonzero(starts))
        owner.append(left[starts])
        other.append(right[starts])
        direction.append(np.full(len(node[-1]), heading))
        tick(heading / 4)
    node, owner, other, direction = (np.concatenate(part)
                                     for part in (node, owner, other, direction))
    order = np.argsort(4 * node + direction, kind="stable")
    node, owner, other, direction = (part[order] for part in (node, owner, other, direction))
    tick(1.0)
    return owner, other, node, direction, _following(node, owner, direction, north_west.shape[1])


def _following(node, owner, direction, nodes_across):
    """The number of the side of the same patch that starts where each side ends."""
    side = 4 * node + direction  # ascending
    end = node + _ROW_STEP[direction] * nodes_across + _COLUMN_STEP[direction]
    following = np.full(len(owner), -1)
    for turn in (1, 0, -1):  # left, straight on, right: the last that fits stays
        ahead = 4 * end + (direction + turn) % 4
        place = np.minimum(np.searchsorted(side, ahead), len(side) - 1)
        fits = (side[place] == ahead) & (owner[place] == owner)
        following[fits] = place[fits]
    return following


def _at_junction(numbers, node):
    """Mark the nodes at which three or more patches meet, the outside counting as one."""
    row, column = np.divmod(node, numbers.shape[1] + 1)
    around = [cells[row, column] for cells in _cells_about_nodes(numbers)]
    around = np.sort(np.stack(around), axis=0)
    return np.count_nonzero(np.diff(around, axis=0), axis=0) >= 2


def _corners(node, direction, following, at_junction):
    """Keep the sides that start at a corner or junction; return them and which follows which.

    Sides between are leapt over by doubling the leap, so long straight borders cost little.
    """
    keep = at_junction.copy()
    keep[following[direction[following] != direction]] = True
    while not keep[following].all():
        following = np.where(keep[following], following, following[following])
    kept = np.flatnonzero(keep)
    number = np.cumsum(keep) - 1
    return kept, number[following[kept]]


def _walk(following, junction, tick):
    """Follow every ring round once; return the order of sides and where in it each ring starts.

    A ring starts at its first junction; at its first node where it has none.
    """
    ahead = following.tolist()
    order, starts, seen = [], [], bytearray(len(ahead))
    for first in np.argsort(~junction, kind="stable").tolist():
        if seen[first]:
            continue
        starts.append(len(order))
        at = first
        while not seen[at]:
            seen[at] = 1
            order.append(at)
            at = ahead[at]
            if len(order) % SIDES == 0:
                tick()
    return np.array(order), np.array(starts)


def _twice_areas(row, column, starts):
    """Return twice the signed area of each ring in cells, counter-clockwise positive, exactly."""
    after = np.arange(1, len(row) + 1)
    after[np.append(starts[1:], len(row)) - 1] = starts
    return np.add.reduceat(row * column[after] - column * row[after], starts)


def _closed_rings(points, starts):
    ends = np.append(starts[1:], len(points))
    closed = np.insert(points, ends, points[starts], axis=0)
    return np.split(closed, (ends + np.arange(1, len(ends) + 1))[:-1])
