"""Variograms of 2,000 to 50,000 readings: all pairs, and snapped, beside the peers that are there.

Peers are the R package gstat (through Rscript) and GSTools (in the Python that runs this); one
that is missing is named. All take the same readings, cutoff and 15 bins. The answers of all pairs
must agree before times are taken; the snapped one prints how far it is off.
"""
import shutil
import statistics
import subprocess
import sys
import time
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from plugin.core.interpolate.covariance import CANDIDATES
from plugin.core.interpolate.reml import fit_reml
from plugin.core.interpolate.variogram import (
    THREADS,
    experimental_variogram,
    snapped_variogram,
)
from plugin.core.interpolate.variogram_fit import fit_variogram

SIZES = {2_000: 5, 10_000: 5, 50_000: 3}  # readings: timed runs
GSTOOLS_MOST = 10_000  # readings; it takes minutes for more
BINS = 15
GSTAT = """
suppressPackageStartupMessages({library(gstat); library(sp)})
given <- commandArgs(trailingOnly = TRUE)
d <- read.csv(given[1]); coordinates(d) <- ~x + y
cutoff <- as.numeric(given[2])
taken <- numeric()
for (i in 0:as.integer(given[3])) {
  started <- proc.time()[["elapsed"]]
  v <- variogram(z ~ 1, d, cutoff = cutoff, width = cutoff / 15)
  taken <- c(taken, proc.time()[["elapsed"]] - started)
}
cat(median(taken[-1]), "\\n")
cat(sprintf("%.17g", v$np), "\\n"); cat(sprintf("%.17g", v$gamma), "\\n")
"""


def median_seconds(work, times):
    """Return the median wall-clock seconds of `times` runs, after one that warms up."""
    work()
    taken = []
    for _ in range(times):
        started = time.perf_counter()
        work()
        taken.append(time.perf_counter() - started)
    return statistics.median(taken)


def readings(count):
    """Positions in a square of 1 km, and values that vary over some 200 m, with noise."""
    generator = np.random.default_rng(count)
    positions = generator.uniform(0, 1000, (count, 2))
    waves = np.sin(positions[:, 0] / 70) + np.cos(positions[:, 1] / 90)
    return positions, 20 + 3 * waves + generator.normal(0, 2, count)


def gstat(positions, values, cutoff, times):
    """Seconds, pairs and semivariances, or None where R or gstat is missing."""
    if shutil.which("Rscript") is None:
        return None
    with TemporaryDirectory() as folder:
        table, script = Path(folder) / "readings.csv", Path(folder) / "gstat.R"
        np.savetxt(table, np.column_stack([positions, values]), "%.17g", ",", header="x,y,z",
                   comments="")
        script.write_text(GSTAT)
        done = subprocess.run(["Rscript", script, table, repr(cutoff), str(times)],
                              capture_output=True, text=True)
    if done.returncode:
        return None
    lines = [np.array(line.split(), float) for line in done.stdout.splitlines()]
    return float(lines[0][0]), lines[1], lines[2]


def gstools(positions, values, cutoff, times):
    """Seconds, pairs and semivariances, or None where GSTools is missing or would take long."""
    if len(values) > GSTOOLS_MOST:
        return None
    try:
        import gstools
    except ImportError:
        return None
    edges = np.linspace(0, cutoff, BINS + 1)
    work = partial(gstools.vario_estimate, positions.T.copy(), values, edges, return_counts=True)
    _, semivariance, pairs = work()
    return median_seconds(work, times), pairs, semivariance


def main():
    """Print a table of seconds and ratios."""
    print(f"variogram, {BINS} bins up to a third of the diagonal; float64; {THREADS} threads")
    print(f"{'readings':>8} {'way':>10} {'seconds':>9} {'x all pairs':>12}  agreement")
    for count, times in SIZES.items():
        positions, values = readings(count)
        found = experimental_variogram(positions, values)
        snapped = snapped_variogram(positions, values)
        ours = median_seconds(partial(experimental_variogram, positions, values), times)
        fast = median_seconds(partial(snapped_variogram, positions, values), times)
        off = np.abs(snapped.semivariance / found.semivariance - 1).max()
        print(f"{count:>8} {'all pairs':>10} {ours:>9.3f} {1:>12.2f}")
        print(f"{count:>8} {'snapped':>10} {fast:>9.3f} {fast / ours:>12.2f}  semivariance off by "
              f"at most {off:.2%}; distances by {snapped.distance_error_m:.2f} m, as stated")
        for name, peer in (("gstat", gstat), ("GSTools", gstools)):
            theirs = peer(positions, values, found.cutoff_m, times)
            if theirs is None:
                print(f"{count:>8} {name:>10}   missing, or too slow for so many")
                continue
            seconds, pairs, semivariance = theirs
            if not (np.array_equal(pairs, found.pairs)
                    and np.allclose(semivariance, found.semivariance, rtol=1e-9)):
                print(f"{name} and all pairs disagree", file=sys.stderr)
                return 1
            print(f"{count:>8} {name:>10} {seconds:>9.3f} {seconds / ours:>12.2f}  the same pairs; "
                  f"semivariance within 1e-9; {seconds / fast:.1f} x snapped")
    seconds = median_seconds(partial(fit_variogram, found, "spherical"), 5)
    print(f"spherical model fitted to {BINS} bins: {1000 * seconds:.1f} ms")
    few = readings(250)
    for families in (CANDIDATES, (*CANDIDATES, "matern_3_2")):
        seconds = median_seconds(partial(fit_reml, *few, np.ones(250), families=families), 3)
        print(f"restricted likelihood, 250 readings, {', '.join(families)}: {seconds:.2f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
