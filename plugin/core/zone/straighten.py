"""Straightening of borders that two patches share, alike on both sides."""
import numpy as np

from ..zone_map import OUTSIDE


def straightened(rings, deviation, exact):
    """Return which corners of all rings stay when shared borders are straightened.

    A border runs from junction to junction; one without any, around an island, from the first of
    its nodes back to it. Its inner corners are thinned by Douglas and Peucker's rule, once for
    both its sides, so that every corner dropped lies within the deviation of the line between its
    kept neighbours. Borders to the outside, or of a patch named exact, keep all corners. Time
    grows with the corners times the depth of the halving, some 20 for a long border.

    Parameters
        rings      the corners of all rings, as `outlines` walks them
        deviation  in cells
        exact      (patches,) bool
    Returns  (n,) bool
    Source   Douglas, D.H. and Peucker, T.K. (1973), The Canadian Cartographer 10, 112-122
    """
    count = len(rings.node)
    after = np.arange(1, count + 1)
    after[np.append(rings.starts[1:], count) - 1] = rings.starts
    is_start = rings.junction.copy()
    is_start[rings.starts] = True
    first = np.flatnonzero(is_start)
    length = np.diff(np.append(first, count))  # corners from a border's start up to its end
    end = after[first + length - 1]
    other = rings.other[first]
    shared = (other != OUTSIDE) & ~exact[rings.owner[first]] & ~exact[np.where(
        other == OUTSIDE, 0, other)]
    # A border is known by its first step; its other side by the last step, backwards.
    base = int(rings.node.max()) + 1
    forwards = rings.node[first] * base + rings.node[after[first]]
    backwards = rings.node[end] * base + rings.node[first + length - 1]
    mine = shared & (forwards <= backwards) & (length > 1)
    stays = np.ones(count, bool)
    stays_here, line_of = _thinned(rings, first[mine], length[mine], end[mine], deviation)
    sorted_codes = np.argsort(forwards)
    partner = sorted_codes[np.searchsorted(forwards, backwards[mine], sorter=sorted_codes)]
    place = np.arange(len(line_of)) - np.repeat(np.cumsum(length[mine]) - length[mine],
                                                length[mine])
    stays[first[mine][line_of] + place] = stays_here
    inner = place > 0
    stays[(first[partner][line_of] + length[mine][line_of] - place)[inner]] = stays_here[inner]
    return stays


def _thinned(rings, first, length, end, deviation):
    """Thin lines of corners; return what stays of them, line after line, and each one's line.

    The end of a line, which is the start of another, is not among them.
    """
    line_of = np.repeat(np.arange(len(first)), length)
    offset = np.cumsum(length + 1) - (length + 1)
    place = np.arange((length + 1).sum())
    line = np.repeat(np.arange(len(first)), length + 1)
    within = place - offset[line]
    corner = np.where(within < length[line], first[line] + within, end[line])
    x, y = rings.column[corner].astype(float), rings.row[corner].astype(float)
    stays = np.zeros(len(place), bool)
    stays[offset], stays[offset + length] = True, True
    low, high = offset, offset + length
    while len(low):
        far, distance = _furthest(x, y, low, high)
        split = distance > deviation
        stays[far[split]] = True
        low, high, far = low[split], high[split], far[split]
        low, high = np.concatenate([low, far]), np.concatenate([far, high])
        some = high - low > 1
        low, high = low[some], high[some]
    return np.delete(stays, offset + length), line_of


def _furthest(x, y, low, high):
    """Return for each stretch its corner furthest from the segment between its ends, and how far.

    Every stretch has an inner corner.
    """
    inner = high - low - 1
    starts = np.cumsum(inner) - inner
    which = np.repeat(np.arange(len(low)), inner)
    corner = np.arange(len(which)) - starts[which] + low[which] + 1
    along_x, along_y = (x[high] - x[low])[which], (y[high] - y[low])[which]
    from_x, from_y = x[corner] - x[low][which], y[corner] - y[low][which]
    squared = along_x**2 + along_y**2
    share = np.divide(from_x * along_x + from_y * along_y, squared, out=np.zeros(len(which)),
                      where=squared > 0)
    share = np.clip(share, 0.0, 1.0)
    distance = np.hypot(from_x - share * along_x, from_y - share * along_y)
    most = np.maximum.reduceat(distance, starts)
    is_most = np.where(distance == most[which], corner, len(x))
    return np.minimum.reduceat(is_most, starts), most
