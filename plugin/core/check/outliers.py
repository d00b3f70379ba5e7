"""Isolated outliers: readings far from those around them and far from the whole set."""
import numpy as np
from scipy.spatial import cKDTree

from .reading_set import figure

NEIGHBOURS = 6
FEWEST = 10  # readings with fewer of which no outlier is looked for: this program's own choice
FAR = 4.0  # robust standard deviations from the neighbours
FAR_OF_SET = 3.0  # and from the whole set; 3 is the usual limit of the Hampel identifier
NORMAL = 1.4826  # standard deviations of normal values in a median absolute deviation


def check_outliers(readings, *, skewed=False):
    """Return a flag for each reading that is unlike its neighbours and unlike the set.

    A reading is compared with the median of its NEIGHBOURS nearest others. The difference counts
    in robust standard deviations: NORMAL times the larger of the median absolute deviation of the
    neighbours and that of all such differences. It must be FAR off there, and FAR_OF_SET in
    the set as a whole: so a patch of low values is none, nor is a value on a steep slope.
    Rows at one place are no neighbours of each other; rows without a place or a value are left
    out. Nothing is flagged where half of the set has one value, or in sets below FEWEST. What is
    skewed, as nutrients are, is compared by its logarithm; a value of 0 is then left out.

    Source   differences from the neighbours' median: Lu, Chen and Kou (2003), Algorithms for
             spatial outlier detection, IEEE ICDM (from memory); median and absolute deviation:
             Davies and Gather (1993), JASA 88:782-792. The limits are this program's own
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        judged = np.log(readings.values) if skewed else readings.values
    used = np.flatnonzero(np.isfinite(judged) & np.isfinite(readings.positions_m).all(axis=1))
    if len(used) < FEWEST:
        return []
    values, places = judged[used], readings.positions_m[used]
    around = [values[one] for one in _neighbours(places)]
    if not all(map(len, around)):
        return []
    middle = np.array([np.median(one) for one in around])
    spread = np.array([np.median(np.abs(one - np.median(one))) for one in around])
    off = values - middle
    scale = NORMAL * np.maximum(spread, np.median(np.abs(off - np.median(off))))
    of_set = NORMAL * np.median(np.abs(values - np.median(values)))
    back = np.exp if skewed else np.asarray
    flags = []
    for number in np.flatnonzero((np.abs(off) > FAR * scale) & (scale > 0) & (of_set > 0)
                                 & (np.abs(values - np.median(values)) > FAR_OF_SET * of_set)):
        flags.append(readings.flag(
            used[number], "outlier",
            what=f"{readings.title} is {readings.said(back(values[number]))}; its "
                 f"{len(around[number])} neighbours have {readings.said(back(middle[number]))} in "
                 "the middle.",
            why=f"That is {abs(off[number]) / scale[number]:.0f} times the usual difference from "
                f"neighbours, and far from the whole set "
                f"({figure(back(np.median(values)))} in the middle).",
            remedy="Look at the notes and the place. A slip: correct it. A real spot: take two "
                   "readings beside it."))
    return flags


def _neighbours(places):
    """Numbers of the nearest others of each place, those at the very same place left out."""
    tree = cKDTree(places)
    # Rows at one place stand before the neighbours: more are asked for where there are such.
    _, group, sizes = np.unique(places, axis=0, return_inverse=True, return_counts=True)
    group = group.ravel()
    wanted = min(NEIGHBOURS + int(sizes.max()), len(places))
    apart, which = tree.query(places, k=wanted)
    return [near[group[near] != own][:NEIGHBOURS] for near, own in zip(which, group)]
