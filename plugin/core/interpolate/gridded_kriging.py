"""Kriging onto a regular grid: readings far from a tile of cells act on it as a smooth field.

Seen from a tile of cells, the covariance with a reading is smooth except at the reading itself
(and, of the spherical model, at its range). All that readings without such a place in or near
the tile contribute to estimate and variance is therefore smooth over the tile too: it is worked
out at NODES x NODES Chebyshev points and interpolated. Only the few others are taken cell by
cell. Of the spherical model readings beyond the range drop out altogether.
"""
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve, lapack, solve_triangular

from ..long_call import long_call
from .threads import in_threads

NODES = 16            # along each side of a tile; with GAP it interpolates to some 1e-11
GAP = 1.25            # sides of a tile between it and what is taken as smooth
TILES = (16, 24, 32, 48, 64, 96)  # cells along a side that are tried
LEAST_CONDITION = 1e-7  # reciprocal condition below which an inverse would lose the digits
STRIP_NUMBERS = 250_000  # covariances that are held at once in a tile: 2 MB
MOST_SUMS = 20_000_000  # numbers kept for the cells: 160 MB; more sets of values go the plain way
CHECKED_TILES = 4     # tiles of which some targets are kriged the plain way as well
CHECKED = 64          # so many in all
ALLOWED = 1e-10       # largest difference there, as a share of the sill
KINKS = {"spherical": (0.0, 1.0)}  # distances, in ranges, at which a family is not smooth
EXP_COST = 150        # one covariance costs as much as so many multiplications


@dataclass(frozen=True)
class Lattice:
    """Targets as some or all crossings of evenly spaced eastings and northings."""
    eastings: np.ndarray
    northings: np.ndarray
    column: np.ndarray
    row: np.ndarray


def lattice_of(targets):
    """Return the Lattice that (m, 2) targets lie on, or None where there is none worth it.

    A lattice more than four times as large as the targets is none.
    """
    if len(targets) < 1000:
        return None
    parts = [_steps(targets[:, axis]) for axis in (0, 1)]
    if None in parts or len(parts[0][0]) * len(parts[1][0]) > 4 * len(targets):
        return None
    return Lattice(parts[0][0], parts[1][0], parts[0][1], parts[1][1])


def _steps(coordinates):
    """Evenly spaced coordinates and the number of each target's, or None."""
    apart = np.abs(np.diff(coordinates))
    first, last = coordinates.min(), coordinates.max()
    noise = 1e-13 * max(abs(first), abs(last)) * 8
    apart = apart[apart > noise]
    if not len(apart):
        return coordinates[:1], np.zeros(len(coordinates), int)
    count = round((last - first) / apart.min())
    if not 0 < count < len(coordinates):
        return None
    step = (last - first) / count
    number = np.rint((coordinates - first) / step).astype(int)
    if np.abs(coordinates - (first + number * step)).max() > noise:
        return None
    return first + step * np.arange(count + 1), number


def pays(lattice, system, toward, positions):
    """Whether tiles are less work than every reading on every cell, and safe to use."""
    kept = ((system.residual.shape[1] + system.whitened.shape[1])
            * len(lattice.eastings) * len(lattice.northings))
    condition, _ = lapack.dpocon(system.lower, system.norm, uplo="L")
    return (kept <= MOST_SUMS and condition > LEAST_CONDITION
            and _best_tile(lattice, toward, positions)[0] < 0.5 * _cost(len(positions)))


def krige_gridded(lattice, system, toward, positions, targets, columns, plain, tick):
    """Return estimates (m, d) and variances (m,) at lattice targets; None if the check fails.

    Parameters
        lattice   Lattice of the targets
        system    ReadingsSystem
        toward    TargetCovariance
        columns   (m, q) of drift_columns
        plain     PlainKriging of the same, to check against
        tick      called with the fraction done; may raise Stopped
    """
    none_yet = (lambda _: None) if tick is None else lambda _: tick(0.0)
    work = _Tiles(lattice, system, toward, positions, none_yet)
    first, rest = work.tiles[::work.stride], [tile for number, tile in enumerate(work.tiles)
                                              if number % work.stride]
    if not work.agrees(first, columns, plain, none_yet):
        return None
    in_threads(work.fill, rest, tick)
    return long_call(lambda: work.results(columns), tick, 1.0)


class _Tiles:
    def __init__(self, lattice, system, toward, positions, tick):
        self.lattice, self.toward, self.positions, self.system = (lattice, toward, positions,
                                                                  system)
        self.side = _best_tile(lattice, toward, positions)[1]
        count = len(positions)
        self.inverse = cho_solve((system.lower, True), np.eye(count))
        seen = solve_triangular(system.lower, system.whitened, lower=True, trans=1)
        self.linear = np.hstack([system.residual, seen])  # (n, d + q)
        shape = len(lattice.northings), len(lattice.eastings)
        self.square = np.zeros(shape)
        self.sums = np.empty((self.linear.shape[1], *shape))
        for layer in self.sums:  # one tile would touch them all, and fresh pages take their time
            layer[:] = 0.0
            tick(0.0)
        rows, columns = lattice.row // self.side, lattice.column // self.side
        across = -(-shape[1] // self.side)
        self.tile_of = rows * across + columns  # of each target
        self.tiles = [divmod(int(tile), across) for tile in np.unique(self.tile_of)]
        self.stride = -(-len(self.tiles) // CHECKED_TILES)
        self.across = across

    def fill(self, tile):
        """Work out one tile: a (row, column) of tiles."""
        rows, columns = (slice(k * self.side, (k + 1) * self.side) for k in tile)
        norths, easts = self.lattice.northings[rows], self.lattice.eastings[columns]
        near, far = self._sorted(easts, norths)
        square = np.zeros((len(norths), len(easts)))
        sums = np.zeros((self.linear.shape[1], *square.shape))
        pulls = 0.0
        if len(far):
            square, sums, pulls = self._smooth(near, far, easts, norths)
        self.square[rows, columns] = square
        self.sums[:, rows, columns] = sums
        if len(near):
            step = max(1, STRIP_NUMBERS // (len(near) * len(easts)))
            for first in range(0, len(norths), step):
                strip = slice(first, first + step)
                self._add(near, pulls[:, strip] if len(far) else 0.0,
                          slice(rows.start + first, min(rows.start + first + step, rows.stop)),
                          columns)

    def _add(self, near, pulls, rows, columns):
        """Add what the readings that are taken cell by cell do to some rows of a tile."""
        norths, easts = self.lattice.northings[rows], self.lattice.eastings[columns]
        place = self.positions[near]
        across = self.toward.between(easts[None, None] - place[:, 0, None, None],
                                     norths[None, :, None] - place[:, 1, None, None])
        flat = across.reshape(len(near), -1)
        self.sums[:, rows, columns] += (self.linear[near].T @ flat).reshape(-1, *across.shape[1:])
        pulled = (self.inverse[np.ix_(near, near)] @ flat).reshape(across.shape)
        pulled += pulls
        pulled *= across
        self.square[rows, columns] += pulled.sum(axis=0)

    def _sorted(self, easts, norths):
        """Numbers of the readings that are taken cell by cell, and of the smooth ones."""
        span = max(np.ptp(easts), np.ptp(norths))
        model = self.toward.model
        gap = (GAP * span + self.toward.half_block_m) / model.ratio
        centre = np.array([easts[0] + easts[-1], norths[0] + norths[-1]]) / 2
        half = np.array([np.ptp(easts), np.ptp(norths)]) / 2
        away = np.abs(self.positions - centre)
        near = np.zeros(len(away), bool)
        gone = np.zeros(len(away), bool)
        if model.ratio == 1:  # offsets beyond the tile, per axis and as the crow flies
            least = np.hypot(*np.maximum(away - half, 0).T)
            most = np.hypot(*(away + half).T)
        else:
            middle = np.hypot(*model.stretched(self.positions - centre).T)
            reach = np.hypot(*half) / model.ratio
            least, most = middle - reach, middle + reach
        for kink in KINKS.get(model.family, (0.0,)):
            for _, range_m in model.structures:
                distance = kink * range_m
                near |= (least - gap <= distance) & (distance <= most + gap)
                if kink:  # the longest range comes last
                    gone = least - 2 * self.toward.half_block_m / model.ratio >= distance
        near &= ~gone
        return np.flatnonzero(near), np.flatnonzero(~near & ~gone)

    def _smooth(self, near, far, easts, norths):
        """The smooth readings' part of square and sums, and twice their pull on the near ones."""
        at_east, by_east = _interpolation(easts)
        at_north, by_north = _interpolation(norths)
        place = self.positions[far]
        offset_east = np.tile(at_east, NODES)[:, None] - place[:, 0]
        across = self.toward.between(offset_east,
                                     np.repeat(at_north, NODES)[:, None] - place[:, 1])
        kept = np.concatenate([far, near])
        pulled = across @ self.inverse[np.ix_(far, kept)]
        nodes = np.hstack([
            np.einsum("ij,ij->i", pulled[:, :len(far)], across)[:, None],
            across @ self.linear[far], 2 * pulled[:, len(far):]])
        shown = by_north @ nodes.T.reshape(-1, NODES, NODES) @ by_east.T
        terms = 1 + self.linear.shape[1]
        return shown[0], shown[1:terms], shown[terms:]

    def agrees(self, tiles, columns, plain, tick):
        """Work out a few tiles; whether some targets there are as the plain way has them."""
        in_threads(self.fill, tiles, tick)
        there = np.flatnonzero(np.isin(self.tile_of, [row * self.across + column
                                                      for row, column in tiles]))
        checked = there[np.linspace(0, len(there) - 1, CHECKED).astype(int)]
        estimate, variance = self.results(columns, checked)
        by_estimate, by_variance = plain.at(checked)
        spread = np.abs(self.system.residual).sum(axis=0) * self.toward.model.sill
        return bool((np.abs(estimate - by_estimate) <= ALLOWED * spread).all()
                    and (np.abs(variance - by_variance)
                         <= ALLOWED * self.toward.model.sill).all())

    def results(self, columns, picked=slice(None)):
        """Estimates and variances at all targets, or at some."""
        system, columns = self.system, columns[picked]
        row, column = self.lattice.row[picked], self.lattice.column[picked]
        kinds = system.residual.shape[1]
        at = row * len(self.lattice.eastings) + column
        sums = self.sums.reshape(len(self.sums), -1)
        estimate = columns @ system.coefficients + sums[:kinds][:, at].T
        unexplained = solve_triangular(system.information, columns.T - sums[kinds:][:, at],
                                       lower=True)
        variance = (self.toward.own_variance - self.square.reshape(-1)[at]
                    + np.einsum("ij,ij->j", unexplained, unexplained))
        return estimate, np.maximum(variance, 0.0)


def _interpolation(coordinates):
    """Chebyshev points over coordinates, and the (c, NODES) matrix from them to coordinates."""
    low, high = coordinates.min(), coordinates.max()
    middle, half = (low + high) / 2, (high - low) / 2 or 1.0
    angle = (2 * np.arange(NODES) + 1) * np.pi / (2 * NODES)
    order = np.arange(NODES)
    inner = np.arccos(np.clip((coordinates - middle) / half, -1, 1))
    weight = np.where(order == 0, 1.0, 2.0) / NODES
    matrix = np.cos(np.outer(inner, order)) @ (weight[:, None] * np.cos(np.outer(order, angle)))
    return middle + half * np.cos(angle), matrix


def _cost(readings):
    """Multiplications for one target, of so many readings."""
    return readings * EXP_COST + readings**2


def _best_tile(lattice, toward, positions):
    """The cost of one cell and the side, in cells, of the tiles that make it least.

    Readings count as spread evenly over the lattice and around it, as far as they lie.
    """
    step = max(_step(lattice.eastings), _step(lattice.northings)) or 1.0
    area = np.prod([max(np.ptp(np.append(along, positions[:, axis])), step)
                    for axis, along in enumerate((lattice.eastings, lattice.northings))])
    return min((_cost_of_tile(side * step, side, area, toward.model, len(positions)), side)
               for side in TILES)


def _cost_of_tile(width, side, area, model, count):
    gap = GAP * width / model.ratio
    near = (width + 2 * gap) ** 2
    far = count
    if model.family in KINKS:
        ranges = [range_m for _, range_m in model.structures]
        disc = np.pi * (ranges[-1] + width) ** 2
        ring = near + 2 * np.pi * sum(ranges) * (width * 1.3 + 2 * gap)
        near, far = min(ring, disc), min(count, count * disc / area)
        if ring >= disc:
            far = 0
    near = min(count, count * near / area)
    return (_cost(near) + 2 * near * NODES + _cost(far) * NODES**2 / side**2
            + 30_000 / side**2 * 10)


def _step(coordinates):
    return coordinates[1] - coordinates[0] if len(coordinates) > 1 else 0.0
