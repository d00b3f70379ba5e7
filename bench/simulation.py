"""Conditional simulation of whole fields, beside a plain square root of the cells' covariance.

The plain way factorises the covariance of all cells given the readings; it is taken at the
smallest size alone, as it grows with the cube of the cells. There the spread of a zone's mean over
the draws must agree with the closed form before times are taken.
"""
import resource
import statistics
import sys
import time
from functools import partial

import numpy as np

from plugin.core.grid import Grid
from plugin.core.interpolate.conditional_draws import MOST_TARGETS, conditional_draws
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.posterior_covariance import Posterior
from plugin.core.interpolate.simulation import simulate

DRAWS = 200
CASES = (  # family, range in m, readings, cells along a side of 5 m each
    ("exponential", 100.0, 60, 44), ("exponential", 100.0, 60, 120), ("spherical", 150.0, 60, 120),
    ("matern_3_2", 100.0, 60, 120), ("gaussian", 100.0, 60, 120), ("exponential", 100.0, 250, 120),
    ("spherical", 150.0, 60, 500), ("exponential", 100.0, 250, 500), ("spherical", 150.0, 60, 1000))


def field(family, range_m, count, side):
    """Return readings, their errors, the model and the grid."""
    generator = np.random.default_rng(1)
    return (generator.uniform(0, 5 * side, (count, 2)), generator.normal(100, 5, count),
            np.full(count, 2.0), CovarianceModel(family, 4.0, 25.0, range_m),
            Grid(0.0, 5.0 * side, 5.0, side, side))


def means(readings):
    """Return the drawn means over the whole field, block by block."""
    return np.concatenate([block.mean(axis=1) for block in simulate(*readings, draws=DRAWS)])


def median_seconds(work, times):
    """Return the median wall-clock seconds of `times` runs, after one that warms up."""
    work()
    taken = []
    for _ in range(times):
        started = time.perf_counter()
        work()
        taken.append(time.perf_counter() - started)
    return statistics.median(taken)


def main():
    """Print a table of seconds, and the largest memory up to each line."""
    print(f"{'family':>12} {'range m':>8} {'readings':>8} {'cells':>9} {'200 draws s':>12} "
          f"{'plain s':>8} {'memory MB':>9}")
    for family, range_m, count, side in CASES:
        readings = field(family, range_m, count, side)
        positions, values, errors, model, grid = readings
        slow = ""
        if side**2 <= MOST_TARGETS:
            cells = grid.centres()
            covariance = Posterior(positions, errors, model).between(cells, cells)
            closed = np.sqrt(covariance.mean() + model.nugget / len(cells))
            if abs(means(readings).std() / closed - 1) > 4 / np.sqrt(2 * DRAWS):
                print("the spread of the draws is not the closed form's", file=sys.stderr)
                return 1
            slow = f"{median_seconds(partial(conditional_draws, *readings[:4], cells), 5):.2f}"
        seconds = median_seconds(partial(means, readings), 5 if side < 500 else 1)
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
        print(f"{family:>12} {range_m:>8.0f} {count:>8} {side**2:>9,} {seconds:>12.2f} {slow:>8} "
              f"{memory:>9.0f}", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
