"""Several insertions at one stop as one observation: the median, with censoring carried along."""
import numpy as np

from ..observations import ABOVE, BELOW, EXACT
from ..problems import InputProblem

FELT_ERROR_M = 0.04  # standard error of a depth felt by hand: this program's own assumption


def median_of_insertions(values, censoring):
    """Return the median of depths and its censoring, as (value, EXACT | ABOVE | BELOW).

    A depth known only to lie deeper may be anything from its figure down, one known only to be
    shallower anything from the surface to its figure. The median of the least and of the
    greatest these can be bound the median; where the two agree it is exact, else it lies deeper
    than the one (when some depth is only known to lie deeper) or shallower than the other.

    Parameters
        values     (k,) depths, any unit, k at least 1
        censoring  (k,) EXACT, ABOVE (deeper than the value) or BELOW
    Raises   InputProblem: no value
    Source   median over sub-insertions rather than over averaged profiles: averaging smears pans
             that lie at unequal depth (this program's own rule)
    """
    values, censoring = np.asarray(values, float), np.asarray(censoring, int)
    if not len(values):
        raise InputProblem("A stop without an insertion has no median.")
    least = float(np.median(np.where(censoring == BELOW, 0.0, values)))
    greatest = float(np.median(np.where(censoring == ABOVE, np.inf, values)))
    if least == greatest:
        return least, EXACT
    return (least, ABOVE) if (censoring == ABOVE).any() else (greatest, BELOW)


def depth_error_variance(step_m, felt, insertions=1):
    """Return the error variance of a stop's depth, m2.

    A gauge read every `step_m` places a crossing within its step (uniform: step squared / 12);
    a depth felt by hand is taken to be good to FELT_ERROR_M. Insertions share the error.
    """
    single = np.where(felt, FELT_ERROR_M**2, np.asarray(step_m, float) ** 2 / 12)
    return single / np.asarray(insertions, float)
