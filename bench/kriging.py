"""Kriging with its error onto a grid, beside PyKrige, the R package gstat, and a plain solve.

All readings weigh on every cell: PyKrige with its compiled backend, and the textbook's system with
its Lagrange multiplier solved block by block. The nearest k weigh: gstat (through Rscript). A peer
that is missing is named. Answers must agree before times are taken. Ours uses THREADS threads,
double precision, and holds at most the numbers printed at once, whatever the grid.
"""
import argparse
import shutil
import statistics
import subprocess
import sys
import time
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from scipy.spatial.distance import cdist

from plugin.core.grid import Grid
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.kriging import BLOCK_NUMBERS, LOCAL_NUMBERS, krige
from plugin.core.interpolate.leave_one_out import leave_one_out
from plugin.core.interpolate.reml import fit_reml
from plugin.core.interpolate.threads import THREADS

EXPONENTIAL = CovarianceModel("exponential", 4.0, 25.0, 30.0)
SPHERICAL = CovarianceModel("spherical", 4.0, 25.0, 90.0)
BLOCK = 20_000
ALL = ((100, 500), (250, 1000), (500, 500))            # readings, cells along a side
NEAREST = ((10_000, 16, 500), (100_000, 32, 500))      # readings, neighbours, cells along a side
GSTAT = """
suppressPackageStartupMessages({library(gstat); library(sp)})
given <- commandArgs(trailingOnly = TRUE)
d <- read.csv(given[1]); coordinates(d) <- ~x + y
at <- read.csv(given[2]); coordinates(at) <- ~x + y
block <- if (given[5] == "0") numeric(0) else rep(as.numeric(given[5]), 2)
nmax <- if (given[3] == "0") Inf else as.integer(given[3])
taken <- numeric()
for (i in 1:as.integer(given[4])) {
  started <- proc.time()[["elapsed"]]
  k <- krige(z ~ 1, d, at, vgm(25, "Sph", 90, 4), nmax = nmax, block = block, debug.level = 0)
  taken <- c(taken, proc.time()[["elapsed"]] - started)
}
cat(median(taken), "\\n")
cat(sprintf("%.17g", k$var1.pred[1:2000]), "\\n"); cat(sprintf("%.17g", k$var1.var[1:2000]), "\\n")
"""


def plain(positions, values, model, targets):
    """Estimates and variances from the bordered system, solved block by block."""
    count = len(positions)
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
    eastings, northings = grid.centres()[:grid.columns, 0], grid.centres()[::grid.columns, 1]
    estimate, variance = kriging.execute("grid", eastings, northings, backend="C")
    return estimate.ravel(), variance.ravel()


def gstat(positions, values, neighbours, targets, times, block_m=0):
    """Median seconds, and the first 2,000 estimates and variances; None where it is missing."""
    if shutil.which("Rscript") is None:
        return None
    with TemporaryDirectory() as folder:
        names = [Path(folder) / name for name in ("readings.csv", "cells.csv", "gstat.R")]
        np.savetxt(names[0], np.column_stack([positions, values]), "%.17g", ",", header="x,y,z",
                   comments="")
        np.savetxt(names[1], targets, "%.17g", ",", header="x,y", comments="")
        names[2].write_text(GSTAT)
        done = subprocess.run(
            ["Rscript", names[2], *names[:2], str(neighbours), str(times), repr(block_m)],
            capture_output=True, text=True)
    if done.returncode:
        return None
    seconds, estimate, variance = (np.array(line.split(), float)
                                   for line in done.stdout.splitlines())
    return float(seconds[0]), estimate, variance


def median_seconds(work, times):
    """Return the median wall-clock seconds of `times` runs, after one that warms up."""
    work()
    return statistics.median(seconds_of(work) for _ in range(times))


def seconds_of(work):
    """Wall-clock seconds of one run."""
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def agree(found, estimate, variance):
    """Whether estimates and variances are the same but for the rounding of two factorisations."""
    count = len(estimate)
    return (np.allclose(found.estimate[:count], estimate, rtol=1e-8)
            and np.allclose(found.variance[:count], variance, rtol=1e-7))


def row(task, seconds, peer, theirs):
    print(f"{task:<52} {seconds:>8.3f}  {peer:<8}"
          + (" missing" if theirs is None else f" {theirs:>8.3f} {theirs / seconds:>7.1f} x"),
          flush=True)


def all_readings(generator, times):
    """Every reading weighs on every cell."""
    for model in (EXPONENTIAL, SPHERICAL):
        for count, side in ALL:
            positions = generator.uniform(0, 1000, (count, 2))
            values = generator.normal(100, 5, count)
            grid = Grid.covering(0, 0, 1000, 1000, cell_m=1000 / side)
            targets = grid.centres()
            ours = partial(krige, positions, values, np.zeros(count), model, targets)
            peers = {"plain": partial(plain, positions, values, model, targets)}
            try:
                import pykrige as _  # noqa: F401
                peers["PyKrige"] = partial(pykrige, positions, values, model, grid)
            except ImportError:
                print("PyKrige is missing")
            seconds, found = median_seconds(ours, times), ours()
            for name, peer in peers.items():
                if not agree(found, *peer()):
                    raise SystemExit(f"ours and {name} disagree")
                row(f"{count} readings, {len(targets):,} cells, {model.family}", seconds, name,
                    statistics.median(seconds_of(peer) for _ in range(times)))


def nearest_readings(generator, times):
    """The nearest readings weigh; and blocks."""
    tasks = [(count, neighbours, side, None) for count, neighbours, side in NEAREST]
    for count, neighbours, side, block_m in [*tasks, (250, None, 250, 4.0)]:
        positions = generator.uniform(0, 1000, (count, 2))
        values = generator.normal(100, 5, count)
        targets = Grid.covering(0, 0, 1000, 1000, cell_m=1000 / side).centres()
        ours = partial(krige, positions, values, np.zeros(count), SPHERICAL, targets,
                       neighbours=neighbours, block_m=block_m)
        seconds, found = median_seconds(ours, times), ours()
        theirs = gstat(positions, values, neighbours or 0, targets, times, block_m or 0)
        # gstat has other nodes in a block: the estimates differ where that matters
        if theirs is not None and block_m is None and not agree(found, *theirs[1:]):
            raise SystemExit("ours and gstat disagree")
        row(f"{count:,} readings, {neighbours or 'all'} of them, {len(targets):,} "
            + ("cells" if block_m is None else "blocks"), seconds, "gstat",
            theirs and theirs[0])


def main():
    """Print a table of seconds and ratios."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--times", type=int, default=5, help="timed runs of each (5)")
    times = options.parse_args().times
    generator = np.random.default_rng(1)
    print(f"medians of {times} runs; {THREADS} threads; float64; at most {BLOCK_NUMBERS:,} "
          f"covariances, or {LOCAL_NUMBERS:,} numbers of local systems, in each thread")
    print(f"{'task, estimate and variance':<52} {'ours s':>8}  {'peer':<8} {'peer s':>8} "
          f"{'ratio':>7}")
    all_readings(generator, times)
    nearest_readings(generator, times)
    positions = generator.uniform(0, 1000, (500, 2))
    values = generator.normal(100, 5, 500)
    seconds = median_seconds(partial(leave_one_out, positions, values, np.zeros(500), EXPONENTIAL),
                             times)
    print(f"leave-one-out of 500 readings: {seconds:.4f} s")
    seconds = median_seconds(partial(fit_reml, positions[:60], values[:60], np.ones(60)), times)
    print(f"fit of three models to 60 readings: {seconds:.3f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
