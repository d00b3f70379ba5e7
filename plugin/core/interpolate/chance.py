"""The chance that the underlying value lies on one side of a limit."""
import numpy as np
from scipy.special import ndtr

from ..observations import EXACT
from ..problems import InputProblem

SIDES = ("below", "above")
BLOCK = 250_000  # cells between two ticks: some 20 ms


def require_yes_or_no(observations):
    """Refuse observations with a value other than 0 (no) or 1 (yes), or known only as a limit.

    Raises   InputProblem: it names the first such observation
    """
    other = (~np.isin(observations.values, (0.0, 1.0))) | (observations.censoring != EXACT)
    if other.any():
        first = int(np.argmax(other))
        raise InputProblem(
            f"{observations.labels[first]}: {observations.values[first]:g} is neither 0 (no) nor "
            f"1 (yes); {np.count_nonzero(other)} of {len(observations)} values are like that. A "
            "chance is drawn from 0 and 1 alone.")


def chance(surface, limit, side, *, tick=None):
    """Return the chance (rows, columns), 0 to 1, that the value lies `side` of the limit.

    The error is taken as normal. Where the standard error is 0 the chance is 0 or 1, one half at
    the limit itself; NaN outside the field. `tick` is called with the fraction of rows done; it may
    raise Stopped.

    Raises   InputProblem: the side is neither "below" nor "above", or the limit is not finite
    """
    if side not in SIDES or not np.isfinite(limit):
        raise InputProblem(f"A chance was asked {side!r} the limit {limit}; the side must be "
                           f"{' or '.join(SIDES)} and the limit a number.")
    found = np.empty(surface.grid.shape)
    step = max(1, BLOCK // surface.grid.columns)
    for start in range(0, len(found), step):
        rows = slice(start, start + step)
        estimate, error = surface.estimate[rows], surface.standard_error[rows]
        with np.errstate(divide="ignore", invalid="ignore"):
            apart = (limit - estimate) / error
        apart = np.where((error == 0) & (estimate == limit), 0.0, apart)
        found[rows] = ndtr(apart if side == "below" else -apart)
        if tick is not None:
            tick(min(start + step, len(found)) / len(found))
    return found
