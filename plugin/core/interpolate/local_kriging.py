"""Kriging in which only the nearest readings weigh on a target: many small systems at once.

Targets close to each other share most of their nearest readings. So they are gathered into tiles,
and unknowns are eliminated from the textbook's system of a target in three steps: first, once for
its tile, those of the readings that all targets of the tile share; then those of its own readings;
then the drift's. What is left of the target's column are its variance and its estimates. The
systems of a batch lie side by side, the number of the tile or target last, so that each step of
the elimination is one operation on whole rows of them.
"""
import numpy as np

from ..long_call import long_call
from ..problems import InputProblem
from .neighbourhood import Neighbourhood
from .readings_system import LEAST_INFORMATION, check_places, undetermined
from .target_covariance import TargetCovariance
from .threads import OfThread, in_turn

STRIP = 100_000            # targets put in order at once
PART_WEIGHTS = 400_000     # most weights worked out in one task of a thread: below 0.2 s
BATCH_NUMBERS = 2_000_000  # numbers in the systems of one batch of tiles: 16 MB
LEAST_BATCHES = 2          # of a part, so that the tiles of one share about as many readings
CHUNK = 100_000            # covariances worked out at once: 0.8 MB, so that they stay in the cache
PANEL = 4                  # unknowns eliminated together: what is before them is read once for all


def krige_local(positions, values, errors, model, targets, *, neighbours, columns, block_m,
                octants, numbers, tick):
    """Return estimates (m, d) and variances (m,); arguments as for krige, values (n, d).

    Parameters
        columns  the pair that drift_columns returns
        octants  whether neighbours are spread over the eight octants
        numbers  numbers in the systems of one task of a thread, between two ticks
    """
    check_places(positions, errors, model)
    work = _Local(positions, values, errors, model, columns[0], neighbours, block_m)
    near = long_call(lambda: Neighbourhood(positions, model, neighbours, octants=octants), tick)
    estimate, variance = np.empty((len(targets), values.shape[1])), np.empty(len(targets))
    most = max(1, PART_WEIGHTS // max(neighbours, 16))
    tiles_of_part = max(1, numbers // (neighbours * (neighbours + values.shape[1] - 1)))

    def solve(tiles, which, chosen):
        estimate[tiles], variance[tiles] = work.at(targets[tiles], columns[1][tiles], which, chosen)

    def fill(part_and_tiling):
        part, tiling = part_and_tiling
        count = len(part)
        if tiling.size > 1:
            tiles = np.pad(part, (0, -len(part) % tiling.size), mode="edge")
            tiles = tiles.reshape(-1, tiling.size)
            which, chosen, certain = near.of_tiles(targets[tiles], tiling.candidates)
            solve(tiles[certain], which[certain], chosen[certain])
            part = np.unique(tiles[~certain])
        if len(part):
            solve(part[:, None], near.of(targets[part]), np.ones((len(part), 1, neighbours), bool))
        return count

    def parts():
        for start in range(0, len(targets), STRIP):
            tiling = near.tiling(targets[start:start + STRIP])
            order, step = start + tiling.order, min(tiling.size * tiles_of_part, most)
            for first in range(0, len(order), step):
                yield order[first:first + step], tiling

    done = 0

    def tell(count):
        nonlocal done
        done += count
        if tick is not None:
            tick(done / len(targets))

    in_turn(fill, parts(), tell)
    return estimate, variance


class _Local:
    def __init__(self, positions, values, errors, model, columns, neighbours, block_m):
        if neighbours < columns.shape[1] + 1 and columns.shape[1] > 1:
            raise InputProblem(f"{neighbours} neighbours cannot show a drift of "
                               f"{columns.shape[1] - 1} columns and a constant; ask for more.")
        self.positions, self.stretched = positions.T.copy(), model.stretched(positions).T.copy()
        self.diagonal = model.partial_sill + model.nugget + errors
        self.columns, self.values = columns.T.copy(), values.T.copy()
        self.count = neighbours
        self.model, self.toward = model, TargetCovariance(model, block_m)
        self._rooms = OfThread(lambda: (_Room(), _Room()))

    def at(self, targets, columns, which, chosen):
        """Estimates (b, t, d) and variances (b, t) of b tiles of t targets.

        Parameters
            targets  (b, t, 2)
            columns  (b, t, q) drift at the targets
            which    (b, c) numbers of readings
            chosen   (b, t, c) which of them weigh on a target
        """
        tiles, size = chosen.shape[:2]
        estimate, variance = np.empty((tiles, size, len(self.values))), np.empty((tiles, size))
        takers = np.count_nonzero(chosen, axis=1)
        order = np.argsort(-takers, axis=1, kind="stable")  # first those that all targets share
        which = np.take_along_axis(which, order, axis=1)
        chosen = np.take_along_axis(chosen, order[:, None], axis=2)
        shared, used = (takers == size).sum(axis=1), (takers > 0).sum(axis=1)
        width = used.max(initial=0) + len(self.columns) + size
        most = BATCH_NUMBERS // (width * (width + len(self.values)))
        batch = max(1, min(most, tiles // LEAST_BATCHES))
        alike, rooms = np.argsort(shared), self._rooms()
        for first in range(0, tiles, batch):
            some = alike[first:first + batch]
            readings = used[some].max()
            estimate[some], variance[some] = self._batch(
                targets[some], columns[some], which[some, :readings],
                chosen[some, :, :readings], shared[some[0]], rooms)
        return estimate, variance

    def _batch(self, targets, columns, which, chosen, common, rooms):
        """As at, of tiles in which every target chooses the first `common` readings."""
        tiles, size = chosen.shape[:2]
        kinds = len(self.columns)
        table = self._tile_systems(targets, columns, np.ascontiguousarray(which.T), rooms)
        sound = (_eliminate(table, common) > 0).all()
        table = _own_systems(table, chosen, common, kinds, rooms[1])
        own = self.count - common
        if not (sound and (_eliminate(table, own) > 0).all()):
            raise undetermined(self.positions.shape[1])
        left = table[own:, own:]
        least = _diagonal(left)[:kinds] * LEAST_INFORMATION
        if not (_eliminate(left, kinds) < least).all():
            raise InputProblem(f"The nearest {self.count} readings of some places cannot show the "
                               "drift: they lie in one line, or a column is the same at all of "
                               "them. Ask for more neighbours, or leave the drift out.")
        variance, estimate = left[kinds, kinds], -left[kinds + 1:, kinds]
        return estimate.T.reshape(tiles, size, -1), np.maximum(variance, 0.0).reshape(tiles, size)

    def _tile_systems(self, targets, columns, which, rooms):
        """The systems of tiles; unknowns are readings, drift and targets, below them the values.

        Only the lower part is of use. Between targets, and between drift columns, all is 0.
        """
        readings, tiles = which.shape
        drift, end = readings + len(self.columns), readings + len(self.columns) + targets.shape[1]
        table = rooms[0].of(end + len(self.values), end, tiles)
        place = self.stretched.take(which, axis=1)
        self._fill_pairs(table, place, rooms[1])
        _diagonal(table)[:readings] = self.diagonal.take(which)
        table[readings:, readings:] = 0.0
        table[readings:drift, :readings] = self.columns.take(which, axis=1)
        if self.model.ratio != 1:
            place = self.positions.take(which, axis=1)
        for row, target in enumerate(np.moveaxis(targets, 0, -1), start=drift):
            table[row, :readings] = self.toward.between(*(target[:, None] - place))
        table[drift:end, readings:drift] = np.moveaxis(columns, 0, -1)
        _diagonal(table)[drift:] = self.toward.own_variance
        table[end:, :readings] = self.values.take(which, axis=1)
        return table

    def _fill_pairs(self, table, place, room):
        """Put the covariances of readings, each with all before it, into systems.

        Rows are worked out a few at a time, so that what is between stays in the cache.
        """
        _, readings, tiles = place.shape
        most, first = max(readings, CHUNK // tiles), 1
        while first < readings:
            last = min(readings, max(first + 1, int(np.sqrt(first**2 + 2 * most))))
            starts = np.cumsum([0, *range(first, last)])
            offset = room.of(2, starts[-1], tiles)
            for row, start in zip(range(first, last), starts):
                np.subtract(place[:, row, None], place[:, :row], out=offset[:, start:start + row])
            apart = np.add(*np.square(offset, out=offset), out=offset[0])
            covariance = self.model.covariance(np.sqrt(apart, out=apart))
            for row, start in zip(range(first, last), starts):
                table[row, :row] = covariance[start:start + row]
            first = last


class _Room:
    """Memory that batches use one after the other: fresh pages cost more than what fills them."""

    def __init__(self):
        self._numbers = np.empty(0)

    def of(self, *shape):
        """An array of that shape, whatever it holds; it takes the place of the one before."""
        size = int(np.prod(shape))
        if len(self._numbers) < size:
            self._numbers = np.empty(size)
        return self._numbers[:size].reshape(shape)


def _own_systems(table, chosen, common, kinds, room):
    """The system of each target, out of its tile's in which `common` readings are eliminated."""
    tiles, size, readings = chosen.shape
    drift, end, systems = readings + kinds, readings + kinds + size, tiles * size
    own = np.nonzero(chosen[..., common:])[2].reshape(systems, -1).T + common
    row = np.concatenate([
        own, np.tile(np.arange(readings, drift)[:, None], systems),
        np.tile(np.arange(drift, end), tiles)[None],
        np.tile(np.arange(end, len(table))[:, None], systems)])
    column = (row * tiles + np.repeat(np.arange(tiles), size))[:len(own) + kinds + 1]
    numbers, line = table.reshape(-1), table[0].size
    found = room.of(len(row), len(column), systems)
    for number, below in enumerate(row):
        upto = column[:number + 1]
        numbers.take(below * line + upto, out=found[number, :len(upto)], mode="clip")
    return found


def _diagonal(table):
    """The diagonals (size, b) of systems (rows, size, b), as a view."""
    return np.einsum("iib->ib", table[:table.shape[1]])


def _eliminate(table, size):
    """Eliminate the first `size` unknowns from symmetric systems, in place; return their pivots.

    Each system is bordered below by further rows. Of the whole the lower part is read and changed;
    what else is changed above it, among the unknowns of a panel, is never used.
    A pivot of 0 leaves what is no number, and no warning.

    Parameters
        table  (rows, columns, b), b systems side by side
    Returns  (size, b)
    """
    pivots, inverse = _diagonal(table)[:size], np.empty((size, table.shape[2]))
    columns = table.shape[1]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for start in range(0, columns, PANEL):
            end, before = min(start + PANEL, columns), min(start, size)
            if before:
                share = table[start:end, :before] * inverse[:before]
                table[start:, start:end] -= np.einsum("cpb,ipb->icb", share,
                                                      table[start:, :before])
            for column in range(start, end):
                within = slice(before, min(column, size))
                if within.start < within.stop:
                    share = table[column, within] * inverse[within]
                    table[column:, column] -= np.einsum("pb,ipb->ib", share,
                                                        table[column:, within])
                if column < size:
                    np.divide(1.0, pivots[column], out=inverse[column])
    return pivots
