"""Readings that cannot be right beside the others, or hardly can."""
import numpy as np

from ..observations import EXACT
from ..problems import InputProblem

GREATEST = 1e15  # beside a larger figure the digits of ordinary ones are lost
LEAST_AWAY_M = 1000.0  # readings this far from the smallest field still count: own rule
FAR_OFF = 20.0   # robust standard deviations from the median: this program's own rule


def require_plausible(observations, column):
    """Refuse values, or standard errors, beyond GREATEST: beside them all others are as nothing.

    Raises   InputProblem: it names the first such reading and the column
    """
    errors = np.sqrt(observations.error_variance)
    wild = (np.abs(observations.values) > GREATEST) | (errors > GREATEST)
    if wild.any():
        first = int(np.argmax(wild))
        others = np.median(observations.values[~wild]) if not wild.all() else np.nan
        raise InputProblem(
            f"{observations.labels[first]}, {column}: {observations.values[first]:g} "
            f"(error {errors[first]:g}) cannot be a reading; {np.count_nonzero(wild)} of "
            f"{len(observations)} are like that, the median of the others is {others:g}. Correct "
            "the figure, or take the row out.")


def far_from_the_others(observations):
    """Return numbers (k,) of exact readings more than FAR_OFF robust deviations from the median.

    None where half of the readings or more are equal, since then no spread can be told.

    Source   the median absolute deviation as a robust spread: common practice
    """
    exact = observations.censoring == EXACT
    if not exact.any():
        return np.zeros(0, int)
    off = np.abs(observations.values - np.median(observations.values[exact]))
    spread = 1.4826 * np.median(off[exact])
    return np.flatnonzero(exact & (off > FAR_OFF * spread)) if spread > 0 else np.zeros(0, int)


def require_near(observations, grid):
    """Refuse readings that lie off the grid by more than its diagonal and LEAST_AWAY_M.

    Raises   InputProblem: it names the first such reading and how far it lies
    """
    east, south = grid.west_m + grid.columns * grid.cell_m, grid.north_m - grid.rows * grid.cell_m
    low, high = np.array([grid.west_m, south]), np.array([east, grid.north_m])
    away_m = np.hypot(*np.maximum(np.maximum(low - observations.positions_m,
                                             observations.positions_m - high), 0.0).T)
    allowed_m = max(float(np.hypot(*(high - low))), LEAST_AWAY_M)
    away = away_m > allowed_m
    if away.any():
        first = int(np.argmax(away))
        raise InputProblem(
            f"{observations.labels[first]} lies {away_m[first] / 1000:,.4g} km from the field, "
            f"farther than readings tell of it; {np.count_nonzero(away)} of {len(observations)} "
            "are like that. Choose the boundary of the field that they were taken in, or correct "
            "their places.")


def outside(observations, grid, inside):
    """Return how many readings lie in no cell of the field."""
    cells = grid.cells_of(observations.positions_m)
    return int(np.count_nonzero((cells < 0) | (np.ravel(inside)[cells] == 0)))
