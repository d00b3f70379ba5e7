"""Several insertions at one stop as one observation: the median, with censoring carried along."""
import numpy as np

from ..observations import ABOVE, BELOW, EXACT
from ..problems import InputProblem

FELT_ERROR_M = 0.04  # standard error of a depth felt by hand: this program's own assumption

def median_of_insertions(values, censoring):
    """Return the median of depths and its censoring, as (value, EXACT | ABOVE | BELOW).

    A depth known only to lie deeper ranks last, one known only to be shallower ranks first. Where
    a middle one is deeper than its figure, so is the median; where a middle one is shallower,
    so is the median. With one of each in the middle, the shallower one counts from the surface
    and the median lies deeper than half the deeper figure.

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
    order = np.lexsort((values, censoring))  # BELOW, EXACT, ABOVE rise
    middle = order[(len(order) - 1) // 2: len(order) // 2 + 1]
    kinds = set(censoring[middle])
    if {ABOVE, BELOW} <= kinds:
        return float(np.where(censoring[middle] == BELOW, 0.0, values[middle]).mean()), ABOVE
    kind = ABOVE if ABOVE in kinds else BELOW if BELOW in kinds else EXACT
    return float(values[middle].mean()), kind


def depth_error_variance(step_m, felt, insertions=1):
    """Return the error variance of a stop's depth, m2.

    A gauge read every `step_m` places a crossing within its step (uniform: step squared / 12);
    a depth felt by hand is taken to be good to FELT_ERROR_M. Insertions share the error.
    """
    single = np.where(felt, FELT_ERROR_M**2, np.asarray(step_m, float) ** 2 / 12)
    return single / np.asarray(insertions, float)
