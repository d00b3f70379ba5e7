"""Windows: the cells around a cell, as a machine covers them, counted span by span."""
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from ..problems import InputProblem
from ..zone_map import OUTSIDE

ROUNDING = 1e-9  # of a cell
TILE = 48        # cells on a side that are looked at again together


@dataclass(frozen=True)
class Window:
    """A connected set of cells, alike on both sides of its centre, that has no gap along a row.

    spans   (row shift, first column shift, last column shift) of each of its rows, from the north
    """
    spans: tuple

    @property
    def reach(self):
        """The furthest it goes from its centre, rows or columns."""
        return max(max(abs(shift), abs(first), abs(last)) for shift, first, last in self.spans)

    @property
    def offsets(self):
        """Row and column shift of each of its cells, (k, 2)."""
        return np.array([(row, column) for row, first, last in self.spans
                         for column in range(first, last + 1)])


def disk(radius_cells):
    """Return the Window of the cells whose centres are this near.

    Raises   InputProblem: the radius is negative or not a number
    """
    if not radius_cells >= 0:
        raise InputProblem(f"The smoothing radius is {radius_cells} cells; enter 0 or more.")
    reach = int(radius_cells)
    return Window(tuple((shift, -half, half) for shift in range(-reach, reach + 1)
                        for half in [int(np.sqrt(radius_cells**2 - shift**2))]))


def strip(along_cells, across_cells, heading_deg):
    """Return the Window of a rectangle that lies along a heading.

    It holds the cells whose centres are no further from its middle than half of each side, and at
    least those that keep it in one piece, cell side by cell side.

    Parameters
        along_cells, across_cells  sides of the rectangle, 0 or more
        heading_deg                degrees clockwise from north of the first side
    """
    heading = np.deg2rad(heading_deg)
    sine, cosine = np.sin(heading), np.cos(heading)
    thin = (abs(sine) + abs(cosine)) / 2  # below it a turned line of cells falls apart
    half_along, half_across = max(along_cells / 2, thin), max(across_cells / 2, thin)
    reach = int(np.hypot(half_along, half_across)) + 1
    south, east = np.mgrid[-reach:reach + 1, -reach:reach + 1]
    within = ((np.abs(east * sine - south * cosine) <= half_along + ROUNDING)
              & (np.abs(east * cosine + south * sine) <= half_across + ROUNDING))
    pieces, _ = ndimage.label(within)
    whole = pieces == pieces[reach, reach]
    return Window(tuple((row - reach, columns[0] - reach, columns[-1] - reach)
                        for row in range(len(whole))
                        for columns in [np.flatnonzero(whole[row]).tolist()] if columns))


def votes(marked, window):
    """Return how many marked cells lie in the window around every cell, (rows, columns)."""
    rows, columns = marked.shape
    reach = window.reach
    framed = np.zeros((rows + 2 * reach, columns + 2 * reach + 1), np.int32)
    framed[reach:reach + rows, reach + 1:reach + 1 + columns] = marked
    run = np.cumsum(framed, axis=1, dtype=np.int32, out=framed)
    count = np.zeros(marked.shape, np.int32)
    for shift, first, last in window.spans:
        there = run[reach + shift:reach + shift + rows]
        count += there[:, reach + last + 1:reach + last + 1 + columns]
        count -= there[:, reach + first:reach + first + columns]
    return count


def uniform(labels, window):
    """Return the mask of cells whose window lies on the grid, all of it of one label."""
    rows, columns = labels.shape
    reach = window.reach
    framed = np.pad(labels, reach, constant_values=OUTSIDE - 1)  # alike to no cell of the grid
    changes = np.zeros(framed.shape, np.int32)
    np.cumsum(framed[:, 1:] != framed[:, :-1], axis=1, out=changes[:, 1:])
    alike = np.ones(labels.shape, bool)
    for shift, first, last in window.spans:
        here = slice(reach + shift, reach + shift + rows)
        west = slice(reach + first, reach + first + columns)
        east = slice(reach + last, reach + last + columns)
        alike &= changes[here, east] == changes[here, west]
        alike &= framed[here, west] == labels
    return alike


def covered(centres, window):
    """Return the mask of cells that the window reaches from a marked centre."""
    return votes(centres, window) > 0


def opened(labels, window):
    """Return the mask of cells over which the window fits inside their own label.

    It is the morphological opening of every label by the window, all in one. Cells beyond the
    grid belong to no label.

    Source   Serra, J. (1982), Image Analysis and Mathematical Morphology, ch. 2 (from memory)
    """
    return covered(uniform(labels, window) & (labels != OUTSIDE), window)


def open_again(wide, labels, window, changed):
    """Bring `opened(labels, window)` up to date, in place, after a few labels have changed.

    Only tiles of cells that a change can reach are looked at again.

    Parameters
        wide     (rows, columns) bool, as `opened` gave it before
        changed  (n, 2) row and column of the cells whose label is another
    """
    far = 2 * window.reach
    side = max(TILE, 2 * far + 1)
    reached = np.zeros([length // side + 1 for length in wide.shape], bool)
    for corner in ((-far, -far), (-far, far), (far, -far), (far, far)):
        row, column = (np.clip(changed + corner, 0, np.array(wide.shape) - 1) // side).T
        reached[row, column] = True
    for corner in np.argwhere(reached) * side:
        start = np.maximum(corner - far, 0)
        around = tuple(slice(low, high + side + far) for low, high in zip(start, corner))
        tile = tuple(slice(low, low + side) for low in corner)
        inner = tuple(slice(low, low + side) for low in corner - start)
        wide[tile] = opened(labels[around], window)[inner]
