"""The row-unit test: whether the stand follows the planter's row units, or the ground."""
from dataclasses import dataclass

import numpy as np
from scipy.stats import f as f_distribution

from ..problems import InputProblem

PERMUTATIONS = 1999
LEVEL = 0.05
BATCH = 250  # permutations solved at once: some 10 MB with 36 row units
_FLAT = 1e-9  # share of the largest eigenvalue below which a direction tells nothing


@dataclass(frozen=True)
class RowUnit:
    """One row unit: its plants against the middle unit, shares of the mean stand.

    effect       -0.15: fewer plants than the middle unit on the same ground, by 15 % of the mean
                 of all; the middle one, so that a bad unit does not make the good ones look better
    low, high    simultaneous 95 % interval: all units' intervals hold together so often
    p            chance of as large a deviation in any unit, were all alike
    """
    unit: int
    rows: int
    effect: float
    low: float
    high: float
    p: float

    @property
    def in_words(self):
        """How far it stands from the middle unit, and how sure, in one sentence."""
        way = "below" if self.effect < 0 else "above"
        low, high = (f"{100 * end:+.0f}".replace("-", "\N{MINUS SIGN}")
                     for end in (self.low, self.high))
        return (f"Row unit {self.unit} stands {100 * abs(self.effect):.0f} % {way} the middle "
                f"unit (95 % interval, all units at once: {low} to {high} %).")


@dataclass(frozen=True)
class RowUnitTest:
    """The test of all row units.

    units        RowUnits, in the order of their numbers
    p_planter    chance of as large a deviation of the most deviant unit, were all alike
    p_ground     of as large differences between stops, were the ground alike
    planter_deviation, ground_deviation   of the true differences between units and between
                 stops, shares of the mean, the counting noise taken out; 0 where noise explains
                 them
    follows      "planter", "ground", "both" or "neither"
    rows, stops, left_out   rows and stops that compare units; rows at stops with one row alone
    """
    units: tuple
    p_planter: float
    p_ground: float
    planter_deviation: float
    ground_deviation: float
    follows: str
    rows: int
    stops: int
    left_out: int

    @property
    def faulty(self):
        """The units whose interval does not hold 0."""
        return tuple(one for one in self.units if one.low > 0 or one.high < 0)

    @property
    def least_seen(self):
        """The least difference, a share of the mean, that would surely have shown."""
        return max(one.high - one.effect for one in self.units)


def row_unit_test(stops, units, plants, lengths, *, permutations=PERMUTATIONS, seed=0, tick=None):
    """Return how each row unit stands against the others, stop by stop.

    Plants per length of a row are a stop's level plus the unit's effect plus noise, fitted by
    least squares with the lengths as weights, so a thin spot counts against no unit. Were the
    units alike, the rows of a stop could have come in any order: the units are shuffled within
    each stop, and the largest studentized effect of the shuffles gives the p values (the
    observed order counts as one) and the width of the intervals, so all of them hold at once. A
    stop with a single row compares nothing and is left out. Memory grows with BATCH, time with
    permutations and the cube of the units.

    Parameters
        stops    (n,) any sortable labels of the stops
        units    (n,) whole numbers of the row units
        plants   (n,) plants counted in a row, 0 or more
        lengths  (n,) of row counted, above 0, any one unit
        tick     called with the fraction done; may raise Stopped
    Returns  RowUnitTest
    Raises   InputProblem: a figure is missing, fewer than two units, units never counted side by
             side, too few rows, or no plant at all
    Source   studentized largest deviation and shuffling within blocks: Edgington and Onghena,
             Randomization Tests; single-step simultaneous inference: Westfall and Young (1993),
             Resampling-Based Multiple Testing (both from memory)
    """
    table = _table(stops, units, plants, lengths)
    observed = _fit(table, table.unit[None])
    generator = np.random.default_rng(seed)
    largest = [_largest(observed)]
    for start in range(0, permutations, BATCH):
        count = min(BATCH, permutations - start)
        largest.append(_largest(_fit(table, _shuffled(table, count, generator))))
        if tick is not None:
            tick((start + count) / permutations)
    return _result(table, observed, np.concatenate(largest))


@dataclass(frozen=True)
class _Table:
    stop: np.ndarray      # (n,) 0 to number of stops - 1, ascending
    unit: np.ndarray      # (n,) 0 to number of units - 1
    numbers: np.ndarray   # (k,) the units' own numbers
    density: np.ndarray   # (n,) over the mean density
    weight: np.ndarray    # (n,) length over the mean length
    left_out: int

    @property
    def stops(self):
        return int(self.stop[-1]) + 1


@dataclass(frozen=True)
class _Fit:
    effects: np.ndarray   # (b, k) shares of the mean, their median 0
    errors: np.ndarray    # (b, k) their standard errors
    residual: np.ndarray  # (b,) mean square
    explained: np.ndarray  # (b,) sum of squares by the units, beside the stops


def _table(stops, units, plants, lengths):
    stops, units = np.asarray(stops), np.asarray(units)
    plants, lengths = np.asarray(plants, float), np.asarray(lengths, float)
    wrong = ~((plants >= 0) & np.isfinite(plants) & (lengths > 0) & np.isfinite(lengths))
    if wrong.any():
        raise InputProblem(f"{np.count_nonzero(wrong)} of {len(wrong)} counted rows have no count "
                           "of plants or no length.")
    _, stop, size = np.unique(stops, return_inverse=True, return_counts=True)
    several = size[stop] > 1
    numbers, unit = np.unique(units[several], return_inverse=True)
    if len(numbers) < 2:
        raise InputProblem("No stop has rows of two row units counted side by side, so they cannot "
                           "be compared. Count several rows of the planter at each stop, with "
                           "their row units.")
    _, stop = np.unique(stop[several], return_inverse=True)
    order = np.argsort(stop, kind="stable")
    stop, unit = stop[order], unit[order]
    plants, lengths = plants[several][order], lengths[several][order]
    if not plants.sum():
        raise InputProblem("No plant was counted in any row; there is nothing to compare.")
    density = plants / lengths * lengths.sum() / plants.sum()
    table = _Table(stop, unit, numbers, density, lengths / lengths.mean(),
                   int(np.count_nonzero(~several)))
    _require_comparable(table)
    return table


def _require_comparable(table):
    count = len(table.numbers)
    spare = len(table.stop) - table.stops - (count - 1)
    if spare < 1:
        raise InputProblem(f"{len(table.stop)} counted rows at {table.stops} stops do not tell "
                           f"{count} row units from noise. Count more rows.")
    together = _information(table, table.unit[None])[0]
    if np.linalg.matrix_rank(together, tol=_FLAT * np.trace(together), hermitian=True) < count - 1:
        raise InputProblem("Some row units were never counted at the same stop as the others, not "
                           "even by way of third ones, so they cannot be compared. Count across "
                           "the planter's width.")


def _shuffled(table, count, generator):
    """Return (count, n) units shuffled within each stop."""
    keys = table.stop + generator.random((count, len(table.stop)))
    return table.unit[np.argsort(keys, axis=1)]


def _information(table, units):
    """Return (b, k, k) information on the effects, the stops' levels taken out."""
    shape = (len(units), table.stops, len(table.numbers))
    flat = np.ravel_multi_index(
        (np.arange(len(units))[:, None], table.stop, units), shape)
    weight = np.broadcast_to(table.weight, units.shape)
    at_stop = np.bincount(flat.ravel(), weight.ravel(), np.prod(shape)).reshape(shape)
    per_stop = np.bincount(table.stop, table.weight)
    own = at_stop.sum(axis=1)
    return (np.einsum("bk,kl->bkl", own, np.eye(shape[2]))
            - np.einsum("bsk,bsl->bkl", at_stop / per_stop[:, None], at_stop))


def _fit(table, units):
    """Return the _Fit of each (n,) row of units, (b, n)."""
    count = len(table.numbers)
    level = (np.bincount(table.stop, table.weight * table.density)
             / np.bincount(table.stop, table.weight))
    apart = table.density - level[table.stop]
    flat = units + count * np.arange(len(units))[:, None]
    weighted = np.broadcast_to(table.weight * apart, units.shape)
    sums = np.bincount(flat.ravel(), weighted.ravel(), len(units) * count).reshape(-1, count)
    inverse = np.linalg.pinv(_information(table, units), rcond=_FLAT, hermitian=True)
    effects = np.einsum("bkl,bl->bk", inverse, sums)
    effects -= np.median(effects, axis=1, keepdims=True)
    explained = np.einsum("bk,bk->b", effects, sums)
    spare = len(table.stop) - table.stops - (count - 1)
    residual = np.maximum((table.weight * apart**2).sum() - explained, 0.0) / spare
    centre = np.eye(count) - 1 / count
    spread = np.einsum("ij,bjk,ik->bi", centre, inverse, centre)
    return _Fit(effects, np.sqrt(residual[:, None] * np.maximum(spread, 0.0)), residual,
                explained)


def _largest(fit):
    """Return (b,) the largest studentized effect; without any residual, infinity or 0."""
    return _studentized(fit).max(axis=1)


def _studentized(fit):
    with np.errstate(divide="ignore", invalid="ignore"):
        found = np.abs(fit.effects) / fit.errors
    return np.nan_to_num(found, nan=0.0, posinf=np.inf)


def _result(table, fit, largest):
    effects, errors = fit.effects[0], fit.errors[0]
    width = np.quantile(largest, 1 - LEVEL, method="higher")
    reach = np.multiply(width, errors, out=np.zeros(errors.shape), where=errors > 0)
    studentized = _studentized(fit)[0]
    rows = np.bincount(table.unit, minlength=len(table.numbers))
    units = tuple(
        RowUnit(unit=int(number), rows=int(rows[place]), effect=float(effects[place]),
                low=float(effects[place] - reach[place]),
                high=float(effects[place] + reach[place]),
                p=float((largest >= studentized[place] * (1 - 1e-12)).mean()))
        for place, number in enumerate(table.numbers))
    p_planter = min(one.p for one in units)
    p_ground, ground = _ground(table, effects, fit.residual[0])
    planter = np.sqrt(max(0.0, float(effects.var() * len(effects) / (len(effects) - 1)
                                     - (errors**2).mean())))
    follows = {(True, True): "both", (True, False): "planter", (False, True): "ground",
               (False, False): "neither"}[p_planter <= LEVEL, p_ground <= LEVEL]
    return RowUnitTest(units=units, p_planter=p_planter, p_ground=p_ground,
                       planter_deviation=planter, ground_deviation=ground, follows=follows,
                       rows=len(table.stop), stops=table.stops, left_out=table.left_out)


def _ground(table, effects, residual):
    """Return the F test's p of the stops beside the units, and the deviation of their levels.

    Source   two-way layout without interaction, unequal numbers: Scheffe (1959), The Analysis of
             Variance, 4.4 (from memory); units' effects are taken out as estimated
    """
    adjusted = table.density - effects[table.unit]
    weight = np.bincount(table.stop, table.weight)
    level = np.bincount(table.stop, table.weight * adjusted) / weight
    mean = (weight * level).sum() / weight.sum()
    spare = len(table.stop) - table.stops - (len(effects) - 1)
    between = (weight * (level - mean)**2).sum() / (table.stops - 1) if table.stops > 1 else 0.0
    if residual == 0:
        return (0.0 if between > 0 else 1.0), float(level.std())
    p = float(f_distribution.sf(between / residual, max(table.stops - 1, 1), spare))
    typical = ((weight.sum() - (weight**2).sum() / weight.sum()) / (table.stops - 1)
               if table.stops > 1 else np.inf)
    return p, float(np.sqrt(max(0.0, (between - residual) / typical)))
