"""The readings nearest to targets, as the model counts distance, found for a tile at a time."""
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

OCTANT_CANDIDATES = 4  # nearest readings looked at, for each neighbour wanted
SPARE = 8              # more of them for one target, to tell apart those equally far away
ROUNDING = 1e-12       # of a distance: more than two ways of working it out differ by
TILE_SIDE = 4          # most targets along a tile
TILE_SHARE = 0.06      # of the ground a target's neighbours come from, that a tile covers
SLAB_NUMBERS = 60_000  # distances worked out at once: 0.5 MB, so that they stay in the cache
PROBES = 50            # targets at which the distance to the last neighbour is looked up
LEAF = 24              # most readings in a leaf of the tree
TOGETHER = 64          # readings of a square whose readings lie side by side in memory, as a rule


@dataclass(frozen=True)
class Tiling:
    """How targets are gathered into tiles.

    order       (m,) numbers of the targets; those of a tile follow each other
    size        targets of a tile
    candidates  readings to look at for a tile, so that they hold the nearest of most targets
    """
    order: np.ndarray
    size: int
    candidates: int


class Neighbourhood:
    """Finds the nearest readings of targets, in the stretched distance of an anisotropic model.

    Of readings equally far away the first ones count, in the order of the readings, but for those
    that more than SPARE others share the distance with. With octants, each of the eight octants
    around a target gives its nearest readings, an eighth of the number wanted rounded up, as far
    as it holds any among the OCTANT_CANDIDATES times as many nearest; what is then lacking is
    filled with the nearest left.

    Parameters
        positions_m  (n, 2) metres
        model        CovarianceModel
        count        neighbours of each target, at most n
        octants      whether they are spread over the octants
    """

    def __init__(self, positions_m, model, count, *, octants=False):
        self._model, self._count, self._octants = model, count, octants
        self._stretched = model.stretched(positions_m)
        self._along = self._stretched.T.copy()
        # readings side by side on the ground lie side by side in memory, so that they stay in the
        # cache; among them a tree with cells cut in the middle is found in as few steps as a
        # balanced one, and built in a sixth of the time
        self._order = _by_squares(self._stretched)
        self._tree = cKDTree(self._stretched[self._order], leafsize=LEAF, balanced_tree=False,
                             compact_nodes=False)

    def of(self, targets_m):
        """Return (m, count) numbers of readings of (m, 2) targets, metres."""
        targets = self._model.stretched(targets_m)
        if self._octants:
            return self._spread(targets, self._nearest(targets, self._count * OCTANT_CANDIDATES)[1])
        apart, which = self._nearest(targets, self._count + 1)
        which = which[:, :self._count]
        tied = np.flatnonzero(apart[:, -1] <= apart[:, self._count - 1] * (1 + ROUNDING))
        if len(tied):
            near, chosen, _ = self._chosen(targets[tied, None], self._count + SPARE)
            which[tied] = near[chosen[:, 0]].reshape(-1, self._count)
        return which

    def of_tiles(self, tiles_m, candidates):
        """Return which of the readings near a tile are the nearest of each of its targets.

        The readings nearest to the tile's centre are looked up once. They hold the nearest of a
        target for certain where these are closer to it than any other reading can be.

        Parameters
            tiles_m     (b, t, 2) metres, t targets in each tile
            candidates  of tiling
        Returns  (b, c) numbers of readings; (b, t, c) whether they are among the `count` nearest
                 of a target; (b,) whether that is certain for all targets of a tile
        """
        return self._chosen(self._model.stretched(tiles_m), candidates)

    def tiling(self, targets_m):
        """Return the Tiling of (m, 2) targets, m at least 1, metres, given in any order.

        Tiles are squares of a regular grid, where the targets are one; with octants, single
        targets.
        """
        targets = self._model.stretched(targets_m)
        low, extent = targets.min(axis=0), np.ptp(targets, axis=0)
        apart = np.sqrt(extent.prod() / len(targets))
        apart = max(np.sqrt((extent + apart).prod() / len(targets)),
                    extent.max() / len(targets), 1e-9)
        probes = np.linspace(0, len(targets) - 1, PROBES).astype(int)
        reach = np.median(self._nearest(targets[probes], self._count)[0][:, -1])
        side, further = 1, 0.0
        if not self._octants:
            most = min(TILE_SIDE, int(np.sqrt(len(targets))))
            side = int(np.clip(np.sqrt(TILE_SHARE * np.pi) * reach / apart, 1, most))
        if side > 1:  # the corner's neighbours reach further, seen from the centre
            further = self._count * ((1 + (side - 1) * apart / np.sqrt(2) / reach)**2 - 1)
        band = np.floor((targets[:, 1] - low[1]) / (side * apart) + 0.5 / side)
        order = np.lexsort([targets[:, 0], band])
        return Tiling(order, side**2, int(self._count + further + 3 * np.sqrt(further) + 2))

    def _nearest(self, places, count):
        apart, which = self._tree.query(places, k=range(1, min(count, self._tree.n) + 1))
        return apart, self._order[which]

    def _chosen(self, tiles, candidates):
        centre = (tiles.min(axis=1) + tiles.max(axis=1)) / 2
        apart, which = self._nearest(centre, candidates)
        beyond = apart[:, -1] if which.shape[1] < self._tree.n else np.inf
        which = np.sort(which, axis=1)
        chosen = np.empty((*tiles.shape[:2], which.shape[1]), bool)
        last = np.empty(tiles.shape[:2])
        step = max(1, SLAB_NUMBERS // chosen[0].size)
        for first in range(0, len(tiles), step):
            slab = slice(first, first + step)
            chosen[slab], last[slab] = self._choose(tiles[slab], which[slab])
        aside = np.sqrt(_square(np.moveaxis(tiles - centre[:, None], -1, 0)))
        return which, chosen, (last + aside).max(axis=1) < beyond * (1 - ROUNDING)

    def _choose(self, tiles, which):
        """Which of the candidates (b, c) are the nearest (b, t, c), and how far the last is."""
        place = self._along.take(which, axis=1)[:, :, None]
        square = _square(place - np.moveaxis(tiles, -1, 0)[..., None])
        last = np.partition(square, self._count - 1)[..., self._count - 1, None]
        chosen = square <= last
        if np.count_nonzero(chosen) > last.size * self._count:
            tied = square == last
            lacking = self._count - np.count_nonzero(square < last, axis=-1)
            chosen &= ~tied | (np.cumsum(tied, axis=-1) <= lacking[..., None])
        return chosen, np.sqrt(last[..., 0])

    def _spread(self, targets, which):
        east, north = np.moveaxis(self._stretched[which] - targets[:, None], -1, 0)
        octant = (np.floor(np.arctan2(north, east) / (np.pi / 4)).astype(int)) % 8
        in_octant = octant[..., None] == np.arange(8)
        rank = np.take_along_axis(np.cumsum(in_octant, axis=1), octant[..., None], axis=2)[..., 0]
        late = rank > -(-self._count // 8)
        order = np.argsort(late, axis=1, kind="stable")[:, :self._count]
        return np.take_along_axis(which, order, axis=1)


def _by_squares(places):
    """The order (n,) of places (n, 2) by square, row after row of squares."""
    low, extent = places.min(axis=0), np.ptp(places, axis=0)
    along = int(np.sqrt(len(places) / TOGETHER)) + 1
    column, row = np.minimum(((places - low) / np.maximum(extent, 1e-9) * along), along - 1).T
    return np.argsort(row.astype(np.int32) * along + column.astype(np.int32), kind="stable")


def _square(offset):
    """Squared lengths of offsets (2, ...), which are overwritten."""
    np.square(offset, out=offset)
    return np.add(offset[0], offset[1], out=offset[0])
