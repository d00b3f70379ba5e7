"""Outlines: the polygons of a label grid, along the sides of its cells."""
import numpy as np

from ..problems import InputProblem
from ..zone_map import OUTSIDE
from .patches import patches

SIDES = 100_000  # followed between two ticks: some 20 ms

# Sides run east, north, west, south with their own cell on the left: counter-clockwise around it.
_ROW_STEP, _COLUMN_STEP = np.array([0, -1, 0, 1]), np.array([1, 0, -1, 0])


def outlines(labels, grid, *, tick=None):
    """Return the polygons of every label, tracing the sides of its cells.

    Each patch that hangs together by cell sides is one polygon, so cells that meet at a corner
    alone are two. Where a patch meets itself at a corner its ring turns away from itself, which
    makes a ring and a hole that touch at a point, both simple. Neighbours share every vertex: one
    on a straight side is dropped only where no third patch, or the outside, meets. Whole cells
    are traced, whatever their share inside the field. Time and memory grow with the cells, some
    30 bytes each, then with the sides between patches.

    Parameters
        labels  (rows, columns) integers, OUTSIDE where no zone is
        grid    Grid of that shape
        tick    called with the fraction done; may raise Stopped
    Returns  label -> list of polygons in reading order, each a list of rings, each (k, 2) easting
             and northing, metres, its last point the first; the exterior comes first and runs
             counter-clockwise, holes run clockwise
    Raises   InputProblem: labels are not of the grid's shape
    """
    labels = np.asarray(labels)
    if labels.shape != grid.shape:
        raise InputProblem(f"Labels of shape {labels.shape} came with a grid of {grid.shape}.")
    tick = tick or (lambda fraction: None)
    numbers, count = patches(labels, tick=lambda part: tick(0.3 * part))
    if not count:
        return {}
    owner, node, direction, following = _sides(numbers, lambda part: tick(0.3 + 0.3 * part))
    kept, following = _corners(node, direction, following, _at_junction(numbers, node))
    tick(0.7)
    order, starts = _walk(following, lambda: tick(0.7))
    tick(0.9)
    corner = node[kept][order]
    row, column = np.divmod(corner, grid.columns + 1)
    points = np.column_stack([grid.west_m + column * grid.cell_m,
                              grid.north_m - row * grid.cell_m])
    ring_owner = owner[kept][order][starts]
    exterior = _twice_areas(row, column, starts) > 0
    rings = _closed_rings(points, starts)
    polygons = [[] for _ in range(count)]
    for number in np.argsort(~exterior, kind="stable").tolist():  # exteriors first
        polygons[ring_owner[number]].append(rings[number])
    label_of = np.empty(count, labels.dtype)
    label_of[numbers[numbers != OUTSIDE]] = labels[numbers != OUTSIDE]
    found = {label: [] for label in np.unique(label_of).tolist()}
    for label, polygon in zip(label_of.tolist(), polygons):
        found[label].append(polygon)
    return found


def _cells_about_nodes(numbers):
    """Return the patches north-west, north-east, south-west and south-east of each grid node."""
    framed = np.pad(numbers, 1, constant_values=OUTSIDE)
    return framed[:-1, :-1], framed[:-1, 1:], framed[1:, :-1], framed[1:, 1:]


def _sides(numbers, tick):
    """List the sides between patches: owner, node where it starts, direction, the side after it.

    A patch has at most one side from a node in a direction. Where two sides could follow, the
    patch meets itself at a corner, and the one to the right is taken.
    """
    north_west, north_east, south_west, south_east = _cells_about_nodes(numbers)
    node, owner, direction = [], [], []
    for heading, (left, right) in enumerate((
            (north_east, south_east), (north_west, north_east), (south_west, north_west),
            (south_east, south_west))):
        starts = (left != right) & (left != OUTSIDE)
        node.append(np.flatnonzero(starts))
        owner.append(left[starts])
        direction.append(np.full(len(node[-1]), heading))
        tick(heading / 4)
    node, owner, direction = (np.concatenate(part) for part in (node, owner, direction))
    order = np.argsort(4 * node + direction, kind="stable")
    node, owner, direction = node[order], owner[order], direction[order]
    tick(1.0)
    return owner, node, direction, _following(node, owner, direction, north_west.shape[1])


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


def _walk(following, tick):
    """Follow every ring round once; return the order of sides and where in it each ring starts."""
    ahead = following.tolist()
    order, starts, seen = [], [], bytearray(len(ahead))
    for first in range(len(ahead)):
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
