"""Patches: the connected pieces of equal label, and how long a border any two of them share."""
import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from ..long_call import long_call
from ..zone_map import OUTSIDE


def patches(labels, *, tick=None):
    """Number the pieces of equal label that hang together by cell sides.

    Cells that touch at a corner alone are separate pieces. Pieces are numbered from 0 in reading
    order of their first cell. Runs of equal label along the rows are found first, then those that
    touch are joined: time grows with the number of cells, whatever the number of labels; memory as
    some 20 bytes a cell, and more where runs are short.

    Parameters
        labels  (rows, columns) integers; OUTSIDE belongs to no piece
        tick    called with the fraction done; may raise Stopped
    Returns  (rows, columns) piece numbers, OUTSIDE where `labels` is; and their count
    """
    tick = tick or (lambda fraction: None)
    labels = np.asarray(labels)
    begins = np.ones(labels.shape, bool)
    begins[:, 1:] = labels[:, 1:] != labels[:, :-1]
    run = np.cumsum(begins.ravel(), dtype=np.int32).reshape(labels.shape) - 1
    tick(0.2)
    # of two runs that touch, the later to begin says so in its first column
    touch = (labels[1:] == labels[:-1]) & (begins[1:] | begins[:-1])
    above, below = run[:-1][touch], run[1:][touch]
    tick(0.4)
    count = int(run[-1, -1]) + 1
    joined = coo_matrix((np.ones(len(above), np.int8), (above, below)), shape=(count, count))
    pieces, piece_of = connected_components(joined, directed=False)
    tick(0.6)
    number_of, count = long_call(
        lambda: _in_reading_order(piece_of, pieces, labels[begins] != OUTSIDE), tick, 0.6)
    numbers = long_call(lambda: number_of.take(run), tick, 0.8)
    tick(1.0)
    return numbers, count


def _in_reading_order(piece_of, pieces, within):
    """The number of each run's piece, OUTSIDE where it is not within; and how many there are."""
    first = np.full(pieces, len(piece_of))
    np.minimum.at(first, piece_of[within], np.flatnonzero(within))
    there = np.flatnonzero(first < len(piece_of))
    number = np.full(pieces, OUTSIDE)
    number[there[np.argsort(first[there])]] = np.arange(len(there))
    return number[piece_of], len(there)


def shared_borders(numbers, count):
    """Return how many cell sides each pair of pieces shares, a symmetric (count, count) CSR matrix.

    Sides towards OUTSIDE count for nobody.

    Parameters
        numbers, count  as they come from `patches`
    """
    sides = [(numbers[:, 1:], numbers[:, :-1]), (numbers[1:], numbers[:-1])]
    pairs = []
    for one, other in sides:
        border = (one != other) & (one != OUTSIDE) & (other != OUTSIDE)
        pairs.append((one[border], other[border]))
    one = np.concatenate([pair[0] for pair in pairs])
    other = np.concatenate([pair[1] for pair in pairs])
    both = coo_matrix((np.ones(2 * len(one), int),
                       (np.concatenate([one, other]), np.concatenate([other, one]))),
                      shape=(count, count))
    return both.tocsr()
