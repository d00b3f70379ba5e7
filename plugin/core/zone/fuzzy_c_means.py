"""Fuzzy c-means and k-means: cells gathered about centres to which they are alike."""
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from ..interpolate.threads import in_threads
from ..problems import InputProblem
from .standardised import in_a_row, in_blocks

TOGETHER = 144        # blocks x centres at once in a thread: their distances take 2.4 MB
MOST_TOGETHER = 48    # of few centres, so that threads end at about the same time
SAMPLE = 20_000       # cells on which starts are tried
MOST_STEPS = 300
STILL = 1e-6          # centres that move less, in standard deviations, have come to rest
LEAST_SQUARED = 1e-12  # distance that counts as being at the centre; rounding makes it no smaller
NEIGHBOURHOOD = 5     # cells on a side, as Chuang et al. took


@dataclass(frozen=True)
class Gathering:
    """Centres found, what they cost, and how they were come by.

    centres    (k, p) in standard deviations of the layers
    objective  the weighted sum of squared distances that was made least
    steps      taken over all cells
    at_rest    whether the centres stopped moving before MOST_STEPS
    """
    centres: np.ndarray
    objective: float
    steps: int
    at_rest: bool


@dataclass(frozen=True)
class Neighbours:
    """Where the cells of a cloud lie, so that neighbours can have a say.

    cells    (rows, columns) bool, in reading order the cells of the cloud
    weight   power of the neighbours' membership; 1 is usual
    """
    cells: np.ndarray
    weight: float = 1.0


def fuzzy_c_means(cloud, centres, *, fuzzifier=2.0, neighbours=None, tick=None):
    """Return the centres at which the fuzzy sum of squares is least, coming from given ones.

    Each cell belongs to every centre by a membership, 0 to 1. The least is a local one: another
    start may end elsewhere. With neighbours, each membership is weighed by the sum of those around
    the cell before centres move, which makes zones more compact; the sum is then no longer what
    is made least. A centre to which no cell belongs stays where it is. Steps end when no centre
    moves by STILL, or after MOST_STEPS. Memory grows with the threads, and with the cells only
    where neighbours count; time with cells x centres x layers x steps.

    Parameters
        cloud       Cloud
        centres     (k, p) to start from
        fuzzifier   above 1; 2 is usual in books, 1.3 to 1.5 for zones
        neighbours  Neighbours, or None
        tick        called with the share of MOST_STEPS after each step; may raise Stopped
    Returns  Gathering
    Source   Bezdek, J.C. (1981), Pattern Recognition with Fuzzy Objective Function Algorithms,
             ch. 3; neighbours: Chuang, K.-S. et al. (2006), Computerized Medical Imaging and
             Graphics 30, 9-15, eq. 3 to 5 (both from memory)
    """
    if not fuzzifier > 1:
        raise InputProblem(f"The fuzzifier is {fuzzifier:g}; enter a number above 1.")
    if neighbours is None:
        def sums_of(near, points):
            np.maximum(near, LEAST_SQUARED, out=near)
            return _sums(_powered(_shares(near, fuzzifier), fuzzifier), points)
        return _settle(cloud, centres, sums_of, tick)

    def step(centres):
        weights = _powered(memberships(cloud, centres, fuzzifier=fuzzifier, neighbours=neighbours),
                           fuzzifier)
        return _sums(in_blocks(weights), cloud.blocks).sum(axis=0)
    return _repeat(centres, step, tick)


def k_means(cloud, centres, *, tick=None):
    """Return the centres at which the sum of squares is least, coming from given ones.

    Each cell belongs to its nearest centre, the first of several. The least is a local one.

    Parameters
        cloud, centres, tick  as of `fuzzy_c_means`
    Returns  Gathering
    Source   Lloyd, S.P. (1982), IEEE Transactions on Information Theory 28, 129-137
    """
    def sums_of(near, points):
        nearest = _over_centres(np.minimum, near)
        sums = _sums(np.equal(near, nearest).astype(float), points)
        if sums[..., -1].sum() > points[:, -1].sum():  # some cells have two nearest
            first = near.argmin(axis=1)[:, None] == np.arange(near.shape[1])[:, None]
            sums = _sums(first.astype(float), points)
        return sums
    return _settle(cloud, centres, sums_of, tick)


def memberships(cloud, centres, *, fuzzifier=2.0, neighbours=None):
    """Return how far each cell belongs to each centre, (k, n), summing to 1 over the centres.

    Parameters
        cloud, centres, fuzzifier, neighbours  as of `fuzzy_c_means`
    """
    found = np.empty((len(cloud.blocks), len(centres), cloud.blocks.shape[2]))
    formula = _formula(np.asarray(centres, float))

    def work(blocks):
        near = formula @ cloud.blocks[blocks]
        found[blocks] = _shares(np.maximum(near, LEAST_SQUARED, out=near), fuzzifier)
    in_threads(work, _stretches(cloud, centres))
    found = in_a_row(found, cloud.cells)
    return found if neighbours is None else _with_neighbours(found, neighbours)


def spread_centres(cloud, count, generator):
    """Return starting centres, (count, p): cells drawn far from those drawn before.

    Source   Arthur, D. and Vassilvitskii, S. (2007), Proc. 18th ACM-SIAM SODA, 1027-1035
    """
    coordinates = cloud.points()
    drawn = [int(generator.integers(cloud.cells))]
    nearest = np.full(cloud.cells, np.inf)
    for _ in range(count - 1):
        apart = ((coordinates - coordinates[:, drawn[-1], None])**2).sum(axis=0)
        nearest = np.minimum(nearest, apart)
        total = nearest.sum()
        drawn.append(int(generator.choice(cloud.cells, p=nearest / total)) if total > 0
                     else int(generator.integers(cloud.cells)))
    return coordinates[:, drawn].T.copy()


def gather(cloud, count, *, method=fuzzy_c_means, starts=10, seed=0, tick=None, **settings):
    """Return the best Gathering of several starts.

    Starts are tried on at most SAMPLE cells; the best of them goes on over all cells.

    Parameters
        cloud     Cloud
        count     centres, from 2 to the number of cells
        method    fuzzy_c_means or k_means
        starts    1 or more
        seed      the same seed gives the same starts
        tick      called with the fraction done; may raise Stopped
        settings  of the method; neighbours count only over all cells
    Returns  Gathering
    Raises   InputProblem: the count is out of range
    """
    tick = tick or (lambda fraction: None)
    if not 2 <= count <= cloud.cells:
        raise InputProblem(f"{count} zones were asked for; enter 2 or more, and not more than the "
                           f"{cloud.cells} cells that have all values.")
    generator = np.random.default_rng(seed)
    sample = cloud
    if cloud.cells > SAMPLE:
        sample = cloud.part(np.sort(generator.choice(cloud.cells, SAMPLE, replace=False)))
    alone = {name: value for name, value in settings.items() if name != "neighbours"}
    tried = []
    for number in range(starts):
        tried.append(method(sample, spread_centres(sample, count, generator), **alone,
                            tick=lambda part, number=number: tick(0.5 * (number + part) / starts)))
    best = min(tried, key=lambda one: one.objective)
    return method(cloud, best.centres, **settings, tick=lambda part: tick(0.5 + 0.5 * part))


def _stretches(cloud, centres):
    count, step = len(cloud.blocks), min(max(1, TOGETHER // len(centres)), MOST_TOGETHER)
    return [slice(start, min(start + step, count)) for start in range(0, count, step)]


def _sums(weights, points):
    """Return weighted sums of the points (b, p + 2, BLOCK) about each centre, (b, k, p + 2)."""
    return weights @ points.transpose(0, 2, 1)


def _formula(centres):
    """Return the matrix (k, p + 2) that makes squared distances of a cloud's points."""
    return np.column_stack([-2 * centres, np.ones(len(centres)), (centres**2).sum(axis=1)])


def _settle(cloud, centres, sums_of, tick):
    """Move centres to the means that `sums_of` gives from distances and points, until at rest."""
    def step(centres):
        formula = _formula(centres)
        sums = np.empty((len(cloud.blocks), len(centres), cloud.blocks.shape[1]))

        def work(blocks):
            points = cloud.blocks[blocks]
            sums[blocks] = sums_of(formula @ points, points)
        in_threads(work, _stretches(cloud, centres))
        return sums.sum(axis=0)
    return _repeat(centres, step, tick)


def _repeat(centres, step, tick):
    """Take steps, each giving weighted sums (k, p + 2) about the centres, until at rest."""
    centres = np.array(centres, float)
    for number in range(1, MOST_STEPS + 1):
        sums = step(centres)
        weight = sums[:, -1:]
        moved = np.divide(sums[:, :-2], weight, out=centres.copy(), where=weight > 0)
        objective = float((_formula(centres) * sums).sum())
        at_rest = bool(np.abs(moved - centres).max() < STILL)
        centres = moved
        if tick is not None:
            tick(number / MOST_STEPS)
        if at_rest:
            break
    return Gathering(centres, objective, number, at_rest)


def _shares(near, fuzzifier):
    """Return memberships from squared distances (b, k, BLOCK) above 0, in their place."""
    if fuzzifier == 2:
        share = np.divide(1.0, near, out=near)  # several times as fast as np.reciprocal
    else:
        # of shares of the least distance no power can overflow
        share = np.divide(_over_centres(np.minimum, near), near, out=near)
        if fuzzifier == 1.5:
            share *= share
        else:
            np.power(share, 1 / (fuzzifier - 1), out=share)
    total = _over_centres(np.add, share)
    np.divide(1.0, total, out=total)  # one division a cell, not one a centre
    for one in range(share.shape[1]):  # numpy's own way of spreading a factor is ten times slower
        share[:, one] *= total[:, 0]
    return share


def _over_centres(combine, figures):
    """Combine figures (b, k, BLOCK) over the centres, (b, 1, BLOCK); numpy's own way is slower."""
    made = figures[:, :1].copy()
    for one in range(1, figures.shape[1]):
        combine(made, figures[:, one:one + 1], out=made)
    return made


def _powered(share, fuzzifier):
    """Return memberships to the power of the fuzzifier, in their place."""
    if fuzzifier == 2:
        return np.multiply(share, share, out=share)
    if fuzzifier == 1.5:
        share *= np.sqrt(share)
        return share
    return np.power(share, fuzzifier, out=share)


def _with_neighbours(shares, neighbours):
    """Weigh each membership by the sum of those around its cell."""
    def work(one):
        around = np.zeros(neighbours.cells.shape)
        around[neighbours.cells] = shares[one]
        around = ndimage.uniform_filter(around, NEIGHBOURHOOD, mode="constant")
        # a running mean leaves rounding below 0
        shares[one] *= np.maximum(around[neighbours.cells], 0.0)**neighbours.weight
    in_threads(work, range(len(shares)))
    shares /= shares.sum(axis=0)
    return shares
