"""The regular grid on which surfaces and zones are drawn."""
from dataclasses import dataclass
from math import ceil, floor

import numpy as np

from .problems import InputProblem

MOST_CELLS = 10_000_000  # three float64 layers of it take 240 MB


@dataclass(frozen=True)
class Grid:
    """North-up square cells: row 0 is the northernmost, column 0 the westernmost."""
    west_m: float
    north_m: float
    cell_m: float
    rows: int
    columns: int
    crs_wkt: str = ""

    @classmethod
    def covering(cls, west_m, south_m, east_m, north_m, *, cell_m, crs_wkt=""):
        """Return the smallest grid over a rectangle whose lines fall on multiples of the cell.

        Raises   InputProblem: the cell is not positive, the rectangle is empty or not finite, or
                 it takes more than MOST_CELLS cells
        """
        corners = np.array([west_m, south_m, east_m, north_m], float)
        if not np.isfinite(corners).all() or east_m <= west_m or north_m <= south_m:
            raise InputProblem(f"The rectangle {west_m} to {east_m} by {south_m} to {north_m} m "
                               "holds no area to put a grid on.")
        if not (np.isfinite(cell_m) and cell_m > 0):
            raise InputProblem(f"A cell of {cell_m} m was asked for; it must be above 0 m.")
        first_column, first_row = floor(west_m / cell_m), ceil(north_m / cell_m)
        columns = ceil(east_m / cell_m) - first_column
        rows = first_row - floor(south_m / cell_m)
        if rows * columns > MOST_CELLS:
            raise InputProblem(
                f"A cell of {cell_m:g} m makes {rows * columns:,} cells; at most {MOST_CELLS:,} "
                f"are drawn. Choose a cell of {_cell_that_fits(corners):.1f} m or more.")
        return cls(first_column * cell_m, first_row * cell_m, cell_m, rows, columns, crs_wkt)

    @property
    def shape(self):
        """Rows and columns."""
        return self.rows, self.columns

    @property
    def cell_area_m2(self):
        """Area of one cell, square metres."""
        return self.cell_m**2

    def centres(self, cells=None):
        """Return easting and northing of cell centres, metres, (m, 2).

        Parameters
            cells   (m,) flat cell numbers; None: all cells, row by row, 16 bytes each
        """
        eastings = self.west_m + (np.arange(self.columns) + 0.5) * self.cell_m
        northings = self.north_m - (np.arange(self.rows) + 0.5) * self.cell_m
        if cells is None:
            return np.column_stack([np.tile(eastings, self.rows),
                                    np.repeat(northings, self.columns)])
        rows, columns = np.divmod(cells, self.columns)
        return np.column_stack([eastings[columns], northings[rows]])

    def cells_of(self, positions_m):
        """Return (n,) flat cell numbers of (n, 2) positions; -1 outside the grid.

        A position on the line between two cells belongs to the cell east or south of it.
        """
        positions = np.asarray(positions_m, float)
        column = np.floor((positions[:, 0] - self.west_m) / self.cell_m)
        row = np.floor((self.north_m - positions[:, 1]) / self.cell_m)
        within = (column >= 0) & (column < self.columns) & (row >= 0) & (row < self.rows)
        return np.where(within, row * self.columns + column, -1).astype(int)


def _cell_that_fits(corners):
    """Return a cell, metres, with which a grid over the corners is sure to be small enough.

    The grid's lines may cut off up to two cells more along each side than its length asks for:
    (width / c + 2) (height / c + 2) = MOST_CELLS, solved for c.
    """
    west, south, east, north = corners
    width, height, most = east - west, north - south, MOST_CELLS - 4
    half = (width + height) / most
    both = np.sqrt(width / most) * np.sqrt(height)  # apart: their product may overflow
    return ceil((half + np.hypot(half, both)) * 10) / 10
