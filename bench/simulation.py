"""Conditional simulation of whole fields, beside a plain square root of the cells' covariance.

The plain way factorises the covariance of all cells given the readings; it is taken at the
smallest size alone, as it grows with the cube of the cells. There the spread of a zone's mean over
the draws must agree with the closed form before times are taken.
"""
import argparse
import resource
import sys
from functools import partial

import numpy as np

from bench.timing import median_seconds
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


def spread_is_right(readings):
    """Whether the spread of the drawn means is the closed form's, within four of its errors."""
    positions, _, errors, model, grid = readings
    cells = grid.centres()
    covariance = Posterior(positions, errors, model).between(cells, cells)
    closed = np.sqrt(covariance.mean() + model.nugget / len(cells))
    return abs(means(readings).std() / closed - 1) <= 4 / np.sqrt(2 * DRAWS)


def line(family, range_m, count, side, times):
    """Print one case; the large ones are timed once."""
    readings = field(family, range_m, count, side)
    slow = ""
    if side**2 <= MOST_TARGETS:
        if not spread_is_right(readings):
            raise SystemExit("the spread of the draws is not the closed form's")
        plain = partial(conditional_draws, *readings[:4], readings[4].centres())
        slow = f"{median_seconds(plain, times):.2f}"
    seconds = median_seconds(partial(means, readings), times if side < 500 else 1)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
    print(f"{family:>12} {range_m:>8.0f} {count:>8} {side**2:>9,} {seconds:>12.2f} {slow:>8} "
          f"{memory:>9.0f}", flush=True)


def main():
    """Print a table of seconds, and the largest memory up to each line."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--times", type=int, default=5, help="timed runs of each (5)")
    options.add_argument("--only", choices=[str(side) for side in sorted({c[3] for c in CASES})],
                         help="the cases with so many cells along a side")
    given = options.parse_args()
    print(f"{'family':>12} {'range m':>8} {'readings':>8} {'cells':>9} {'200 draws s':>12} "
          f"{'plain s':>8} {'memory MB':>9}")
    for case in CASES:
        if given.only in (None, str(case[3])):
            line(*case, given.times)
    return 0


if __name__ == "__main__":
    sys.exit(main())
