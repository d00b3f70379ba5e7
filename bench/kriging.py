"""Kriging with its error: readings onto a grid, beside a plain solve of the same system per block.

The plain way solves the kriging system of the textbook (with its Lagrange multiplier) for each
block of cells by LU; the answers must agree before times are taken.
"""
import statistics
import sys
import time
from functools import partial

import numpy as np
from scipy.spatial.distance import cdist

from plugin.core.grid import Grid
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.kriging import krige
from plugin.core.interpolate.leave_one_out import leave_one_out
from plugin.core.interpolate.reml import fit_reml

MODEL = CovarianceModel("exponential", 4.0, 25.0, 80.0)
BLOCK = 20_000


def plain(positions, values, targets):
    """Estimates and variances from the bordered system, solved block by block."""
    count = len(positions)
    system = np.ones((count + 1, count + 1))
    system[:count, :count] = MODEL.covariance(cdist(positions, positions))
    system[np.arange(count), np.arange(count)] += MODEL.nugget
    system[count, count] = 0
    estimate, variance = np.empty(len(targets)), np.empty(len(targets))
    for start in range(0, len(targets), BLOCK):
        block = slice(start, start + BLOCK)
        right = np.ones((count + 1, len(targets[block])))
        right[:count] = MODEL.covariance(cdist(positions, targets[block]))
        solved = np.linalg.solve(system, right)
        estimate[block] = values @ solved[:count]
        variance[block] = MODEL.sill - np.einsum("ij,ij->j", right, solved)
    return estimate, variance


def median_seconds(work, times=5):
    """Return the median wall-clock seconds of `times` runs, after one that warms up."""
    work()
    taken = []
    for _ in range(times):
        started = time.perf_counter()
        work()
        taken.append(time.perf_counter() - started)
    return statistics.median(taken)


def main():
    """Print a table of seconds and ratios."""
    generator = np.random.default_rng(1)
    print(f"{'readings':>8} {'cells':>9} {'kriging s':>10} {'plain s':>8} {'ratio':>6}")
    for count, side in ((100, 500), (250, 500), (250, 1000), (500, 500)):
        positions = generator.uniform(0, 1000, (count, 2))
        values = generator.normal(100, 5, count)
        targets = Grid.covering(0, 0, 1000, 1000, cell_m=1000 / side).centres()
        ours = partial(krige, positions, values, np.zeros(count), MODEL, targets)
        theirs = partial(plain, positions, values, targets)
        found, (estimate, variance) = ours(), theirs()
        # rounding of two factorisations of one well-conditioned matrix
        if not (np.allclose(found.estimate, estimate, rtol=1e-9)
                and np.allclose(found.variance, variance, rtol=1e-8)):
            print("the two ways disagree", file=sys.stderr)
            return 1
        fast, slow = median_seconds(ours), median_seconds(theirs)
        print(f"{count:>8} {len(targets):>9,} {fast:>10.3f} {slow:>8.3f} {slow / fast:>6.1f}")
    positions = generator.uniform(0, 1000, (500, 2))
    values = generator.normal(100, 5, 500)
    seconds = median_seconds(partial(leave_one_out, positions, values, np.zeros(500), MODEL))
    print(f"leave-one-out of 500 readings: {seconds:.4f} s")
    seconds = median_seconds(partial(fit_reml, positions[:60], values[:60], np.ones(60)))
    print(f"fit of three models to 60 readings: {seconds:.3f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
