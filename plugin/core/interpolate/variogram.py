"""Experimental variograms: how much values differ, by the distance between their places."""
from dataclasses import dataclass

import numpy as np
from scipy.fft import next_fast_len
from scipy.sparse import csc_matrix
from scipy.spatial.distance import cdist

from ..problems import InputProblem
from .correlation import correlation, transformed
from .threads import OfThread, in_turn

ESTIMATORS = ("matheron", "cressie_hawkins")
BINS = 15
CUTOFF_SHARE = 1 / 3  # of the diagonal of the readings' bounding box
TILE = 128            # most readings that lie together
BLOCK_PAIRS = 65_536  # pairs worked on at once: 3 MB a thread, near its cache, and steps long
                      # enough that threads seldom wait for each other's turn at the interpreter
TASK_TILES = 64       # tiles that one task compares with another: a million pairs, some 10 ms
ROUNDING = 1e-9       # of the cosine of a heading, as UTM places turned to it are rounded
SNAPS_PER_BIN = 32    # cells of the snapping grid across one bin, unless told otherwise
MOST_CELLS = 2**23    # of the padded snapping grid: some 500 MB for its transforms


@dataclass(frozen=True)
class Direction:
    """Pairs within `tolerance_deg` either side of a heading, clockwise from north.

    Ends count: to 0.003 degrees of a tolerance of 0, to less than 1e-6 of 10 and more.
    """
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
    if not (np.isfinite(cutoff) and bins >= 1 and cutoff / bins > 0):
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
    """The readings, and the sums over pairs between two groups of them.

    Sums are arrays (4, bins + 2): of each bin, of pairs at one place before them and of pairs
    beyond them, the number of pairs, their distance, difference and error.
    """

    def __init__(self, positions, values, errors, width, bins, estimator, direction):
        self.positions, self.values, self.errors = positions, values[:, None], errors
        self.width, self.bins, self.estimator = width, bins, estimator
        self.with_errors = bool(errors.any())
        self._work, self.along = OfThread(lambda: _Work(bins)), None
        if direction is not None:
            heading = np.radians(direction.heading_deg)
            axis = np.sin(heading), np.cos(heading)
            self.along = ((positions - positions.mean(axis=0)) @ axis)[:, None]
            self.least_cosine = np.cos(np.radians(direction.tolerance_deg)) - ROUNDING

    def within(self, group):
        """Sums over the pairs inside a group of readings."""
        return self._sums(group, group) / 2  # as each pair is met twice

    def between(self, group, others):
        """Sums over the pairs of one of a group and one of the others."""
        blocks = np.array_split(others, -(-len(others) // (BLOCK_PAIRS // len(group))))
        return sum(self._sums(group, block) for block in blocks)

    def _sums(self, group, others):
        work = self._work()
        work.fit(len(group), len(others))
        apart, number, difference = work.apart, work.number, work.difference
        cdist(self.positions[group], self.positions[others], out=apart)
        np.divide(apart, self.width, out=number)
        # fmin takes even what is no number to the last bin: one outside them would be written to
        np.fmin(np.ceil(number, out=number), self.bins + 1, out=number)
        if self.along is not None:
            along = cdist(self.along[group], self.along[others], "cityblock")
            number[along < self.least_cosine * apart] = self.bins + 1
        if others is group:
            np.fill_diagonal(number, self.bins + 1)  # a reading makes no pair with itself
        work.set_bins(number)
        if self.estimator == "matheron":
            cdist(self.values[group], self.values[others], "sqeuclidean", out=difference)
        else:
            cdist(self.values[group], self.values[others], "cityblock", out=difference)
            np.sqrt(difference, out=difference)
        total = np.zeros((4, self.bins + 2))
        total[:3] = [work.summed(each) for each in (work.ones, apart, difference)]
        if self.with_errors:
            total[3] = work.summed(np.add.outer(self.errors[group], self.errors[others]))
        return total


class _Work:
    """Arrays that one thread makes the sums of a block of pairs in, one block after the other."""

    def __init__(self, bins):
        self._rows, self._shape = bins + 2, None
        self._numbers, self._ones = np.empty((3, BLOCK_PAIRS)), np.ones(BLOCK_PAIRS)
        self._bin_of = np.zeros(BLOCK_PAIRS, np.int32)
        self._starts = np.arange(BLOCK_PAIRS + 1, dtype=np.int32)

    def fit(self, rows, columns):
        """Make ready for so many pairs."""
        if self._shape == (rows, columns):
            return
        self._shape, count = (rows, columns), rows * columns
        self.apart, self.number, self.difference = (
            part[:count].reshape(rows, columns) for part in self._numbers)
        self.ones = self._ones[:count]
        # a row for each bin, a column for each pair; unlike bincount, its product leaves the
        # interpreter to the other threads
        self._pairs_of_bins = csc_matrix(
            (self.ones, self._bin_of[:count], self._starts[:count + 1]), (self._rows, count))

    def set_bins(self, number):
        """Put each pair into the bin of that number."""
        np.copyto(self._pairs_of_bins.indices, number.ravel(), casting="unsafe")

    def summed(self, of_pairs):
        """The sum over the pairs of each bin."""
        return self._pairs_of_bins @ of_pairs.ravel()


def _sums_of_pairs(pairs, cutoff, tick):
    total = np.zeros((4, pairs.bins + 2))

    def add(found):
        done, sums = found
        np.add(total, sums, out=total)
        if tick is not None:
            tick(done)

    in_turn(lambda task: (task[0], task[1](*task[2])),
            _tasks(pairs, _tiles(pairs.positions.T), cutoff), add)
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
    least = np.array([pairs.positions[tile].min(axis=0) for tile in tiles])
    most = np.array([pairs.positions[tile].max(axis=0) for tile in tiles])
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
