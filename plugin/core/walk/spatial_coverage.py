"""Stops spread over the ground so that no spot lies far from one: k-means on its cells."""
import numpy as np
from scipy.spatial import cKDTree

from ..problems import InputProblem

TRIES = 10  # starts, the best of which is kept
MOST_ROUNDS = 200


def spatial_coverage(cells_m, count, *, seed=1, tick=None):
    """Return the cells (count,) at which stops lie so that the mean squared distance is least.

    Lloyd's rounds from TRIES starts drawn by k-means++; the best end is kept. Each centre is then
    moved to the cell nearest to it among its own, because the middle of a bent piece may lie
    outside the field. The end is a good one, not surely the best there is. The same seed gives
    the same stops. Time grows with cells times TRIES.

    Parameters
        cells_m  (n, 2) centres of cells of equal area, metres
        count    stops wanted, 1 to n
        seed     of the random starts
        tick     called with the fraction done, after each draw and round; may raise Stopped
    Raises   InputProblem: more stops than cells
    Source   Brus, de Gruijter and van Groenigen (2006), in Digital Soil Mapping, ch. 14; Walvoort,
             Brus and de Gruijter (2010), Computers & Geosciences 36:1261-1267. Starts: Arthur and
             Vassilvitskii (2007), k-means++, SODA, 1027-1035 (from memory)
    """
    cells = np.asarray(cells_m, float)
    if not 1 <= count <= len(cells):
        raise InputProblem(f"{count} stops do not go into ground of {len(cells)} cells. Ask for "
                           "fewer.")
    draw, tick = np.random.default_rng(seed), tick or (lambda fraction: None)
    best, least = None, np.inf
    for number in range(TRIES):
        def tell(part, number=number):
            tick((number + part) / TRIES)

        starts = _starts(cells, count, draw, lambda part: tell(0.2 * part))
        centres, squared = _lloyd(cells, starts, lambda part: tell(0.2 + 0.8 * part))
        if squared < least * (1 - 1e-9):
            best, least = centres, squared
    tick(1.0)
    return _own_cells(cells, best)


def mean_squared_distance(cells_m, stops_m):
    """Return the mean squared distance (m2) of cells to the stop nearest to each."""
    apart, _ = cKDTree(stops_m).query(cells_m)
    return float((apart**2).mean())


def _starts(cells, count, draw, tick):
    """Cells drawn with a chance that grows with the squared distance to those drawn before."""
    chosen = [int(draw.integers(len(cells)))]
    squared = ((cells - cells[chosen[0]]) ** 2).sum(axis=1)
    for number in range(1, count):
        tick(number / count)
        total = squared.sum()
        chosen.append(int(draw.choice(len(cells), p=squared / total)))
        squared = np.minimum(squared, ((cells - cells[chosen[-1]]) ** 2).sum(axis=1))
    return cells[chosen]


def _lloyd(cells, centres, tick):
    for number in range(MOST_ROUNDS):
        tick(number / MOST_ROUNDS)
        _, nearest = cKDTree(centres).query(cells)
        sizes = np.bincount(nearest, minlength=len(centres))
        moved = np.column_stack([np.bincount(nearest, cells[:, axis], len(centres))
                                 for axis in (0, 1)]) / np.maximum(sizes, 1)[:, None]
        moved = np.where(sizes[:, None] > 0, moved, centres)
        if np.abs(moved - centres).max() < 1e-6:
            break
        centres = moved
    return centres, mean_squared_distance(cells, centres)


def _own_cells(cells, centres):
    _, nearest = cKDTree(centres).query(cells)
    apart = ((cells - centres[nearest]) ** 2).sum(axis=1)
    order = np.lexsort((apart, nearest))
    _, first = np.unique(nearest[order], return_index=True)
    return order[first]
