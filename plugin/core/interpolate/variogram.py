"""Experimental variograms: how much values differ, by the distance between their places."""
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import islice

import numpy as np
from scipy.fft import next_fast_len

from ..problems import InputProblem
from .correlation import correlation, transformed

ESTIMATORS = ("matheron", "cressie_hawkins")
BINS = 15
CUTOFF_SHARE = 1 / 3  # of the diagonal of the readings' bounding box
TILE = 64             # readings that lie together
ACROSS = 256          # readings compared with a tile at once: four arrays of 131 kB a thread
TASK_TILES = 256      # tiles that one task compares with another: a million pairs, some 10 ms
LANES = 4             # sums kept apart and added at the end: neighbours wait less for each other
THREADS = min(4, os.cpu_count() or 1)
TASKS = 4 * THREADS   # between two ticks
SNAPS_PER_BIN = 32    # cells of the snapping grid across one bin, unless told otherwise
MOST_CELLS = 2**23    # of the padded snapping grid: some 500 MB for its transforms


@dataclass(frozen=True)
class Direction:
    """Pairs within `tolerance_deg` either side of a heading, clockwise from north; ends count."""
    heading_deg: float
    tolerance_deg: float = 22.5


@dataclass(frozen=True)
class Variogram:
    """Half the expected squared difference of values (gamma, not two gamma), by distance.

    Bins that hold no pair are left out; each stands at the mean distance of its pairs.

    distances_m       (b,) mean distance of the pairs of each bin, metres
    semivariance      (b,) unit of the values squared; below 0 where errors were subtracted that
                      are larger than the differences
    pairs             (b,) number of pairs, each pair once
    upper_m           (b,) upper end of each bin, metres; it belongs to the bin
    cutoff_m          distance beyond which pairs were left out
    estimator         one of ESTIMATORS
    distance_error_m  largest error of the distance of a pair: 0 but where places were snapped
    """
    distances_m: np.ndarray
    semivariance: np.ndarray
    pairs: np.ndarray
    upper_m: np.ndarray
    cutoff_m: float
    estimator: str
    distance_error_m: float = 0.0


def experimental_variogram(positions_m, values, *, cutoff_m=None, bins=BINS, estimator="matheron",
                           error_variance=None, direction=None, tick=None):
    """Return the variogram of readings from all their pairs up to the cutoff.

    Bins have equal width and take in their upper end, (lower, upper]; readings at one place count
    in the first bin, and in every direction. Known errors are taken off: from each half squared
    difference the mean of the two error variances; with Cressie and Hawkins's estimator the same
    mean over the bin, which is this program's own rule. Time grows with the square of n, in
    THREADS threads; memory with n.

    Parameters
        positions_m     (n, 2) metres, n at least 2
        values          (n,) any unit
        cutoff_m        largest distance; None: CUTOFF_SHARE of the bounding box's diagonal
        bins            number of bins
        estimator       "matheron", or "cressie_hawkins", which outliers sway less
        error_variance  (n,) each reading's own, to be taken off; None: nothing is
        direction       Direction, or None for all pairs
        tick            called with the fraction done; may raise Stopped
    Returns  Variogram
    Raises   InputProblem: fewer than 2 readings, values missing, all at one place without a
             cutoff, an unknown estimator, or no pair up to the cutoff
    Source   Matheron (1963), Economic Geology 58:1246-1266; Cressie and Hawkins (1980),
             Mathematical Geology 12:115-125; cutoff and number of bins are common practice
    """
    positions, values, errors = _checked(positions_m, values, error_variance)
    cutoff = _cutoff(positions, cutoff_m, bins)
    if estimator not in ESTIMATORS:
        raise InputProblem(f"There is no estimator {estimator!r}; known are "
                           f"{', '.join(ESTIMATORS)}.")
    sums = _sums_of_pairs(_Pairs(positions, values, errors, cutoff / bins, bins, estimator,
                                 direction), cutoff, tick)
    return _variogram(sums, cutoff, bins, estimator)


def snapped_variogram(positions_m, values, *, cutoff_m=None, bins=BINS, error_variance=None,
                      cell_m=None, tick=None):
    """Return Matheron's variogram of very many readings, their places snapped to a fine grid.

    It is the exact variogram of readings moved to the nearest corner of a grid of squares, so no
    pair's distance is off by more than the diagonal of a square, sqrt(2) * cell_m, which the
    result states as distance_error_m; a pair nearer than that to the end of a bin may count in
    the next one. Sums over pairs come from the grid's autocorrelation. Time and memory grow with
    the number of squares, hardly with n; all pairs are as quick up to some 5,000 readings. There is
    no way here to Cressie and Hawkins's estimate: the root of a difference, unlike its square, is
    no sum of products of the two readings, which is all that an autocorrelation adds up.

    Parameters
        positions_m, values, cutoff_m, bins, error_variance   as for experimental_variogram
        cell_m   side of a square; None: a bin's width over SNAPS_PER_BIN
        tick     called with the fraction done; may raise Stopped
    Returns  Variogram
    Raises   InputProblem: as experimental_variogram, or more than MOST_CELLS squares are needed
    Source   sums over pairs as autocorrelations by Fourier transform: Marcotte (1996), Computers
             & Geosciences 22:1175-1186 (from memory)
    """
    positions, values, errors = _checked(positions_m, values, error_variance)
    cutoff = _cutoff(positions, cutoff_m, bins)
    cell = float(cell_m or cutoff / bins / SNAPS_PER_BIN)
    if not cell > 0:
        raise InputProblem(f"Readings cannot be snapped to squares with a side of {cell_m} m.")
    reach = int(cutoff / cell)
    across = np.ptp(positions, axis=0) / cell
    padded_cells = np.prod(across + 2 + reach)
    if padded_cells > MOST_CELLS:
        raise InputProblem(f"Squares of {cell:g} m over the readings and the cutoff make "
                           f"{padded_cells:,.0f} of them; at most {MOST_CELLS:,} fit into memory. "
                           "Take larger squares.")
    corners = np.rint((positions - positions.min(axis=0)) / cell).astype(np.intp)
    shape = tuple(corners.max(axis=0) + 1)
    place = corners[:, 0] * shape[1] + corners[:, 1]
    centred = values - values.mean()
    count, total, square = (
        np.bincount(place, weights, minlength=shape[0] * shape[1]).reshape(shape)
        for weights in (None, centred, centred**2 - errors))
    padded = [next_fast_len(side + reach, real=True) for side in shape]
    tick = tick or (lambda fraction: None)
    transforms = [transformed(part, padded, lambda done, number=number: tick(
        (number + done) / 5)) for number, part in enumerate((count, total, square))]
    # pairs that share a square; a reading makes no pair with itself, nor does its error
    together = (0.5 * (count * (count - 1)).sum(),
                0.5 * ((count * square - total**2).sum() + errors.sum()))
    sums = _sums_of_lags(transforms, padded, reach, cell, cutoff / bins, bins, together,
                         lambda done: tick(0.6 + 0.4 * done))
    return _variogram(sums, cutoff, bins, "matheron", np.sqrt(2) * cell)


@dataclass(frozen=True)
class _Sums:
    """Sums over the pairs of each bin: their number, distance, difference and error."""
    pairs: np.ndarray
    distance: np.ndarray
    difference: np.ndarray  # half squared; with Cressie and Hawkins, the root of its size
    error: np.ndarray


def _checked(positions_m, values, error_variance):
    positions, values = np.asarray(positions_m, float), np.asarray(values, float)
    errors = np.zeros(len(values)) if error_variance is None else np.asarray(error_variance, float)
    if positions.shape != (len(values), 2) or errors.shape != values.shape:
        raise InputProblem(f"{len(values)} values came with positions of shape {positions.shape} "
                           f"and errors of shape {errors.shape}.")
    if len(values) < 2:
        raise InputProblem(f"{len(values)} readings make no pair; a variogram needs 2 or more.")
    usable = np.isfinite(values) & np.isfinite(positions).all(axis=1) & (errors >= 0)
    if not usable.all():
        raise InputProblem(f"{np.count_nonzero(~usable)} of {len(values)} readings have no usable "
                           "value, place or error.")
    return positions, values, errors


def _cutoff(positions, cutoff_m, bins):
    cutoff = (float(np.linalg.norm(np.ptp(positions, axis=0))) * CUTOFF_SHARE if cutoff_m is None
              else float(cutoff_m))
    if not (np.isfinite(cutoff) and cutoff > 0 and bins >= 1):
        raise InputProblem(f"A variogram of {bins} bins up to {cutoff:g} m cannot be; it needs a "
                           "bin or more, and readings at more than one place or a cutoff.")
    return cutoff


def _variogram(sums, cutoff, bins, estimator, distance_error=0.0):
    kept = sums.pairs > 0
    if not kept.any():
        raise InputProblem(f"No two readings lie within {cutoff:g} m of each other (in the "
                           "direction asked for, if any). Give a larger cutoff.")
    pairs = sums.pairs[kept]
    semivariance = sums.difference[kept] / pairs
    if estimator == "cressie_hawkins":
        semivariance = 0.5 * semivariance**4 / (0.457 + 0.494 / pairs)
    return Variogram(sums.distance[kept] / pairs, semivariance - sums.error[kept] / pairs, pairs,
                     (np.arange(1, bins + 1) * (cutoff / bins))[kept], cutoff, estimator,
                     float(distance_error))


class _Pairs:
    """The readings, and the sums over pairs between two groups of them."""

    def __init__(self, positions, values, errors, width, bins, estimator, direction):
        self.positions = np.ascontiguousarray(positions.T)
        self.values, self.errors = values, errors
        self.width, self.bins, self.estimator = width, bins, estimator
        self.with_errors = bool(errors.any())
        self.axis = None
        if direction is not None:
            heading = np.radians(direction.heading_deg)
            self.axis = np.sin(heading), np.cos(heading)
            self.least_cosine = np.cos(np.radians(direction.tolerance_deg)) - 1e-12  # rounding

    def within(self, group):
        """Sums over the pairs inside a group of readings, as of `between`."""
        one, other = np.triu_indices(len(group), 1)
        one, other = group[one], group[other]
        work = _Work(1, len(one))
        for position, apart in zip(self.positions, (work.apart, work.number)):
            np.subtract(position[one], position[other], out=apart[0])
        np.subtract(self.values[one], self.values[other], out=work.difference[0])
        return self._sums(work, (self.errors[one] + self.errors[other])[None])

    def between(self, group, others):
        """Sums (4, bins + 2) over the pairs of one of a group and one of the others.

        Of each bin, of pairs at one place before them and of pairs beyond them: their number,
        distance, difference, error.
        """
        east, north = self.positions[:, group, None]
        values, errors = self.values[group, None], self.errors[group, None]
        total = np.zeros((4, self.bins + 2))
        work = _Work(len(group), ACROSS)
        for start in range(0, len(others), ACROSS):
            block = others[start:start + ACROSS]
            if len(block) < ACROSS:
                work = _Work(len(group), len(block))
            np.subtract(east, self.positions[0][block], out=work.apart)
            np.subtract(north, self.positions[1][block], out=work.number)
            np.subtract(values, self.values[block], out=work.difference)
            total += self._sums(work, errors + self.errors[block] if self.with_errors else None)
        return total

    def _sums(self, work, errors):
        """The sums, from steps east in `apart`, north in `number`, and the differences."""
        apart, number, difference = work.apart, work.number, work.difference
        along = (None if self.axis is None
                 else np.abs(apart * self.axis[0] + number * self.axis[1]))
        np.multiply(apart, apart, out=apart)
        np.multiply(number, number, out=number)
        np.add(apart, number, out=apart)
        np.sqrt(apart, out=apart)
        np.divide(apart, self.width, out=number)
        np.minimum(np.ceil(number, out=number), self.bins + 1, out=number)
        if along is not None:
            number[along < self.least_cosine * apart] = self.bins + 1
        np.add(number, work.lane * (self.bins + 2), out=number)
        np.copyto(work.which, number, casting="unsafe")
        if self.estimator == "matheron":
            np.multiply(difference, difference, out=difference)
        else:
            np.sqrt(np.abs(difference, out=difference), out=difference)
        which, length = work.which.ravel(), LANES * (self.bins + 2)
        parts = [np.bincount(which, None if weights is None else weights.ravel(), length)
                 for weights in (None, apart, difference, *([errors] if self.with_errors else []))]
        found = np.zeros((4, self.bins + 2))
        found[:len(parts)] = np.reshape(parts, (len(parts), LANES, -1)).sum(axis=1)
        return found


class _Work:
    """Arrays that the sums of one block of pairs are made in."""

    def __init__(self, rows, columns):
        self.apart, self.number, self.difference = np.empty((3, rows, columns))
        self.which = np.empty((rows, columns), np.intp)
        self.lane = np.arange(columns, dtype=float) % LANES


def _sums_of_pairs(pairs, cutoff, tick):
    tiles = _tiles(pairs.positions)
    tasks = _tasks(pairs, tiles, cutoff)
    total, done = np.zeros((4, pairs.bins + 2)), 0
    with ThreadPoolExecutor(THREADS) as threads:
        while batch := list(islice(tasks, TASKS)):
            for found in threads.map(lambda task: task[1](*task[2]), batch):
                total += found
            done = batch[-1][0]
            if tick is not None:
                tick(done)
    total[:, 1] += total[:, 0]  # what lies at one place counts in the first bin
    count, distance, difference, error = total[:, 1:-1]
    half = 0.5 if pairs.estimator == "matheron" else 1.0
    return _Sums(np.rint(count).astype(np.int64), distance, half * difference, 0.5 * error)


def _tiles(positions):
    """Groups of at most TILE readings that lie together, by halving along the longer side."""
    groups, tiles = [np.arange(positions.shape[1])], []
    while groups:
        group = groups.pop()
        if len(group) <= TILE:
            tiles.append(group)
            continue
        inside = positions[:, group]
        half = len(group) // 2
        order = np.argpartition(inside[np.argmax(np.ptp(inside, axis=1))], half)
        groups += [group[order[:half]], group[order[half:]]]
    return tiles


def _tasks(pairs, tiles, cutoff):
    """(fraction done after it, function, arguments) of each task; tiles out of reach have none."""
    least = np.array([pairs.positions[:, tile].min(axis=1) for tile in tiles])
    most = np.array([pairs.positions[:, tile].max(axis=1) for tile in tiles])
    for number, tile in enumerate(tiles):
        done = 1 - (1 - (number + 1) / len(tiles))**2  # the first have the most left to meet
        later = slice(number + 1, None)
        gap = np.maximum(np.maximum(least[later] - most[number], least[number] - most[later]), 0.0)
        near = number + 1 + np.flatnonzero(np.hypot(gap[:, 0], gap[:, 1]) <= cutoff)
        for start in range(0, len(near), TASK_TILES):
            others = np.concatenate([tiles[other] for other in near[start:start + TASK_TILES]])
            yield done, pairs.between, (tile, others)
        yield done, pairs.within, (tile,)


def _sums_of_lags(transforms, padded, reach, cell, width, bins, together, tick):
    """Sums over pairs by lag: of each lag and its opposite only one is taken."""
    count, total, square = transforms
    pairs = correlation(lambda some: np.abs(count[:, some])**2, padded, reach,
                        lambda done: tick(0.4 * done))
    difference = correlation(
        lambda some: (count[:, some].conj() * square[:, some]).real - np.abs(total[:, some])**2,
        padded, reach, lambda done: tick(0.4 + 0.4 * done))
    steps = np.arange(-reach, reach + 1)
    ahead, aside = np.meshgrid(np.arange(reach + 1), steps, indexing="ij")
    apart = cell * np.hypot(ahead, aside)
    number = np.ceil(apart / width).astype(np.intp)
    one_half = ((ahead > 0) | (aside > 0)) & (number <= bins)
    ahead, aside, apart, number = (part[one_half] for part in (ahead, aside, apart, number))
    pairs, difference = pairs[ahead, aside], difference[ahead, aside]
    pairs = np.rint(pairs)
    difference = np.where(pairs > 0, difference, 0.0)  # else the rounding of the transforms
    found = [np.bincount(number, weights, minlength=bins + 1)[1:]
             for weights in (pairs, pairs * apart, difference)]
    found[0][0] += together[0]
    found[2][0] += together[1]
    return _Sums(np.rint(found[0]).astype(np.int64), found[1], found[2], np.zeros(bins))
