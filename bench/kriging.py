"""Kriging with its error beside PyKrige, GSTools, the R package gstat, and a plain solve.

Answers must agree before times are taken; a peer that is missing is named. Ours uses THREADS
threads, double precision, and holds at most the numbers printed at once, whatever the grid.

  100-spherical, ...  every one of so many readings weighs on every cell: PyKrige with its compiled
                      backend, GSTools with its compiled core, and the textbook's system with its
                      Lagrange multiplier solved in blocks
  local               the nearest k weigh; gstat
  million             the same with a million readings, of which gstat's time is taken once
  blocks              means over square blocks; gstat with its 4 x 4 nodes
  leave               leave-one-out; gstat's cross-validation
  memory              the most memory held, for 1 and for 10 million cells
"""
import argparse
import resource
import statistics
import sys
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context

import numpy as np
from scipy.spatial.distance import cdist

from bench.timing import in_r, median_seconds, seconds_of
from plugin.core.grid import Grid
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.krige_field import krige_field
from plugin.core.interpolate.kriging import BLOCK_NUMBERS, LOCAL_NUMBERS, krige
from plugin.core.interpolate.leave_one_out import leave_one_out
from plugin.core.interpolate.threads import THREADS

EXPONENTIAL = CovarianceModel("exponential", 4.0, 25.0, 30.0)
SPHERICAL = CovarianceModel("spherical", 4.0, 25.0, 90.0)
BLOCK = 20_000
ALL = ((100, 500), (250, 1000), (500, 500))            # readings, cells along a side
NEAREST = ((10_000, 16, 500), (100_000, 32, 500))      # readings, neighbours, cells along a side
MILLION = ((1_000_000, 32, 500),)
LEFT_OUT = ((500, 500), (2000, 10))                    # readings, of which gstat leaves out
SETTINGS = """
suppressPackageStartupMessages({library(gstat); library(sp)})
given <- commandArgs(trailingOnly = TRUE)
d <- read.csv(given[1]); coordinates(d) <- ~x + y
model <- vgm(25, "Sph", 90, 4)
seconds <- function(times, work)
  median(sapply(1:times, function(i) system.time(work())[["elapsed"]]))
figures <- function(v) cat(sprintf("%.17g", v), "\\n")
"""
GSTAT = SETTINGS + """
at <- read.csv(given[2]); coordinates(at) <- ~x + y
nmax <- if (given[3] == "0") Inf else as.integer(given[3])
block <- if (given[4] == "0") numeric(0) else rep(as.numeric(given[4]), 2)
figures(seconds(as.integer(given[5]), function()
  k <<- krige(z ~ 1, d, at, model, nmax = nmax, block = block, debug.level = 0)))
figures(k$var1.pred[1:2000]); figures(k$var1.var[1:2000])
"""
GSTAT_LEFT_OUT = SETTINGS + """
some <- 1:as.integer(given[2])
figures(seconds(as.integer(given[3]), function() k <<-
  if (length(some) == nrow(d)) krige.cv(z ~ 1, d, model, nfold = nrow(d), verbose = FALSE)
  else do.call(rbind, lapply(some, function(i)
    krige(z ~ 1, d[-i, ], d[i, ], model, debug.level = 0)))))
figures(k$var1.pred); figures(k$var1.var)
"""


def field(count, side=None):
    """Positions, values, and the grid over them, of `side` cells along a square of 1 km."""
    generator = np.random.default_rng(count)
    grid = None if side is None else Grid.covering(0, 0, 1000, 1000, cell_m=1000 / side)
    return generator.uniform(0, 1000, (count, 2)), generator.normal(100, 5, count), grid


def plain(positions, values, model, grid):
    """Estimates and variances from the bordered system, solved block by block."""
    count, targets = len(positions), grid.centres()
    system = np.ones((count + 1, count + 1))
    system[:count, :count] = model.covariance(cdist(positions, positions))
    system[np.arange(count), np.arange(count)] += model.nugget
    system[count, count] = 0
    estimate, variance = np.empty(len(targets)), np.empty(len(targets))
    for start in range(0, len(targets), BLOCK):
        block = slice(start, start + BLOCK)
        right = np.ones((count + 1, len(targets[block])))
        right[:count] = model.covariance(cdist(positions, targets[block]))
        solved = np.linalg.solve(system, right)
        estimate[block] = values @ solved[:count]
        variance[block] = model.sill - np.einsum("ij,ij->j", right, solved)
    return estimate, variance


def pykrige(positions, values, model, grid):
    """Estimates and variances by PyKrige onto the cells of a grid."""
    from pykrige.ok import OrdinaryKriging
    reach = {"exponential": 3.0, "spherical": 1.0}[model.family]  # its ranges are practical ones
    kriging = OrdinaryKriging(*positions.T, values, model.family, variogram_parameters={
        "psill": model.partial_sill, "range": reach * model.range_m, "nugget": model.nugget})
    estimate, variance = kriging.execute("grid", *axes(grid), backend="C")
    return estimate.ravel(), variance.ravel()


def gstools(positions, values, model, grid):
    """Estimates and variances by GSTools onto the cells of a grid."""
    import gstools as gs
    gs.config.NUM_THREADS = THREADS
    like = {"exponential": gs.Exponential, "spherical": gs.Spherical}[model.family](
        dim=2, var=model.partial_sill, len_scale=model.range_m, nugget=model.nugget)
    # its readings are exact unless their error is given: then the nugget is filtered, as in ours
    kriging = gs.krige.Ordinary(like, positions.T, values, exact=False, cond_err="nugget")
    estimate, variance = kriging.structured(axes(grid))
    return estimate.T.ravel(), variance.T.ravel()


def axes(grid):
    """Eastings and northings of the columns and rows of a grid."""
    centres = grid.centres()
    return centres[:grid.columns, 0], centres[::grid.columns, 1]


def agree(found, estimate, variance):
    """End with an error unless the first of both are the same but for rounding."""
    count = len(estimate)
    if not (np.allclose(found[0][:count], estimate, rtol=1e-8)
            and np.allclose(found[1][:count], variance, rtol=1e-7)):
        raise SystemExit("ours and a peer disagree")


def row(task, seconds, peer, theirs):
    """Print a line of the table; `theirs` None where the peer is missing."""
    print(f"{task:<52} {seconds:>8.4f}  {peer:<8}"
          + (" missing" if theirs is None else f" {theirs:>8.3f} {theirs / seconds:>7.1f} x"),
          flush=True)


def kriged(*readings, **options):
    """Our estimates and variances."""
    found = krige(*readings, **options)
    return found.estimate, found.variance


def all_readings(times, model, count, side):
    """Every reading weighs on every cell."""
    positions, values, grid = field(count, side)
    targets = grid.centres()
    ours = partial(kriged, positions, values, np.zeros(count), model, targets)
    seconds, found = median_seconds(ours, times), ours()
    task = f"{count} readings, {len(targets):,} cells, {model.family}"
    for peer in (plain, pykrige, gstools):
        work = partial(peer, positions, values, model, grid)
        try:
            agree(found, *work())
        except ImportError:
            row(task, seconds, peer.__name__, None)
            continue
        row(task, seconds, peer.__name__,
            statistics.median(seconds_of(work) for _ in range(times)))


def beside_gstat(times, count, neighbours, side, block_m=None):
    """One task against gstat, which is timed as often, but for the longest ones."""
    positions, values, grid = field(count, side)
    targets = grid.centres()
    ours = partial(kriged, positions, values, np.zeros(count), SPHERICAL, targets,
                   neighbours=neighbours, block_m=block_m)
    seconds, found = median_seconds(ours, times), ours()
    theirs = in_r(GSTAT, (np.column_stack([positions, values]), targets), neighbours or 0,
                  block_m or 0, 1 if count > 500_000 else times)
    # gstat has other nodes in a block: the estimates differ where that matters
    if theirs is not None and block_m is None:
        agree(found, *theirs[1:])
    row(f"{count:,} readings, {neighbours or 'all'} of them, {len(targets):,} "
        + ("cells" if block_m is None else "blocks"), seconds, "gstat",
        theirs and theirs[0][0])


def nearest(times, tasks):
    """The nearest readings weigh."""
    for task in tasks:
        beside_gstat(times, *task)


def left_out(times):
    """Each reading is estimated from the others; gstat's few are scaled to all of them."""
    for count, some in LEFT_OUT:
        positions, values, _ = field(count)
        ours = partial(leave_one_out, positions, values, np.zeros(count), SPHERICAL)
        seconds, found = median_seconds(ours, times), ours()
        theirs = in_r(GSTAT_LEFT_OUT, (np.column_stack([positions, values]),), some,
                      times if some == count else 1)
        if theirs is not None:
            agree((values - found.errors, found.variance), *theirs[1:])
        row(f"leave-one-out of {count:,}"
            + ("" if some == count else f" (gstat: {count // some} x the time of {some})"),
            seconds, "gstat", theirs and theirs[0][0] * count / some)


def peak_memory(count, neighbours, side):
    """Megabytes held before kriging, and at the most; of a process of its own."""
    positions, values, grid = field(count, side)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    krige_field(grid, np.ones(grid.shape), positions, values[None], np.zeros(count), SPHERICAL,
                neighbours=neighbours)
    return before / 1000, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000


def memory(_times):
    """How much memory grows by beyond the mask of the field and the answer, 24 bytes a cell."""
    print(f"{'memory, MB':<52} {'before':>8} {'most':>8} {'answer':>8} {'more':>8}")
    for count, neighbours in ((250, None), (100_000, 32)):
        for side in (1000, 3162):
            with ProcessPoolExecutor(1, get_context("spawn")) as pool:
                before, most = pool.submit(peak_memory, count, neighbours, side).result()
            answer = 24 * side**2 / 1e6
            print(f"{count:,} readings, {neighbours or 'all'} of them, {side**2:,} cells".ljust(52)
                  + f" {before:>8.0f} {most:>8.0f} {answer:>8.0f} {most - before - answer:>8.0f}",
                  flush=True)


PARTS = {**{f"{count}-{model.family}": partial(all_readings, model=model, count=count, side=side)
            for count, side in ALL for model in (EXPONENTIAL, SPHERICAL)},
         "local": partial(nearest, tasks=NEAREST),
         "million": partial(nearest, tasks=MILLION),
         "blocks": partial(nearest, tasks=((250, None, 250, 5.0),)),
         "leave": left_out, "memory": memory}


def main():
    """Print a table of seconds and ratios."""
    options = argparse.ArgumentParser(description=__doc__,
                                      formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--times", type=int, default=5, help="timed runs of each (5)")
    options.add_argument("--only", choices=PARTS, help="one part")
    given = options.parse_args()
    print(f"medians of {given.times} runs; {THREADS} threads; float64; at most {BLOCK_NUMBERS:,} "
          f"covariances, or {LOCAL_NUMBERS:,} numbers of local systems, in each thread")
    print(f"{'task, estimate and variance':<52} {'ours s':>8}  {'peer':<8} {'peer s':>8} "
          f"{'ratio':>7}")
    for name, part in PARTS.items():
        if given.only in (None, name):
            part(given.times)
    return 0


if __name__ == "__main__":
    sys.exit(main())
