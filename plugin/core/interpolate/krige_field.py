"""Kriging of all cells of a field, block by block: what it holds does not grow with the cells."""
from functools import partial

import numpy as np

from ..long_call import long_call
from ..part_of_tick import part_of_tick
from .kriging import krige

BLOCK_CELLS = 500_000      # kriged at once, where few sets of values are
ROWS_TOGETHER = 96         # so that a block is cut into whole tiles
BLOCK_NUMBERS = 5_000_000  # estimates of all sets of values in a block: 40 MB, and the work on them
LEAST_SPREAD = 1e-9        # of the widest direction that draws of the readings differ in


def krige_field(grid, inside, positions_m, draws, error_variance, model, *, neighbours=None,
                drift=None, block_m=None, octants=False, tick=None):
    """Return the mean of the estimates that draws of the readings give, and their variance.

    The variance is that of kriging and, on top of it, of the estimates from draw to draw. As an
    estimate is linear in the readings, the draws are not kriged one by one: their mean is, and the
    directions in which they differ, of which there are no more than readings that differ.

    Memory: two float64 layers of the grid for the answer; of a block at most BLOCK_CELLS cells, and
    BLOCK_NUMBERS numbers, in some ten arrays. Each block sets up its own system of the readings.

    Parameters
        grid, inside    Grid and (rows, columns) share of each cell in the field
        positions_m, error_variance, model, neighbours, block_m, octants   as for krige
        draws           (d, n) values of the readings, the same in each row where they are known
        drift           None, or the Drift of the readings and of this grid
        tick            called with the fraction of cells done; may raise Stopped
    Returns  two (rows, columns) arrays, NaN where `inside` is 0
    Raises   InputProblem: as krige
    """
    estimate, variance = (_nowhere(grid.shape, tick) for _ in range(2))
    sets = np.column_stack([draws.mean(axis=0), *_directions(draws)])
    total, done = np.count_nonzero(inside), 0
    for cells in field_blocks(grid, inside, BLOCK_NUMBERS // sets.shape[1]):
        centres = grid.centres(cells)
        share = len(cells) / total
        found = krige(positions_m, sets, error_variance, model, centres, neighbours=neighbours,
                      drift=None if drift is None else drift.toward(cells), block_m=block_m,
                      octants=octants, tick=part_of_tick(tick, done / total, share))
        done += len(cells)
        estimate.flat[cells] = found.estimate[:, 0]
        variance.flat[cells] = long_call(partial(_with_directions, found), tick, done / total)
    return estimate, variance


def _with_directions(found):
    """Variances of what is kriged, and of how the draws of censored readings differ."""
    return found.variance + np.square(found.estimate[:, 1:]).sum(axis=1)


def _nowhere(shape, tick):
    """An array without a figure, filled row by row: fresh pages of a large one take their time."""
    found = np.empty(shape)
    step = max(1, BLOCK_CELLS // shape[1])
    for row in range(0, shape[0], step):
        found[row:row + step] = np.nan
        if tick is not None:
            tick(0.0)
    return found


def field_blocks(grid, inside, most=BLOCK_CELLS):
    """Yield flat numbers of the cells in the field, at most BLOCK_CELLS or `most` at once.

    Blocks are whole rows of the grid, ROWS_TOGETHER or a multiple, where rows are short enough.
    """
    size = max(1, min(BLOCK_CELLS, most))
    for rows in (ROWS_TOGETHER, 1):
        if size >= rows * grid.columns:
            size -= size % (rows * grid.columns)
            break
    shares = np.ravel(inside)
    for start in range(0, shares.size, size):
        cells = start + np.flatnonzero(shares[start:start + size] > 0)
        if len(cells):
            yield cells


def _directions(draws):
    """Sets of values, by readings, whose squares add up to the covariance of the draws."""
    off = (draws - draws.mean(axis=0)) / np.sqrt(len(draws))
    differ = np.flatnonzero(off.any(axis=0))
    if not len(differ):
        return np.empty((0, draws.shape[1]))
    _, spread, axes = np.linalg.svd(off[:, differ], full_matrices=False)
    kept = spread > LEAST_SPREAD * spread[0]
    found = np.zeros((np.count_nonzero(kept), draws.shape[1]))
    found[:, differ] = spread[kept, None] * axes[kept]
    return found
