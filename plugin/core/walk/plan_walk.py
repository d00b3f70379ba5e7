"""From ground to a walk: where the stops lie, and in which order they are taken."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem
from .covariate_strata import allocated_stops, covariate_strata
from .equal_area import equal_area_strata, stop_in_each
from .spatial_coverage import spatial_coverage
from .stops_needed import MOST_STOPS
from .walking_order import walking_order

COVERAGE, STRATIFIED, ALONG = "spatial coverage", "stratified random", "along strata"
DESIGNS = (COVERAGE, STRATIFIED, ALONG)
PROPORTIONAL, NEYMAN = "proportional", "neyman"


@dataclass(frozen=True)
class Ground:
    """Where stops may lie.

    cells_m    (n, 2) centres of square cells, metres
    cell_m     side of a cell
    on_ground  function of (k, 2) places that tells which lie on the ground
    """
    cells_m: np.ndarray
    cell_m: float
    on_ground: object


@dataclass(frozen=True)
class Walk:
    """Stops in the order they are taken.

    stops_m  (n, 2) metres
    strata   (n,) stratum of each, counted from 1; all 1 where there are none
    shares   area of each stratum as a share of the ground that is in one
    legs_m   (n,) way to each from the one before; of the first from the start, 0 without one
    back_m   way from the last to where the walk began, 0 where it does not go back
    """
    stops_m: np.ndarray
    strata: np.ndarray
    shares: np.ndarray
    legs_m: np.ndarray
    back_m: float

    def __len__(self):
        return len(self.stops_m)

    @property
    def length_m(self):
        """The whole way, metres."""
        return float(self.legs_m.sum() + self.back_m)


def plan_walk(ground, count, design, *, covariates=None, strata=3, allocation=PROPORTIONAL,
              start_m=None, back=False, seed=1, tick=None):
    """Return the Walk of a number of stops over the ground.

    COVERAGE spreads the stops so that no spot is far from one: best for a map. STRATIFIED draws
    one at random in each of as many pieces of equal area: its mean, and the error of that, stand
    without any model. ALONG parts the ground by covariates and gives each stratum its stops, drawn
    at random in pieces of equal area of that stratum: best where the covariates matter.

    Parameters
        ground      Ground
        count       stops, 1 to MOST_STOPS
        design      one of DESIGNS
        covariates  (n, p) at the cells, NaN where not known; for ALONG
        strata      strata wanted; for ALONG
        allocation  PROPORTIONAL to area, or NEYMAN: to area times the spread of the first covariate
        start_m     (2,) where the walk begins, or None
        back        whether it ends where it began
        seed        of all that is drawn: the same seed, the same stops
        tick        called with the fraction done; may raise Stopped
    Raises   InputProblem: too many stops for the ground or for a walk, or covariates that tell
             nothing
    Source   see the modules of the designs; the choice between them: Brus (2022), Spatial Sampling
             with R
    """
    if not 1 <= count <= MOST_STOPS:
        raise InputProblem(f"{count} stops were asked for. Ask for 1 to {MOST_STOPS}.")
    tick = tick or _no_tick
    draw = np.random.default_rng(seed)
    of_stop, shares = np.zeros(count, int), np.ones(1)
    if design == COVERAGE:
        stops = ground.cells_m[spatial_coverage(ground.cells_m, count, seed=seed,
                                                tick=lambda done: tick(0.6 * done))]
    elif design == STRATIFIED:
        stops = _drawn(ground, np.ones(len(ground.cells_m), bool), count, draw)
    else:
        stops, of_stop, shares = _along(ground, count, covariates, strata, allocation, draw, seed)
    tick(0.6)
    order = walking_order(stops, start_m=start_m, back=back, tick=lambda _: tick(0.7))
    stops = stops[order]
    first = stops[:1] if start_m is None else np.array([start_m], float)
    legs_m = np.hypot(*np.diff(np.vstack([first, stops]), axis=0).T)
    back_m = float(np.hypot(*(stops[-1] - first[0]))) if back else 0.0
    return Walk(stops, of_stop[order] + 1, shares, legs_m, back_m)


def _drawn(ground, mine, count, draw):
    cells = ground.cells_m[mine]
    return stop_in_each(cells, equal_area_strata(cells, count), ground.cell_m, draw,
                        on_ground=ground.on_ground)


def _along(ground, count, covariates, strata, allocation, draw, seed):
    labels = covariate_strata(covariates, strata, seed=seed)
    areas = np.bincount(labels[labels >= 0])
    spreads = [np.asarray(covariates)[labels == one, 0].std() for one in range(len(areas))]
    given = allocated_stops(count, areas, spreads if allocation == NEYMAN else None)
    stops = np.vstack([_drawn(ground, labels == one, stops, draw)
                       for one, stops in enumerate(given)])
    return stops, np.repeat(np.arange(len(areas)), given), areas / areas.sum()


def _no_tick(_fraction):
    return None
