"""Variograms of 2,000 to 50,000 readings: all pairs, and snapped, beside the peers that are there.

Peers are the R package gstat (through Rscript) and GSTools (in the Python that runs this); one
that is missing is named. All take the same readings, cutoff and 15 bins. The answers of all pairs
must agree before times are taken; the snapped one prints how far it is off.

  2000, 10000, 50000  the variogram of so many readings
  fits                a model fitted to the bins, and by restricted likelihood
"""
import argparse
import sys
from functools import partial

import numpy as np

from bench.timing import in_r, median_seconds
from plugin.core.interpolate.covariance import CANDIDATES
from plugin.core.interpolate.reml import fit_reml
from plugin.core.interpolate.threads import THREADS
from plugin.core.interpolate.variogram import experimental_variogram, snapped_variogram
from plugin.core.interpolate.variogram_fit import fit_variogram

SIZES = (2_000, 10_000, 50_000)
GSTOOLS_MOST = 10_000  # readings; it takes minutes for more
BINS = 15
GSTAT = """
suppressPackageStartupMessages({library(gstat); library(sp)})
given <- commandArgs(trailingOnly = TRUE)
d <- read.csv(given[1]); coordinates(d) <- ~x + y
cutoff <- as.numeric(given[2])
work <- function() v <<- variogram(z ~ 1, d, cutoff = cutoff, width = cutoff / 15)
work()
cat(median(sapply(1:as.integer(given[3]), function(i) system.time(work())[["elapsed"]])), "\\n")
cat(sprintf("%.17g", v$np), "\\n"); cat(sprintf("%.17g", v$gamma), "\\n")
"""


def readings(count):
    """Positions in a square of 1 km, and values that vary over some 200 m, with noise."""
    generator = np.random.default_rng(count)
    positions = generator.uniform(0, 1000, (count, 2))
    waves = np.sin(positions[:, 0] / 70) + np.cos(positions[:, 1] / 90)
    return positions, 20 + 3 * waves + generator.normal(0, 2, count)


def gstat(positions, values, cutoff, times):
    """Seconds, pairs and semivariances, or None where R or gstat is missing."""
    found = in_r(GSTAT, (np.column_stack([positions, values]),), repr(float(cutoff)), times)
    return found and (float(found[0][0]), *found[1:])


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


def beside_peers(count, times):
    """All pairs and snapped, then the peers."""
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
            raise SystemExit(f"{name} and all pairs disagree")
        print(f"{count:>8} {name:>10} {seconds:>9.3f} {seconds / ours:>12.2f}  the same pairs; "
              f"semivariance within 1e-9; {seconds / fast:.1f} x snapped", flush=True)


def fits(times):
    """Models fitted to bins and to readings."""
    bins = experimental_variogram(*readings(2_000))
    seconds = median_seconds(partial(fit_variogram, bins, "spherical"), times)
    print(f"spherical model fitted to {BINS} bins: {1000 * seconds:.1f} ms")
    for count, families in ((60, CANDIDATES), (250, CANDIDATES),
                            (250, (*CANDIDATES, "matern_3_2"))):
        work = partial(fit_reml, *readings(count), np.ones(count), families=families)
        print(f"restricted likelihood, {count} readings, {', '.join(families)}: "
              f"{median_seconds(work, times):.2f} s", flush=True)


PARTS = {**{str(count): partial(beside_peers, count) for count in SIZES}, "fits": fits}


def main():
    """Print a table of seconds and ratios."""
    options = argparse.ArgumentParser(description=__doc__,
                                      formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--times", type=int, default=5, help="timed runs of each (5)")
    options.add_argument("--only", choices=PARTS, help="one part")
    given = options.parse_args()
    print(f"variogram, {BINS} bins up to a third of the diagonal; float64; {THREADS} threads; "
          f"medians of {given.times}")
    print(f"{'readings':>8} {'way':>10} {'seconds':>9} {'x all pairs':>12}  agreement")
    for name, part in PARTS.items():
        if given.only in (None, name):
            part(given.times)
    return 0


if __name__ == "__main__":
    sys.exit(main())
