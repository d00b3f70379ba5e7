"""Surfaces from readings of simulated fields, beside the truth and beside plainer ways.

Fields of 35 ha are drawn from a known model, read at n random places with errors of known size, and
mapped by `estimate_surface`, as their mean, by inverse distance and by textbook ordinary kriging.
A second table shows what becomes of depths known only to lie beyond a limit, a third what becomes
of counts whose error is taken from the count itself, a fourth what is made of fields without any
pattern, a fifth what more families to choose from do, a sixth what models of large sets are worth.
`--fields N` draws N fields for each n of the first (200), shared out among five kinds of readings,
and a quarter of N for each row of the others; `--seed S` draws others; `--table NAME` makes one
table alone; `--processes P` works on P fields at once (2).
"""
import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist
from scipy.stats import norm

from plugin.core.grid import Grid
from plugin.core.interpolate.averaged_model import averaged_model
from plugin.core.interpolate.covariance import CANDIDATES, FAMILIES, CovarianceModel
from plugin.core.interpolate.estimate import estimate_surface
from plugin.core.interpolate.field_mean import field_mean
from plugin.core.interpolate.kriging import krige
from plugin.core.interpolate.moments_fit import fit_moments
from plugin.core.interpolate.reml import fit_reml
from plugin.core.interpolate.variogram import experimental_variogram
from plugin.core.interpolate.variogram_fit import fit_variogram
from plugin.core.interpolate.verdict import CLEAR_SKILL
from plugin.core.observations import ABOVE, BELOW, EXACT, Observations
from plugin.core.observe.stand import stand_at_stops

GRID = Grid.covering(0, 0, 700, 500, cell_m=25)  # 35 ha
WHOLE = np.ones(GRID.shape)
CELLS = GRID.centres()
COUNTS = (20, 40, 80)
REACH_M = (60.0, 300.0)      # distance at which correlation has gone (5 %), even in its logarithm
NUGGET_SHARE = (0.0, 0.6)    # of the variance of the truth
STAND = (7.0, 1.0)           # plants/m2: mean and standard deviation
DEPTH = (12.0, 3.0)          # inches
DEPTH_ERROR = 0.75           # inches, standard error of one depth
COUNTED_M2 = 1 / 1000 * 4046.8564224  # a thousandth of an acre
SEEDS_PER_M2 = 8.4
INTERVAL = norm.ppf(0.95)    # 90 %
KINDS = ("stand, Poisson", "stand, binomial", "depth", "depth, 20 % deeper", "depth, 40 % deeper")
WAYS = ("as limits", "as depths", "dropped")
COUNT_WAYS = ("of the mean", "its own")
FAMILY_SETS = {"with matern_3_2": (*CANDIDATES, "matern_3_2"),
               "and matern_5_2": (*CANDIDATES, "matern_3_2", "matern_5_2"),
               "and gaussian": ("nugget", *FAMILIES)}
TRUTHS = ("spherical", "exponential", "matern_3_2", "matern_5_2")
LARGE = (400, 1000)          # readings
LONG_REACH_M = 400.0         # of the longer of two ranges; the shorter is the least REACH_M
SOME = 250                   # readings that the likelihood of a large set is of
METHODS = ("surface", "mean", "inverse distance", "textbook kriging")


@dataclass(frozen=True)
class Field:
    """A field of known truth: its level, and what single readings would find there, at cells.

    The level varies by the structured part of the model alone; a place adds the nugget to it.
    `at_readings` holds the places' own values (n,), without the errors of readings.
    """
    level: np.ndarray
    at_cells: np.ndarray
    positions_m: np.ndarray
    at_readings: np.ndarray
    model: CovarianceModel


def simulated_field(generator, count, mean, spread, *, shares=NUGGET_SHARE,
                    families=("spherical", "exponential"), nested=False):
    """Return a Field read at `count` places, of a range and a nugget share drawn at random.

    A nested one has half of its partial sill at LONG_REACH_M and half at the least REACH_M.
    """
    family = families[generator.integers(len(families))]
    reach_m = np.exp(generator.uniform(*np.log(REACH_M)))
    share, partial_sill = generator.uniform(*shares), spread**2
    partial_sill *= 1 - share
    ranges = np.array([REACH_M[0] if nested else reach_m, LONG_REACH_M]) / FAMILIES[family].reach
    model = CovarianceModel(family, share * spread**2, partial_sill, ranges[0],
                            **({"long_sill": partial_sill / 2, "long_range_m": ranges[1]}
                               if nested else {}))
    positions = generator.uniform((0, 0), (700, 500), (count, 2))
    places = np.vstack([CELLS, positions])
    covariance = model.covariance(cdist(places, places))
    covariance[np.diag_indices_from(covariance)] += 1e-9 * spread**2
    level = mean + np.linalg.cholesky(covariance) @ generator.standard_normal(len(places))
    own = level + np.sqrt(model.nugget) * generator.standard_normal(len(places))
    return Field(level[:len(CELLS)], own[:len(CELLS)], positions, own[len(CELLS):], model)


def readings_of(field, kind, generator):
    """Return the Observations of a kind that are made in a field."""
    count = len(field.positions_m)
    if kind.startswith("stand"):
        poisson = kind == "stand, Poisson"
        expected = np.clip(field.at_readings, 0, SEEDS_PER_M2) * COUNTED_M2
        if poisson:
            plants = generator.poisson(np.maximum(field.at_readings, 0) * COUNTED_M2)
        else:
            seeds = round(SEEDS_PER_M2 * COUNTED_M2)
            plants = generator.binomial(seeds, expected / (SEEDS_PER_M2 * COUNTED_M2))
        stand = stand_at_stops(np.arange(count), plants, np.full(count, COUNTED_M2),
                               seeds_per_m2=None if poisson else SEEDS_PER_M2)
        # by the mean density, not by the stop's own: see the third table
        error_variance = stand.dispersion * plants.sum() / stand.area_m2.sum() / stand.area_m2
        return Observations.of("stand", "plants/m2", field.positions_m, stand.density,
                               error_variance=error_variance)
    depths = field.at_readings + DEPTH_ERROR * generator.standard_normal(count)
    share = {"depth": 0.0, "depth, 20 % deeper": 0.2, "depth, 40 % deeper": 0.4}[kind]
    return censored_readings(field, depths, share, ABOVE)


def censored_readings(field, depths, share, side):
    """Return depths of which about a share lies beyond a limit and is known only as such."""
    limit = DEPTH[0] + side * np.hypot(DEPTH[1], DEPTH_ERROR) * norm.isf(share)
    beyond = side * (depths - limit) > 0
    return Observations.of("depth", "in", field.positions_m, np.where(beyond, limit, depths),
                           error_variance=np.full(len(depths), DEPTH_ERROR**2),
                           censoring=np.where(beyond, side, EXACT))


def inverse_distance(positions_m, values, targets_m, *, power=2.0, neighbours=12):
    """Return estimates at targets, none of them on a reading, weighed by distance**-power.

    Source   Shepard (1968), Proc. 23rd ACM National Conference, 517-524
    """
    apart_m, which = cKDTree(positions_m).query(targets_m, k=min(neighbours, len(values)))
    weight = apart_m**-power
    return (weight * values[which]).sum(axis=1) / weight.sum(axis=1)


def textbook_kriging(positions_m, values, targets_m):
    """Return ordinary kriging with a spherical model fitted to Matheron's variogram.

    Weighted least squares with N / h^2; pairs up to half the greatest distance in ten bins;
    errors of readings are part of the nugget.

    Source   common practice, as in Webster and Oliver (2007), Geostatistics for Environmental
             Scientists, chapters 4, 5 and 8
    """
    greatest = cdist(positions_m, positions_m).max()
    variogram = experimental_variogram(positions_m, values, cutoff_m=greatest / 2, bins=10)
    model = fit_variogram(variogram, "spherical").model
    return krige(positions_m, values, np.zeros(len(values)), model, targets_m)


def covered(truth, estimate, standard_error):
    """Share of truths within the 90 % interval."""
    return float((np.abs(truth - estimate) <= INTERVAL * standard_error).mean())


def one_of_errors(seed, count, number):
    """What one field of the first table shows: a dict of numbers."""
    generator = np.random.default_rng([seed, count, number])
    kind = KINDS[number % len(KINDS)]
    field = simulated_field(generator, count, *(STAND if kind.startswith("stand") else DEPTH))
    readings = readings_of(field, kind, generator)
    surface = estimate_surface(readings, GRID, WHOLE, seed=number)
    mean, mean_error = field_mean(surface)
    kriged = textbook_kriging(readings.positions_m, readings.values, CELLS)
    estimates = (surface.estimate.ravel(), readings.values.mean(),
                 inverse_distance(readings.positions_m, readings.values, CELLS), kriged.estimate)
    off = [rmse(estimate, field) for estimate in estimates]
    return {"kind": kind, "count": count, **dict(zip(METHODS, off)),
            "map": surface.account["method"] == "ordinary kriging",
            "cells": covered(field.at_cells, estimates[0], surface.standard_error.ravel()),
            "cells, textbook": covered(field.at_cells, kriged.estimate, np.sqrt(kriged.variance)),
            "bias": mean - field.level.mean(),
            "field mean": covered(field.level.mean(), mean, mean_error)}


def one_of_censored(share, side, seed, count, number):
    """What one field of the second table shows: of each way, bias, RMSE and coverage."""
    generator = np.random.default_rng([seed, count, number])  # the same fields for each share
    field = simulated_field(generator, count, *DEPTH)
    depths = field.at_readings + DEPTH_ERROR * generator.standard_normal(count)
    readings = censored_readings(field, depths, share, side)
    exact = readings.censoring == EXACT
    taken = Observations.of("depth", "in", readings.positions_m, readings.values,
                            error_variance=readings.error_variance)
    found = {"censored": float((~exact).mean())}
    for way, each in zip(WAYS, (readings, taken, taken.subset(exact))):
        surface = estimate_surface(each, GRID, WHOLE, seed=number)
        off = surface.estimate.ravel() - field.level
        found[way] = (float(off.mean()), float(np.sqrt((off**2).mean())),
                      covered(field.at_cells, surface.estimate.ravel(),
                              surface.standard_error.ravel()))
    return found


def one_of_counts(kind, seed, count, number):
    """What one field of the third table shows: of each way, bias and coverage of the mean."""
    generator = np.random.default_rng([seed, count, number])
    field = simulated_field(generator, count, *STAND)
    pooled = readings_of(field, kind, generator)
    share = np.where(pooled.values > 0, pooled.values / pooled.values.mean(), 1.0)
    own = replace(pooled, error_variance=pooled.error_variance * share)
    found = {}
    for way, readings in zip(COUNT_WAYS, (pooled, own)):
        mean, error = field_mean(estimate_surface(readings, GRID, WHOLE, seed=number))
        found[way] = mean - field.level.mean(), covered(field.level.mean(), mean, error)
    return found


def one_of_noise(seed, count, number):
    """What one field of the fourth table shows: whether a map that holds, or a hint, was drawn,
    and coverage."""
    generator = np.random.default_rng([seed, count, number])
    kind = KINDS[number % 3]
    field = simulated_field(generator, count, *(STAND if kind.startswith("stand") else DEPTH),
                            shares=(1.0, 1.0))
    surface = estimate_surface(readings_of(field, kind, generator), GRID, WHOLE, seed=number)
    mapped = surface.account["method"] == "ordinary kriging"
    clear = mapped and surface.account["validation"]["skill"] >= CLEAR_SKILL
    return (clear, mapped and not clear,
            covered(field.at_cells, surface.estimate.ravel(), surface.standard_error.ravel()))


def one_of_families(truth, seed, count, number):
    """What one field of the fifth table shows: of each set, RMSE over that of CANDIDATES, coverage.

    Depths without limits.
    """
    generator = np.random.default_rng([seed, count, number])
    field = simulated_field(generator, count, *DEPTH, families=(truth,))
    readings = readings_of(field, "depth", generator)
    found = []
    for families in (CANDIDATES, *FAMILY_SETS.values()):
        surface = estimate_surface(readings, GRID, WHOLE, families=families, seed=number)
        found.append((rmse(surface.estimate.ravel(), field),
                      covered(field.at_cells, surface.estimate.ravel(),
                              surface.standard_error.ravel())))
    return [(off / found[0][0], cells) for off, cells in found]


def one_of_large(nested, seed, count, number):
    """What one field of the sixth table shows: of three models, RMSE over that of the true one."""
    generator = np.random.default_rng([seed, count, number])
    field = simulated_field(generator, count, *DEPTH, nested=nested)
    readings = readings_of(field, "depth", generator)
    every = readings.positions_m, readings.values, readings.error_variance
    picked = generator.choice(count, SOME, replace=False)
    some = [part[picked] for part in every]
    best = next(fit.model for fit in fit_reml(*some) if fit.model.structured)
    fits = [fit.model for fit in fit_moments(*every, families=CANDIDATES) if fit.model.structured]
    single = next(model for model in fits if not model.nested)
    found = []
    for model in (field.model, averaged_model(*some, best), single, fits[0]):
        kriged = krige(*every, model, CELLS)
        found.append((rmse(kriged.estimate, field),
                      covered(field.at_cells, kriged.estimate, np.sqrt(kriged.variance))))
    return [(off / found[0][0], cells) for off, cells in found]


def rmse(estimate, field):
    """Root mean square error against the level of the ground."""
    return float(np.sqrt(((estimate - field.level) ** 2).mean()))


def print_ratios(title, names, results):
    """Print ratios of RMSE and coverage, of each way."""
    for name, part in zip(names, np.swapaxes(results, 0, 1)):
        print(f"{title:<22} {name:<28} {with_error(part[:, 0], 4):<17} {part[:, 1].mean():.3f}",
              flush=True)


def with_error(numbers, digits=3):
    """Mean and its standard error over the fields, as text."""
    numbers = np.asarray(numbers, float)
    error = numbers.std(ddof=1) / np.sqrt(len(numbers)) if len(numbers) > 1 else np.nan
    return f"{numbers.mean():.{digits}f} +- {error:.{digits}f}"


def print_errors(results):
    """Print RMSE ratios, maps kept and coverage, of each setting and of all."""
    print(f"{'readings':<20} {'n':>3} {'fields':>6} {'maps':>5}   "
          + " ".join(f"{'to ' + method:<19}" for method in METHODS[1:])
          + f"   {'cells':<15} {'textbook':>8} {'mean':>5}   bias of the mean", flush=True)
    for kind in (*KINDS, "all"):
        for count in (*COUNTS, "all"):
            some = [one for one in results if kind in (one["kind"], "all")
                    and count in (one["count"], "all")]
            if not some:
                continue
            part = {name: np.array([one[name] for one in some]) for name in some[0]}
            ratios = [with_error(part["surface"] / part[method]) for method in METHODS[1:]]
            print(f"{kind:<20} {count:>3} {len(some):>6} {part['map'].mean():>5.0%}   "
                  + " ".join(f"{ratio:<19}" for ratio in ratios)
                  + f"   {with_error(part['cells']):<15} {part['cells, textbook'].mean():>8.3f} "
                  f"{part['field mean'].mean():>5.2f}   {with_error(part['bias'])}")


def print_censored(share, side, count, results):
    """Print bias, RMSE and coverage of each way with the censored readings."""
    for way in WAYS:
        bias, rmse, cells = np.array([one[way] for one in results]).T
        print(f"{share:>5.0%} {'deeper' if side == ABOVE else 'shallower':<10} {count:>3} "
              f"{way:<10} {with_error(bias, 2):<15} {with_error(rmse, 2):<15} "
              f"{with_error(cells)}")


def print_counts(kind, count, results):
    """Print bias and coverage of the field mean, by where the error of a count comes from."""
    for way in COUNT_WAYS:
        bias, inside = np.array([one[way] for one in results]).T
        print(f"{kind:<16} {count:>3} {way:<12} {with_error(bias):<17} {inside.mean():.2f}")


def main():
    """Draw the fields and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fields", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--table", choices=("errors", "censored", "counts", "noise", "families",
                                            "large"))
    given = parser.parse_args()
    fewer = range(max(given.fields // 4, 2))
    with ProcessPoolExecutor(given.processes) as pool:
        if given.table in (None, "errors"):
            results = []
            for count in COUNTS:
                results += pool.map(partial(one_of_errors, given.seed, count),
                                    range(given.fields), chunksize=5)
            print_errors(results)
        if given.table in (None, "censored"):
            print(f"\n{'share':>5} {'beyond':<10} {'n':>3} {'taken':<10} {'bias, in':<15} "
                  f"{'RMSE, in':<15} cells within 90 %", flush=True)
            for side in (ABOVE, BELOW):
                for share in (0.1, 0.2, 0.4):
                    work = partial(one_of_censored, share, side, given.seed, 40)
                    print_censored(share, side, 40, list(pool.map(work, fewer, chunksize=2)))
        if given.table in (None, "counts"):
            print(f"\n{'counts':<16} {'n':>3} {'error':<12} {'bias, plants/m2':<17} "
                  "field mean within 90 %", flush=True)
            for kind in KINDS[:2]:
                work = partial(one_of_counts, kind, given.seed, 40)
                print_counts(kind, 40, list(pool.map(work, fewer, chunksize=2)))
        if given.table in (None, "noise"):
            print("\n  n fields  maps hints   cells within 90 %", flush=True)
            for count in COUNTS:
                work = partial(one_of_noise, given.seed, count)
                maps, hints, cells = np.array(list(pool.map(work, fewer, chunksize=2)), float).T
                print(f"{count:>3} {len(maps):>6} {maps.mean():>5.0%} {hints.mean():>5.0%}   "
                      f"{with_error(cells)}")
        if given.table in (None, "families"):
            print("\ntruth, n               families compared            RMSE to two      "
                  " cells within 90 %", flush=True)
            for count in COUNTS:
                for truth in TRUTHS:
                    work = partial(one_of_families, truth, given.seed, count)
                    print_ratios(f"{truth}, {count}", ("spherical, exponential", *FAMILY_SETS),
                                 list(pool.map(work, fewer, chunksize=2)))
        if given.table in (None, "large"):
            print("\ntruth, n               model                        RMSE to the true"
                  " cells within 90 %", flush=True)
            for count in LARGE:
                for nested in (False, True):
                    work = partial(one_of_large, nested, given.seed, count)
                    print_ratios(f"{'nested' if nested else 'one range'}, {count}",
                                 ("the true one", f"likelihood of {SOME}", "variogram, one range",
                                  "variogram, best by AICc"),
                                 list(pool.map(work, fewer, chunksize=2)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
