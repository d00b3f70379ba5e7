"""Readings known only to lie above or below a figure: drawn from what the others say of them."""
import numpy as np
from scipy.special import ndtr, ndtri

from ..observations import ABOVE, EXACT
from .leave_one_out import projected_precision

WARM_UP = 30   # sweeps before the first draw that counts
BETWEEN = 3    # sweeps from one draw to the next


def draw_censored(positions_m, values, error_variance, censoring, model, *, draws=1, start=None,
                  drift=None, seed=0, tick=None):
    """Return draws (d, n) of all readings, the censored ones drawn beyond their limits.

    Gibbs sampling: each censored reading in turn is drawn from its normal distribution given all
    others under the model, cut at its limit. Exact readings keep their value in every draw.

    Parameters
        positions_m     (n, 2) metres
        values          (n,) of a censored reading, its limit
        error_variance  (n,) unit squared
        censoring       (n,) EXACT, ABOVE or BELOW
        model           CovarianceModel
        draws           number of draws d
        start           (n,) a draw to start from, or None to start from the limits
        drift           None, or (n,) or (n, p) drift at the readings, as for fit_reml
        seed            of the random numbers: the same seed, the same draws
        tick            called with the fraction of sweeps done; may raise Stopped
    Returns  (d, n) array
    Source   Gibbs sampling of truncated normals: Geweke (1991), Computing Science and
             Statistics 23:571-578; censored spatial data: De Oliveira (2005), Journal of
             Computational and Graphical Statistics 14:95-115 (both cited from memory)
    """
    generator = np.random.default_rng(seed)
    limits = np.asarray(values, float)
    current = limits.copy() if start is None else np.array(start, float)
    hidden = np.flatnonzero(np.asarray(censoring) != EXACT)
    side = np.where(np.asarray(censoring) == ABOVE, 1.0, -1.0)
    tick = tick or (lambda fraction: None)
    project = projected_precision(positions_m, error_variance, model, drift=drift,
                                  tick=lambda part: tick(0.1 * part))
    spread = 1 / np.sqrt(np.diag(project))
    taken = np.empty((draws, len(limits)))
    sweeps = [BETWEEN if start is not None else WARM_UP] + [BETWEEN] * (draws - 1)
    done = 0
    for draw in range(draws):
        for _ in range(sweeps[draw]):
            done += 1
            tick(0.1 + 0.9 * done / sum(sweeps))
            for reading in hidden:
                centre = current[reading] - project[reading] @ current * spread[reading] ** 2
                beyond = side[reading] * (limits[reading] - centre) / spread[reading]
                drawn = normal_beyond(beyond, generator.random())
                current[reading] = centre + side[reading] * drawn * spread[reading]
        taken[draw] = current
    return taken


def normal_beyond(limit, share):
    """Return the `share` quantile of a standard normal cut to values above `limit`.

    Exact far into the upper tail, where 1 - ndtr(limit) would round to nothing; beyond 37 standard
    deviations it returns the limit itself.
    """
    tail = ndtr(-limit) * (1 - share)
    return max(float(-ndtri(tail)), float(limit)) if tail > 0 else float(limit)
