"""Where one more reading is worth most for the decision at hand, in money."""
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import binary_erosion
from scipy.spatial import cKDTree
from scipy.special import ndtr

from ..interpolate.carried import carried
from ..interpolate.conditional_draws import thinned_cells
from ..interpolate.posterior_covariance import Posterior
from ..long_call import long_call
from ..problems import InputProblem
from ..units import convert
from .checks import require_number
from .linear_loss import expected_shortfall
from .plan_zones import require_surface

MOST_PLACES = 1500      # candidates, and decided cells: two square matrices of them take 36 MB
MOST_STOPS = 100
LEAST_VALUE = 0.01      # money; what is worth less is not worth naming
EQUAL = 1e-9            # relative: values this near are the same but for rounding
CANDIDATE_BLOCK = 100   # candidates weighed at once: some 1 MB an array
CELL_BLOCK = 50_000     # cells given to their nearest decided cell at once
ALL_CHOSEN, NOT_WORTH, NO_ROOM = "all chosen", "not worth it", "no room"


@dataclass(frozen=True)
class NextStops:
    """The next stops in the order to take them.

    positions_m    (k, 2) metres
    value          (k,) money that each is expected to save, those before it being taken
    estimate       (k,) the surface there, in its unit
    chance_wrong   (k,) chance, 0 to 1, that the decision there is now the wrong one
    lost_now       money that deciding by the surface as it is, is expected to lose; of a surface
                   that is the mean, only what the mean may be off, since it knows no parts
    ended          ALL_CHOSEN; NOT_WORTH: what is left is worth less than its cost; NO_ROOM:
                   what is left lies too near to a reading or a stop
    best_left      money that the best place left would save, where `ended` is NOT_WORTH; else 0
    alike          whether every place is worth the same, because the surface is the mean
    spacing_m, reading_error   those that were used
    """
    positions_m: np.ndarray
    value: np.ndarray
    estimate: np.ndarray
    chance_wrong: np.ndarray
    lost_now: float
    ended: str
    best_left: float
    alike: bool
    spacing_m: float
    reading_error: float

    def __len__(self):
        return len(self.value)


def next_stops(surface, decision, *, count, reading_error=None, cost=0.0, spacing_m=10.0,
               tick=None):
    """Return the places where further readings are worth most for a decision made cell by cell.

    Every cell is decided by its estimate. A reading at s moves the estimate at j by an amount
    that is normal around 0, with a standard deviation of

        cov(j, s) / sqrt(var(s) + nugget + reading error^2),

    and is worth what it is expected to save where that takes the estimate over the limit, summed
    over the field. So a place counts for little where the choice is clear already, however large
    the error there. Stops are chosen one by one, each with those before it taken as read: their
    values do not matter for the covariance, and their joint movement of the estimate adds up in
    variance. The values of the stops therefore sum to the worth of all of them together. That two
    readings are worth their cost only together can be missed.

    Where the surface is the mean, the field is one decision and every place tells the same of
    it: stops then go, one after the other, where they are farthest from all others. So are ties.

    Candidates are cells that lie in the field with all their neighbours, on a regular thinning to
    MOST_PLACES; the decision is weighed on as many cells, each standing for the ground nearest to
    it. Memory is bounded by that; time grows with the stops chosen.

    The nugget is ground so fine that it averages out in a cell; the decision is on the rest. Where
    censored readings leave the surface less sure than its sites would, the covariance is widened
    to the surface's own standard error. The model is taken as known, the loss as linear and each
    cell as decided by itself: zones of a machine's width can use less than this.

    Parameters
        surface        Surface whose account holds its sites and its model
        decision       LinearLoss in the surface's unit
        count          most stops, 1 to MOST_STOPS
        reading_error  standard error of one more reading, in the surface's unit; None: the median
                       of the errors of the readings
        cost           money that one stop costs; a stop that is worth less is not taken
        spacing_m      least distance between stops, and from a stop to a reading
        tick           called with the fraction done; may raise Stopped
    Returns  NextStops, possibly of no stop
    Raises   InputProblem: the surface does not carry its readings, has cells without a figure or
             no room for a stop away from its edge, or a setting is out of range
    Source   Raiffa, H. and Schlaifer, R. (1961), Applied Statistical Decision Theory, chapter 5
             (expected value of sample information, linear loss, normal prior; from memory)
    """
    known = carried(surface)
    positions_m, errors, model = known.positions_m, known.error_variance, known.model
    _require(surface, count, cost, spacing_m)
    tick = tick or (lambda fraction: None)
    error = float(np.sqrt(np.median(errors))) if reading_error is None else reading_error
    require_number("the error of a reading", error, surface.unit, at_least=0)
    places, cells = _candidates(surface), thinned_cells(surface.inside, MOST_PLACES)
    tick(0.02)
    places_m, cells_m = surface.grid.centres(places), surface.grid.centres(cells)
    gap = surface.estimate.flat[cells] - decision.limit
    money = decision.loss * convert(_areas_m2(surface, cells, cells_m, tick), "m2",
                                    decision.area_unit)
    fine = model.nugget if model.structured else model.sill  # varies too finely to be decided on
    within = 0.0 if surface.account.get("block_m") else fine  # a block's error is without it
    in_cells, at_places = known.drift_in(cells), known.drift_in(places)
    posterior = Posterior(positions_m, errors, model, drift=known.drift_at_readings)
    spread, wider = _own_spread(surface, posterior, within, cells, cells_m, in_cells)
    tick(0.05)
    place_spread, place_wider = _own_spread(surface, posterior, within, places, places_m, at_places)
    across = long_call(lambda: posterior.between(cells_m, places_m, drift=(in_cells, at_places)),
                       tick, 0.07)
    across *= wider[:, None] * place_wider
    among = long_call(lambda: posterior.between(places_m, places_m, drift=(at_places, at_places)),
                      tick, 0.08)
    among *= place_wider[:, None] * place_wider
    among[np.diag_indices_from(among)] = place_spread**2
    to_reading_m = cKDTree(positions_m).query(places_m)[0]
    chosen, values, ended, best = _greedy(
        places_m, to_reading_m, gap, money, across, among, fine + error**2, count=count,
        least=max(cost, LEAST_VALUE), spacing_m=spacing_m, tick=tick)
    here = surface.estimate.flat[places[chosen]]
    return NextStops(
        positions_m=places_m[chosen], value=np.array(values), estimate=here,
        chance_wrong=_chance_wrong(here - decision.limit, place_spread[chosen]),
        lost_now=float(money @ expected_shortfall(gap, spread)), ended=ended, best_left=best,
        alike=not model.structured and known.drift is None, spacing_m=float(spacing_m),
        reading_error=error)


def _require(surface, count, cost, spacing_m):
    require_surface(surface, surface.unit)
    require_number("the number of stops", count, "stops", at_least=1, at_most=MOST_STOPS)
    require_number("the cost of a stop", cost, "money", at_least=0)
    require_number("the distance between stops", spacing_m, "m", at_least=0)


def _candidates(surface):
    """Flat numbers of thinned cells that lie in the field, each with its eight neighbours."""
    whole = surface.inside >= 1 - EQUAL
    inner = whole & binary_erosion(surface.inside > 0, np.ones((3, 3), bool))
    if not inner.any():
        raise InputProblem(f"{surface.name}: no cell of {surface.grid.cell_m:g} m lies in the "
                           "field with all its neighbours, so no stop can be placed away from the "
                           "edge. Make the surface with smaller cells.")
    return thinned_cells(inner, MOST_PLACES)


def _areas_m2(surface, cells, cells_m, tick):
    """Area (m,) of the field that is nearest to each of the decided cells."""
    field = np.flatnonzero(surface.inside > 0)
    if len(field) == len(cells):
        return surface.inside.flat[cells] * surface.grid.cell_area_m2
    tree, share = cKDTree(cells_m), np.zeros(len(cells))
    for start in range(0, len(field), CELL_BLOCK):
        block = field[start:start + CELL_BLOCK]
        nearest = tree.query(surface.grid.centres(block))[1]
        share += np.bincount(nearest, surface.inside.flat[block], minlength=len(cells))
        tick(0.02 + 0.04 * min(start + CELL_BLOCK, len(field)) / len(field))
    return share * surface.grid.cell_area_m2


def _own_spread(surface, posterior, fine, cells, cells_m, drift):
    """Standard deviation (m,) at cells by the surface itself, and its ratio to the posterior's."""
    own = np.sqrt(np.maximum(surface.standard_error.flat[cells]**2 - fine, 0.0))
    told = np.sqrt(posterior.variance(cells_m, drift=drift))
    certain = told**2 <= EQUAL * told.max()**2  # rounding: on a reading without an error
    return own, np.where(certain, 1.0, own / np.where(certain, 1.0, told))


def _greedy(places_m, to_reading_m, gap, money, across, among, noise, *, count, least, spacing_m,
            tick):
    """Chosen numbers of places, their values, why it ended, and the best value left."""
    moved = np.zeros(len(gap))  # variance that the stops so far give the estimate of each cell
    free = to_reading_m >= spacing_m
    apart_m = to_reading_m.copy()
    chosen, values = [], []
    while len(chosen) < count:
        if not free.any():
            return chosen, values, NO_ROOM, 0.0
        before, after = (0.1 + 0.9 * (len(chosen) + one) / count for one in (0, 1))
        worth = _worth(gap, money, moved, across, np.diag(among) + noise, tick, before, after)
        worth[~free] = -np.inf
        best = float(worth.max())
        if best < least:
            return chosen, values, NOT_WORTH, max(best, 0.0)
        tied = np.flatnonzero(worth >= best * (1 - EQUAL))
        place = int(tied[np.argmax(apart_m[tied])])
        chosen.append(place)
        values.append(best)
        read = among[place, place] + noise
        moved += across[:, place]**2 / read
        across -= np.outer(across[:, place], among[place] / read)
        among -= np.outer(among[place], among[place] / read)
        to_stop_m = np.hypot(*(places_m - places_m[place]).T)
        np.minimum(apart_m, to_stop_m, out=apart_m)
        free &= (to_stop_m >= spacing_m) & (np.arange(len(free)) != place)
    return chosen, values, ALL_CHOSEN, 0.0


def _worth(gap, money, moved, across, read, tick, before, after):
    """Money (c,) that one more reading at each candidate is expected to save."""
    already = money @ expected_shortfall(gap, np.sqrt(moved))
    worth = np.zeros(across.shape[1])
    for start in range(0, len(worth), CANDIDATE_BLOCK):
        block = slice(start, start + CANDIDATE_BLOCK)
        told = read[block] > 0  # else the value is known there, and a reading says nothing
        more = across[:, block]**2 / np.where(told, read[block], 1.0) * told
        worth[block] = money @ expected_shortfall(gap[:, None], np.sqrt(moved[:, None] + more))
        done = min(start + CANDIDATE_BLOCK, len(worth)) / len(worth)
        tick(before + (after - before) * done)
    return np.maximum(worth - already, 0.0)


def _chance_wrong(gap, spread):
    certain = spread == 0
    return np.where(certain, 0.0, ndtr(-np.abs(gap) / np.where(certain, 1.0, spread)))
