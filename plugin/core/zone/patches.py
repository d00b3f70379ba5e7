"""Patches: the connected pieces of equal label, and how long a border any two of them share."""
import numpy as np
from scipy import ndimage
from scipy.sparse import coo_matrix

from ..zone_map import OUTSIDE


def patches(labels):
    """Number the pieces of equal label that hang together by cell sides.

    Cells that touch at a corner alone are separate pieces. Pieces are numbered from 0 in reading
    order of their first cell. Time and memory grow with the number of cells: joints between
    cells are laid out as cells of a grid of twice the size and found in one sweep, whatever the
    number of labels.

    Parameters
        labels  (rows, columns) integers; OUTSIDE belongs to no piece
    Returns  (rows, columns) piece numbers, OUTSIDE where `labels` is; and their count
    """
    labels = np.asarray(labels)
    rows, columns = labels.shape
    linked = np.zeros((2 * rows - 1, 2 * columns - 1), bool)
    within = labels != OUTSIDE
    linked[::2, ::2] = within
    linked[::2, 1::2] = (labels[:, 1:] == labels[:, :-1]) & within[:, 1:]
    linked[1::2, ::2] = (labels[1:] == labels[:-1]) & within[1:]
    numbers, count = ndimage.label(linked)
    return np.where(within, numbers[::2, ::2] - 1, OUTSIDE), count


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
