"""A grid in degrees, aligned to true north, as ISO 11783-10 asks for."""
from dataclasses import dataclass
from math import ceil, cos, floor, isfinite, radians, sin, sqrt

import numpy as np

from ..problems import InputProblem

# WGS 84: National Imagery and Mapping Agency (2000), TR 8350.2, table 3.1.
_SEMI_MAJOR_M = 6_378_137.0
_FLATTENING = 1 / 298.257223563
_WIDEST = 1.0  # degrees that a task file holds of a cell
_NANO = 1e9  # grids are kept in billionths of a degree, the finest that a task file holds


@dataclass(frozen=True)
class DegreeGrid:
    """South-west corner, size of a cell and number of cells; rows run from the south.

    All in degrees, whole billionths, so that a file holds them without rounding.
    """
    south: float
    west: float
    cell_north: float
    cell_east: float
    rows: int
    columns: int

    @property
    def shape(self):
        """(rows, columns)"""
        return self.rows, self.columns

    def centres(self):
        """Return longitude and latitude (rows * columns, 2) of the middle of each cell.

        In the order of the file: from the south-west, along the row to the east, then north.
        """
        east = self.west + (np.arange(self.columns) + 0.5) * self.cell_east
        north = self.south + (np.arange(self.rows) + 0.5) * self.cell_north
        return np.column_stack([np.tile(east, self.rows), np.repeat(north, self.columns)])

    @classmethod
    def covering(cls, west, south, east, north, *, cell_m, most_cells):
        """Return the grid of cells of about `cell_m` over an extent in degrees.

        A cell is `cell_m` long to the north and to the east at the middle latitude.

        Raises   InputProblem: more cells than allowed, a cell that is none or wider than the degree
                 a task file holds, or the grid would cross the 180th meridian
        """
        if not (isfinite(cell_m) and cell_m > 0):
            raise InputProblem(f"A cell of {cell_m:g} m was asked for; it must be above 0 m.")
        per_north, per_east = metres_per_degree((south + north) / 2)
        cell_north, cell_east = (max(round(cell_m / metres * _NANO), 1) / _NANO
                                 for metres in (per_north, per_east))
        if max(cell_north, cell_east) > _WIDEST:
            raise InputProblem(f"Cells of {cell_m:g} m are wider than a degree at latitude "
                               f"{(south + north) / 2:.4g}. Choose smaller ones.")
        west, south = floor(west * _NANO) / _NANO, floor(south * _NANO) / _NANO
        columns = max(ceil((east - west) / cell_east), 1)
        rows = max(ceil((north - south) / cell_north), 1)
        if rows * columns > most_cells:
            raise InputProblem(f"Cells of {cell_m:g} m make a grid of {rows * columns:,} cells, "
                               f"above the limit of {most_cells:,}. Choose larger cells, or a "
                               "higher limit if the controller takes it.")
        if west + columns * cell_east > 180 or south + rows * cell_north > 90:
            raise InputProblem("A grid cannot reach over the 180th meridian or the pole. Split the "
                               "plan there.")
        return cls(south, west, cell_north, cell_east, rows, columns)


def metres_per_degree(latitude):
    """Return how many metres a degree of latitude and one of longitude are on WGS 84.

    Source   Snyder, J. P. (1987), Map projections, USGS Professional Paper 1395, page 25
    """
    squared = _FLATTENING * (2 - _FLATTENING)
    curve = 1 - squared * sin(radians(latitude)) ** 2
    along_meridian = _SEMI_MAJOR_M * (1 - squared) / curve**1.5
    along_parallel = _SEMI_MAJOR_M / sqrt(curve) * cos(radians(latitude))
    return radians(along_meridian), radians(along_parallel)
