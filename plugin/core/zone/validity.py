"""How well cells part into zones: fuzziness, entropy, and the variance that zones explain."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem
from .table import variance_explained

LEAST_GAIN = 0.05  # of the variance, for which one more zone is worth having; our own choice


@dataclass(frozen=True)
class Validity:
    """Indices of a number of zones.

    fuzziness   fuzziness performance index: 0 each cell in one zone, 1 no structure
    entropy     normalised classification entropy, 0 to 1 likewise
    explained   share of the variance of all standardised layers that lies between zones
    by_layer    the same, layer by layer, (p,)
    """
    count: int
    fuzziness: float
    entropy: float
    explained: float
    by_layer: np.ndarray


def fuzziness_performance(memberships):
    """Return c / (c - 1) times 1 less the mean sum of squared memberships (c, n).

    Another form in circulation runs the other way, 1 for cells that each lie in one zone; the
    least of this one is sought.

    Source   Roubens, M. (1982), European Journal of Operational Research 10, 294-301; Boydell, B.
             and McBratney, A.B. (2002), Precision Agriculture 3, 9-23 (both from memory)
    """
    count, cells = memberships.shape
    partition = np.einsum("kn,kn->", memberships, memberships) / cells
    return float(count / (count - 1) * (1 - partition))


def classification_entropy(memberships):
    """Return the mean entropy of the memberships (c, n) over the greatest there is, ln c.

    Source   as `fuzziness_performance`
    """
    count, cells = memberships.shape
    logarithm = np.log(np.maximum(memberships, np.finfo(float).tiny))
    return float(-np.einsum("kn,kn->", memberships, logarithm) / cells / np.log(count))


def confusion(memberships):
    """Return 1 less the difference of the two greatest memberships of each cell, (n,).

    Near 1 the cell could as well lie in the second zone.

    Source   Burrough, P.A. et al. (1997), Geoderma 77, 115-135 (from memory)
    """
    second, first = np.partition(memberships, -2, axis=0)[-2:]
    return 1 - (first - second)


def validity(cloud, memberships):
    """Return the Validity of memberships (k, n) of a cloud's cells; zones are the greatest ones."""
    label = memberships.argmax(axis=0)
    count = len(memberships)
    held = np.bincount(label, minlength=count)
    by_layer = []
    for values in cloud.points():
        mean = np.bincount(label, values, minlength=count) / np.maximum(held, 1)
        by_layer.append(variance_explained(label, np.ones(cloud.cells), values, mean))
    return Validity(count, fuzziness_performance(memberships), classification_entropy(memberships),
                    float(np.mean(by_layer)), np.array(by_layer))


def best_count(found):
    """Return the number of zones that the indices speak for, and the reason in a sentence.

    Each zone more must explain at least LEAST_GAIN more of the variance; of the numbers that do,
    the one with the least sum of its ranks by fuzziness and by entropy is taken, of several the
    fewest zones.

    Parameters
        found  Validity of consecutive numbers of zones, rising
    Source   ranks of both indices: common practice; the least gain is ours
    """
    if not found:
        raise InputProblem("No number of zones was tried.")
    worth = 1
    while worth < len(found) and (found[worth].explained - found[worth - 1].explained
                                  >= LEAST_GAIN):
        worth += 1
    able = found[:worth]
    ranks = _ranks([one.fuzziness for one in able]) + _ranks([one.entropy for one in able])
    best = able[int(np.argmin(ranks))].count
    if len(found) == 1:
        return best, f"{best} zones, as asked for."
    reason = (f"{best} zones: of {able[0].count} to {able[-1].count}, the least sum of ranks by "
              "fuzziness performance index and classification entropy.")
    if worth < len(found):
        reason += (f" From {able[-1].count} to {found[worth].count} zones the share of variance "
                   f"explained rises by less than {LEAST_GAIN:.0%}.")
    return best, reason


def _ranks(values):
    """Rank from 0, the least first; equal values share the lower rank."""
    return np.searchsorted(np.sort(values), values)
