"""A zone map: integer labels on a grid, and one row of figures per zone."""
from dataclasses import dataclass

import numpy as np

from .grid import Grid

OUTSIDE = -1  # label of a cell that lies wholly outside the field


@dataclass(frozen=True)
class Zone:
    """One zone: its label, area, and the mean and spread of the surface inside it.

    The mean and the standard deviation weigh each cell by its share inside the field.
    """
    label: int
    title: str
    area_m2: float
    mean: float
    standard_deviation: float


@dataclass(frozen=True)
class ZoneMap:
    """Labels (rows, columns), the share of each cell inside the field, and the zones.

    A label is the number of a zone in `zones`, or OUTSIDE where `inside` is 0.
    """
    grid: Grid
    inside: np.ndarray
    labels: np.ndarray
    zones: tuple
    name: str
    unit: str
