"""Kriging in which only the nearest readings weigh on a target: many small systems at once.

The systems of a batch lie side by side, the number of the target last, so that each step of the
elimination is one operation on whole rows of targets.
"""
import numpy as np

from ..problems import InputProblem
from .neighbourhood import Neighbourhood
from .readings_system import LEAST_INFORMATION, check_places, undetermined
from .target_covariance import TargetCovariance
from .threads import in_threads

BATCH_NUMBERS = 120_000  # numbers in the systems of one batch: 1 MB, to stay in the cache


def krige_local(positions, values, errors, model, targets, *, neighbours, columns, block_m,
                octants, numbers, tick):
    """Return estimates (m, d) and variances (m,); arguments as for krige, values (n, d).

    Parameters
        columns  the pair that drift_columns returns
        octants  whether neighbours are spread over the eight octants
        numbers  numbers in the systems of one task of a thread, between two ticks
    """
    check_places(positions, errors, model)
    batch = max(1, BATCH_NUMBERS // ((neighbours + values.shape[1]) * neighbours))
    work = _Local(positions, values, errors, model, columns[0], neighbours, block_m)
    near = Neighbourhood(positions, model, neighbours, octants=octants)
    estimate, variance = np.empty((len(targets), values.shape[1])), np.empty(len(targets))
    step = max(1, numbers // neighbours**2)

    def fill(start):
        which = near.of(targets[start:start + step])
        for first in range(0, len(which), batch):
            some = which[first:first + batch]
            block = slice(start + first, start + first + len(some))
            estimate[block], variance[block] = work.at(targets[block], columns[1][block], some)

    in_threads(fill, list(range(0, len(targets), step)), tick,
               share_of=lambda number: min(number * step, len(targets)) / len(targets))
    return estimate, variance


class _Local:
    def __init__(self, positions, values, errors, model, columns, neighbours, block_m):
        if neighbours < columns.shape[1] + 1 and columns.shape[1] > 1:
            raise InputProblem(f"{neighbours} neighbours cannot show a drift of "
                               f"{columns.shape[1] - 1} columns and a constant; ask for more.")
        self.positions, self.stretched = positions.T.copy(), model.stretched(positions).T.copy()
        self.diagonal = model.partial_sill + model.nugget + errors
        self.border = np.hstack([columns, values]).T.copy()
        self.kinds = columns.shape[1]
        self.count = neighbours
        self.model, self.toward = model, TargetCovariance(model, block_m)

    def at(self, targets, columns, which):
        """Estimates (b, d) and variances (b,) from the (b, k) numbers of their neighbours."""
        which = np.ascontiguousarray(which.T)
        table = np.empty((self.count + 1 + len(self.border), self.count, len(targets)))
        pairs = self.model.covariance(self._apart(which))
        first = 0
        for row in range(1, self.count):
            table[row, :row] = pairs[first:first + row]
            first += row
        each = np.arange(self.count)
        table[each, each] = self.diagonal[which]
        east, north = self.positions[:, which]
        table[self.count] = self.toward.between(targets[:, 0] - east, targets[:, 1] - north)
        table[self.count + 1:] = self.border[:, which]
        if not _eliminate(table, self.count, 0.0).all():
            raise undetermined(len(self.stretched[0]))
        across, drift, shown = np.split(table[self.count:], [1, 1 + self.kinds])
        across = across[0]
        small = np.empty((self.kinds + 1 + len(shown), self.kinds, len(targets)))
        small[:self.kinds] = np.einsum("ikb,jkb->ijb", drift, drift)
        small[self.kinds] = columns.T - np.einsum("ikb,kb->ib", drift, across)
        small[self.kinds + 1:] = np.einsum("ikb,jkb->ijb", shown, drift)
        if not _eliminate(small, self.kinds, LEAST_INFORMATION).all():
            raise InputProblem(f"The nearest {self.count} readings of some places cannot show the "
                               "drift: they lie in one line, or a column is the same at all of "
                               "them. Ask for more neighbours, or leave the drift out.")
        unexplained, by_drift = small[self.kinds], small[self.kinds + 1:]
        estimate = (np.einsum("ikb,kb->bi", shown, across)
                    + np.einsum("ikb,kb->bi", by_drift, unexplained))
        variance = (self.toward.own_variance - np.einsum("kb,kb->b", across, across)
                    + np.einsum("kb,kb->b", unexplained, unexplained))
        return estimate, np.maximum(variance, 0.0)

    def _apart(self, which):
        """Distances between neighbours, those of one to all before it, one after the other."""
        pairs = np.empty((2, self.count * (self.count - 1) // 2, which.shape[1]))
        for axis, along in enumerate(self.stretched):
            place, first = along[which], 0
            for row in range(1, self.count):
                np.subtract(place[row], place[:row], out=pairs[axis, first:first + row])
                first += row
        np.square(pairs, out=pairs)
        pairs[0] += pairs[1]
        return np.sqrt(pairs[0], out=pairs[0])


def _eliminate(table, size, least):
    """Factorise (size, size) matrices in place, by Cholesky, and whiten the rows below them.

    Of each matrix the lower part is read; what it is bordered with below comes out multiplied by
    the inverse of its factor. A pivot of at most `least` of its diagonal ends a matrix.

    Parameters
        table  (rows, size, b), b matrices side by side
    Returns  (b,) whether each matrix was positive definite
    """
    sound = np.ones(table.shape[2], bool)
    for column in range(size):
        below = table[column:, column]
        own = below[0] * least
        if column:
            below -= np.einsum("pb,ipb->ib", table[column, :column], table[column:, :column])
        sound &= below[0] > own
        below /= np.sqrt(np.where(sound, below[0], 1.0))
    return sound
