"""Outlines: the polygons of a label grid, along the sides of its cells."""
import numpy as np

from ..problems import InputProblem
from ..zone_map import OUTSIDE
from .patches import patches

# Sides run east, north, west, south with their own cell on the left: counter-clockwise around it.
_ROW_STEP, _COLUMN_STEP = np.array([0, -1, 0, 1]), np.array([1, 0, -1, 0])


def outlines(labels, grid):
    """Return the polygons of every label, tracing the sides of its cells.

    Each patch that hangs together by cell sides is one polygon, so cells that meet at a corner
    alone are two. Where a patch meets itself at a corner its ring turns away from itself, which
    makes a ring and a hole that touch at a point, both simple. Neighbours share every vertex: one
    on a straight side is dropped only where no third patch, or the outside, meets. Whole cells
    are traced, whatever their share inside the field. Time and memory grow with the cells, then
    with the corners of the rings.

    Parameters
        labels  (rows, columns) integers, OUTSIDE where no zone is
        grid    Grid of that shape
    Returns  label -> list of polygons in reading order, each a list of rings, each (k, 2) easting
             and northing, metres, its last point the first; the exterior comes first and runs
             counter-clockwise, holes run clockwise
    Raises   InputProblem: labels are not of the grid's shape
    """
    labels = np.asarray(labels)
    if labels.shape != grid.shape:
        raise InputProblem(f"Labels of shape {labels.shape} came with a grid of {grid.shape}.")
    numbers, count = patches(labels)
    if not count:
        return {}
    owner, node, direction, following = _sides(numbers)
    kept, following = _corners(node, direction, following, _junctions(numbers).ravel())
    order, starts = _walk(following)
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


def _sides(numbers):
    """List the sides between patches: owner, node where it starts, direction, the side after it.

    A patch has at most one side from a node in a direction. Where two sides could follow, the
    patch meets itself at a corner, and the one to the right is taken.
    """
    north_west, north_east, south_west, south_east = _cells_about_nodes(numbers)
    left = np.stack([north_east, north_west, south_west, south_east], axis=-1)
    right = np.stack([south_east, north_east, north_west, south_west], axis=-1)
    owners = np.where(left != right, left, OUTSIDE)
    node_row, node_column, direction = np.nonzero(owners != OUTSIDE)
    owner = owners[node_row, node_column, direction]
    place = np.full(owners.shape, -1)
    place[node_row, node_column, direction] = np.arange(len(owner))
    end_row, end_column = node_row + _ROW_STEP[direction], node_column + _COLUMN_STEP[direction]
    following = np.full(len(owner), -1)
    for turn in (1, 0, -1):  # left, straight on, right: the last that fits stays
        ahead = (direction + turn) % 4
        fits = owners[end_row, end_column, ahead] == owner
        following[fits] = place[end_row, end_column, ahead][fits]
    return owner, node_row * owners.shape[1] + node_column, direction, following


def _junctions(numbers):
    """Mark the nodes at which three or more patches meet, the outside counting as one."""
    around = np.sort(np.stack(_cells_about_nodes(numbers)), axis=0)
    return np.count_nonzero(np.diff(around, axis=0), axis=0) >= 2


def _corners(node, direction, following, junction):
    """Keep the sides that start at a corner or junction; return them and which follows which.

    Sides between are leapt over by doubling the leap, so long straight borders cost little.
    """
    keep = junction[node]
    keep[following[direction[following] != direction]] = True
    while not keep[following].all():
        following = np.where(keep[following], following, following[following])
    kept = np.flatnonzero(keep)
    number = np.cumsum(keep) - 1
    return kept, number[following[kept]]


def _walk(following):
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
