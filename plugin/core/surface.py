"""A surface: an estimate and its standard error on a grid, and how they came about."""
from dataclasses import dataclass

import numpy as np

from .grid import Grid


@dataclass(frozen=True)
class Surface:
    """Estimates over a field.

    estimate, standard_error   (rows, columns) in `unit`; NaN where `inside` is 0
    inside                     (rows, columns) share of each cell in the field, 0 to 1
    account                    how it was made: readings, model, validation, verdict, as plain
                               numbers and words that go to JSON
    covariates                 (layers, rows, columns) figures of the layers that its mean follows,
                               those that the account names, or None
    """
    name: str
    unit: str
    grid: Grid
    inside: np.ndarray
    estimate: np.ndarray
    standard_error: np.ndarray
    account: dict
    covariates: np.ndarray = None
