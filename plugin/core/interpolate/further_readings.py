"""How many more readings might show what so few do not."""
import numpy as np
from scipy.spatial.distance import cdist

from .kriging import krige
from .readings_system import reading_covariance

SHARES = (0.25, 0.5, 1.0, 2.0, 3.0)  # of the readings there are, tried as further ones
MOST = 1000        # readings in all: their matrix takes 8 MB
PLACES = 1000      # of the ground, drawn at random, that are looked at


def ground_of(grid, inside):
    """Return up to PLACES centres (m, 2) of cells of the field, drawn at random, metres."""
    cells = np.flatnonzero(inside > 0)
    if len(cells) > PLACES:
        cells = cells[np.random.default_rng(0).choice(len(cells), PLACES, replace=False)]
    return grid.centres(cells)


def further_readings(positions_m, error_variance, model, ground_m, skill, *, tick=None):
    """Return how many more readings would be expected to give a map of some skill, or None.

    Each further reading is put where the nearest one is farthest, with the error of a middling
    one. Expected is what the model says, so the answer is as good as the model. None: the most
    that are tried, SHARES of those there are, MOST in all and as many as there is ground, would not
    be expected to.

    Parameters
        positions_m     (n, 2) metres, n at least 2
        error_variance  (n,) unit squared
        model           CovarianceModel, structured
        ground_m        (m, 2) places all over the field, metres
        skill           share of the mean's squared error that the map is to take away
        tick            called with the fraction done; may raise Stopped
    Returns  int or None
    """
    count = len(positions_m)
    numbers = [more for more in (int(np.ceil(share * count)) for share in SHARES)
               if count + more <= MOST and more <= len(ground_m)]
    if not numbers:
        return None
    places = np.vstack([positions_m, _in_the_gaps(positions_m, ground_m, numbers[-1])])
    errors = np.append(error_variance, np.full(len(places) - count, np.median(error_variance)))
    for done, more in enumerate(numbers):
        some = slice(count + more)
        if expected_skill(places[some], errors[some], model, ground_m,
                          tick=tick and (lambda part, done=done: tick(
                              (done + part) / len(numbers)))) >= skill:
            return more
    return None


def expected_skill(positions_m, error_variance, model, ground_m, *, tick=None):
    """Return the share of the mean's squared error that a map is expected to take away.

    Readings at (m, 2) places of the ground, each with the error of a middling one, are predicted
    by the map and by the mean of the (n, 2) readings; their expected squared errors under the
    model are compared.
    """
    again = float(np.median(error_variance))
    of_map = krige(positions_m, np.zeros(len(positions_m)), error_variance, model,
                   ground_m, tick=tick).variance.mean()
    with_mean = model.covariance(cdist(model.stretched(ground_m),
                                       model.stretched(positions_m))).mean()
    of_mean = (model.sill - 2 * with_mean
               + reading_covariance(positions_m, error_variance, model).mean())
    return float(1 - (of_map + again) / (of_mean + again))


def _in_the_gaps(positions_m, ground_m, count):
    """Places (count, 2) of the ground, each the farthest from all before it."""
    found, apart = [], cdist(ground_m, positions_m).min(axis=1)
    for _ in range(count):
        found.append(ground_m[np.argmax(apart)])
        apart = np.minimum(apart, np.hypot(*(ground_m - found[-1]).T))
    return np.array(found)
