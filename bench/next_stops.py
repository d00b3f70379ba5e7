"""What stops chosen by their worth save, beside stops of greatest error and stops at random.

Fields are drawn and read at 20 places; each way of choosing names 5 further stops. Then 50 truths
are drawn that agree with the first readings, each is read at the stops, the map is drawn anew, each
cell is decided by it, and the money lost against that truth is counted. `--fields N` draws N
fields (200), `--readings N` reads them at N places, `--seed S` draws others.
"""
import argparse
import statistics
import sys
import time
from dataclasses import replace

import numpy as np
from scipy.spatial.distance import cdist

from plugin.core.decide.linear_loss import LinearLoss
from plugin.core.decide.next_stops import next_stops
from plugin.core.grid import Grid
from plugin.core.interpolate.conditional_draws import conditional_draws
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.estimate import estimate_surface
from plugin.core.interpolate.kriging import krige
from plugin.core.observations import Observations

TRUTH = CovarianceModel("exponential", 2.0, 16.0, 80.0)  # thousand plants/ac squared; metres
STOPS, DRAWS, ERROR, SPACING_M = 5, 50, 1.5, 20.0
GRID = Grid.covering(0, 0, 400, 400, cell_m=20)
LOSS = LinearLoss(23.0, 10.0, "ha")  # money per thousand plants/ac and hectare
MEAN_SPREAD = 4.0  # of the fields' means about the limit
WAYS = ("by worth", "greatest error", "at random")
CELLS = GRID.centres()
AREA_HA = GRID.cell_area_m2 / 10_000
CELL_SPREAD = np.linalg.cholesky(TRUTH.covariance(cdist(CELLS, CELLS)) + 1e-9 * np.eye(len(CELLS)))


def money_lost(estimate, truth):
    """Mean money lost against truths (d, cells) where each cell is decided by its estimate."""
    wrong = (estimate > LOSS.limit) != (truth > LOSS.limit)
    return LOSS.loss * AREA_HA * (np.abs(truth - LOSS.limit) * wrong).sum(axis=1).mean()


def read_at(cells, truth, generator):
    """Readings on cells: the truth there, the nugget and the reading's own error."""
    spread = np.sqrt(TRUTH.nugget + ERROR**2)
    there = truth[..., cells]
    return there + spread * generator.standard_normal(there.shape)


def free_of(cells, taken):
    """Cells away from the edge and from those taken."""
    apart = cdist(CELLS[cells], CELLS[taken]).min(axis=1)
    return cells[apart >= SPACING_M]


def greatest_error(model, taken, inner):
    """Stops where the kriging variance is greatest, each with those before it as read."""
    chosen = []
    for _ in range(STOPS):
        known = np.append(taken, chosen).astype(int)
        free = free_of(inner, known)
        variance = krige(CELLS[known], np.zeros(len(known)), np.full(len(known), ERROR**2), model,
                         CELLS[free]).variance
        # of a model without structure all are equal: the farthest
        farthest = cdist(CELLS[free], CELLS[known]).min(axis=1)
        tied = np.flatnonzero(variance >= variance.max() * (1 - 1e-9))
        chosen.append(free[tied[farthest[tied].argmax()]])
    return np.array(chosen)


def at_random(taken, inner, generator):
    """Stops at random that keep their distance."""
    chosen = []
    for _ in range(STOPS):
        chosen.append(generator.choice(free_of(inner, np.append(taken, chosen).astype(int))))
    return np.array(chosen)


def lost_after(stops, taken, values, truths, model, generator):
    """Mean money lost where the stops have been read as well, the model kept."""
    cells = np.append(taken, stops)
    read = np.vstack([np.tile(values[:, None], len(truths)),
                      read_at(stops, truths, generator).T])
    estimate = krige(CELLS[cells], read, np.full(len(cells), ERROR**2), model, CELLS).estimate
    return money_lost(estimate.T, truths)


def one_field(generator, model, readings):
    """Money lost before and saved by each way's stops; what `next_stops` foresaw; its seconds.

    A model of None is fitted to the readings, as a user's would be.
    """
    mean = LOSS.limit + MEAN_SPREAD * generator.standard_normal()
    truth = mean + CELL_SPREAD @ generator.standard_normal(len(CELLS))
    rows, columns = np.divmod(np.arange(len(CELLS)), GRID.columns)
    inner = np.flatnonzero((rows > 0) & (columns > 0) & (rows < GRID.rows - 1)
                           & (columns < GRID.columns - 1))
    taken = generator.choice(inner, readings, replace=False)
    values = read_at(taken, truth, generator)
    before = estimate_surface(
        Observations.of("Stand", "thousand plants/ac", CELLS[taken], values,
                        error_variance=np.full(readings, ERROR**2)),
        GRID, np.ones(GRID.shape), model=model)
    used = CovarianceModel(**before.account["model"])
    started = time.perf_counter()
    found = next_stops(before, LOSS, count=STOPS, spacing_m=SPACING_M)
    seconds = time.perf_counter() - started
    chosen = (GRID.cells_of(found.positions_m), greatest_error(used, taken, inner),
              at_random(taken, inner, generator))
    # the decision is on ground without the nugget
    truths = conditional_draws(
        CELLS[taken], values, np.full(readings, ERROR**2 + TRUTH.nugget),
        replace(TRUTH, nugget=0.0), CELLS, draws=DRAWS, seed=int(generator.integers(1 << 31)))
    lost = money_lost(before.estimate.ravel(), truths)
    saved = [lost - lost_after(stops, taken, values, truths, used, generator) for stops in chosen]
    return (lost, *saved, found.lost_now, found.value.sum(), seconds, used.structured)


def table(title, given, model):
    """Print what the ways save, with the standard error of each mean over the fields."""
    generator = np.random.default_rng(given.seed)
    results = np.array([one_field(generator, model, given.readings)
                        for _ in range(given.fields)])
    lost, saved = results[:, 0], results[:, 1:4]
    print(f"\n{title}: {given.fields} fields of {given.readings} readings, a map on "
          f"{results[:, 7].mean():.0%}\nmoney lost before: {lost.mean():.1f} a field "
          f"(foreseen {results[:, 4].mean():.1f})")
    print(f"{'5 stops chosen':<16} {'saved':>6} {'+-':>4} {'share':>6}   less than by worth")
    for number, way in enumerate(WAYS):
        one, behind = saved[:, number], saved[:, 0] - saved[:, number]
        line = f"{way:<16} {one.mean():>6.2f} {error_of(one):>4.2f} "
        line += f"{one.mean() / lost.mean():>6.1%}"
        if number:
            line += f"   {behind.mean():.2f} +- {error_of(behind):.2f}"
        print(line)
    print(f"foreseen by worth: {results[:, 5].mean():.2f}; "
          f"{statistics.median(results[:, 6]):.3f} s for 5 stops of {len(CELLS):,} cells")
    return saved


def error_of(values):
    """Standard error of a mean."""
    return values.std(ddof=1) / np.sqrt(len(values))


def main():
    """Print both tables; fail where stops by worth do not save the most under the true model."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fields", type=int, default=200)
    parser.add_argument("--readings", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    saved = table("The true model is known", given, TRUTH)
    table("The model is fitted to the readings", given, None)
    if saved[:, 0].mean() < saved[:, 1:].mean(axis=0).max():
        print("stops by worth did not save the most", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
