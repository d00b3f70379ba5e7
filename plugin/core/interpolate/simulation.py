"""Conditional Gaussian simulation: whole fields as they may be, given the readings."""
from functools import partial

import numpy as np
from scipy.linalg import cho_solve

from ..long_call import long_call
from ..problems import InputProblem
from .circulant_embedding import ROUGH, EmbeddedField
from .kriging import coefficients_without_structure
from .readings_system import (
    drift_columns,
    factor_of_information,
    factorised,
    reading_covariance,
)
from .target_covariance import TargetCovariance
from .threads import in_threads
from .wave_field import WaveField

BLOCK_NUMBERS = 16_000_000   # numbers of one block of draws: 128 MB
ACROSS_NUMBERS = 500_000     # covariances held at once by each thread: 4 MB
PART_NODES = 500_000         # drawn by a thread at a time: less than 0.1 s between ticks
MOST_NODES = 10_000_000      # nodes of a torus: some 1 GB, and up to 320 MB for each thread


def simulate(positions_m, values, error_variance, model, grid, *, cells=None, drift=None, draws=200,
             seed=0, nugget=True, tick=None):
    """Yield blocks (b, m) of draws of the underlying value in m cells, given the readings.

    Each draw varies from cell to cell as the model says and agrees with the readings up to their
    own errors. The mean of many draws is the kriging estimate with all readings, their variance
    the kriging variance on the support of one reading, and they go together from cell to cell as
    the errors of kriging do; the uncertainty of the mean, of a drift's factors too, is in it, that
    of the model is not. The nugget is independent from cell to cell; without it, draws are of
    ground wide enough for it to average out. A draw is the same whatever the size of the blocks,
    which hold at most BLOCK_NUMBERS numbers (two draws at least); whoever wants totals takes them
    block by block.

    A field without readings is drawn together with its values at the readings, which lie off the
    cells' centres, and their errors; what kriging, with the drift, makes of the difference to the
    true readings is added. The values at the readings come from the same field: of smooth models
    (WaveField) as the sum of the same waves; of others (EmbeddedField) from the nodes around, with
    the rest that these leave open. The mean of draws is exact; covariances are within 0.4 % of the
    partial sill for ranges of 6 cells and more (0.05 % from 20 cells on), where 200 draws show them
    to 10 %. Readings drawn at the nearest node instead would be off by the variogram of half a
    cell.

    Time grows with draws times (torus nodes + cells times readings). Memory: a block, the torus
    (at most MOST_NODES), per reading a column for each draw, and the drift in the cells.

    Parameters
        positions_m, values, error_variance, model   as for krige, values (n,)
        grid    Grid
        cells   (m,) flat numbers of the cells wanted; None: all
        drift   None, or a pair of columns, (n, p) at the readings and (m, p) in the cells
        draws   number of draws
        seed    of the random numbers
        nugget  whether cells vary on their own as well
        tick    called with the fraction done after each part of the work; may raise Stopped
    Returns  generator of arrays in the unit of values, `draws` rows altogether
    Raises   InputProblem: no draws asked for, readings that do not determine the estimates, or a
             torus of more than MOST_NODES
    Source   Journel and Huijbregts (1978), Mining Geostatistics, VII.A.1 (conditioning by kriging
             the difference; from memory)
    """
    if draws < 1:
        raise InputProblem(f"{draws} draws were asked for; at least 1 is needed.")
    cells = np.arange(grid.rows * grid.columns) if cells is None else np.asarray(cells, int)
    values, errors = np.asarray(values, float), np.asarray(error_variance, float)
    positions = np.asarray(positions_m, float)
    columns = drift_columns(drift, len(values), len(cells))
    if model.structured:
        drawn = long_call(lambda: _Structured(positions, values, errors, model, grid, cells,
                                              columns), tick)
    else:
        drawn = _Regressed(values, errors, model, columns)
    return _blocks(drawn, model.nugget if nugget else 0.0, len(cells), draws, seed,
                   tick or (lambda fraction: None))


def _blocks(drawn, nugget, cells, draws, seed, tick):
    at_once = max(2, BLOCK_NUMBERS // max(cells, 1) // 2 * 2)
    for start in range(0, draws, at_once):
        block = np.empty((min(at_once, draws - start), cells))
        drawn.fill(block, start, seed, partial(_tell, tick, start, draws))
        if nugget:
            for number, draw in enumerate(block, start=start):
                draw += np.sqrt(nugget) * np.random.default_rng(
                    [seed, 1, number]).standard_normal(cells)
        yield block


def _tell(tick, start, draws, done):
    tick((start + done) / draws)


class _Regressed:
    """Draws of the mean alone: a number, the same in all cells, or a drift."""

    def __init__(self, values, errors, model, columns):
        at_readings, self._in_cells = columns
        coefficients, self._root = coefficients_without_structure(values[:, None], errors, model,
                                                                  at_readings)
        self._coefficients = coefficients[:, 0]

    def fill(self, block, start, seed, tick):
        for number, draw in enumerate(block, start=start):
            own = np.random.default_rng([seed, 0, number]).standard_normal(len(self._root))
            draw[:] = self._in_cells @ (self._coefficients + self._root @ own)
        tick(len(block))


class _Structured:
    """Draws of the structured part and the mean."""

    def __init__(self, positions, values, errors, model, grid, cells, columns):
        self._field = _field(model, grid, positions)
        if self._field.nodes > MOST_NODES:
            raise InputProblem(_TOO_LARGE.format(
                reach=model.effective_range_m, rows=grid.rows, columns=grid.columns,
                cell=grid.cell_m, nodes=self._field.nodes, most=MOST_NODES))
        self._field.prepare()
        self._positions, self._values, self._cells = positions, values, cells
        self._own = np.sqrt(model.nugget + errors)
        self._toward = TargetCovariance(model)
        self._east, self._north = grid.centres(cells).T
        self._factor = factorised(reading_covariance(positions, errors, model))
        self._columns, self._in_cells = columns
        self._weighed = cho_solve(self._factor, self._columns)
        self._information = factor_of_information(self._columns.T @ self._weighed)

    def fill(self, block, start, seed, tick):
        """Fields without readings, then kriging of what their readings lack."""
        lacking = np.empty((len(self._values), len(block)))
        step = 2 * max(1, PART_NODES // self._field.nodes)
        in_threads(partial(self._draw, block, lacking, start, seed, step),
                   range(0, len(block), step), tick,
                   share_of=lambda parts: 0.8 * min(step * parts, len(block)))
        mean = cho_solve((self._information, True), self._weighed.T @ lacking)
        pull = cho_solve(self._factor, lacking - self._columns @ mean).T
        size = max(1, ACROSS_NUMBERS // len(lacking))
        starts = range(0, len(self._cells), size)
        in_threads(partial(self._add_kriged, block, pull, mean, size), starts, tick,
                   share_of=lambda parts: len(block) * (0.8 + 0.2 * parts / len(starts)))

    def _draw(self, block, lacking, start, seed, step, first):
        """Fields, two at a time, and what the readings have more than they show at their places."""
        for number in range(first, min(first + step, len(block)), 2):
            generator = np.random.default_rng([seed, 0, start + number])
            nodes, places = self._field.pair(generator)
            nodes = nodes.ravel()[self._cells]
            for draw, field, readings in zip(range(number, len(block)), (nodes.real, nodes.imag),
                                             (places.real, places.imag)):
                block[draw] = field
                own = self._own * generator.standard_normal(len(self._own))
                lacking[:, draw] = self._values - readings - own

    def _add_kriged(self, block, pull, mean, size, first):
        part = slice(first, first + size)
        across = self._toward.between(self._positions[:, :1] - self._east[part],
                                      self._positions[:, 1:] - self._north[part])
        block[:, part] += pull @ across + (self._in_cells[part] @ mean).T


def nodes_needed(positions_m, model, grid):
    """Return how many nodes, or waves, one draw takes; 0 without structure."""
    if not model.structured:
        return 0
    return _field(model, grid, np.asarray(positions_m, float)).nodes


def _field(model, grid, positions):
    """The field that takes least work: a node costs less than half of a wave."""
    field = EmbeddedField(model, grid, positions)
    if model.family not in ROUGH:
        waves = WaveField(model, grid, positions, most=field.nodes // 2)
        if waves.nodes <= field.nodes // 2:
            return waves
    return field


_TOO_LARGE = ("A model that reaches {reach:,.0f} m, with readings on and around a grid of {rows:,} "
              "by {columns:,} cells of {cell:g} m, takes {nodes:,} nodes to simulate; at most "
              "{most:,} are used. Choose a larger cell, or leave out readings far away.")
