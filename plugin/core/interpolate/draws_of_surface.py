"""Draws of a surface from the readings that travel with it."""
import numpy as np

from ..part_of_tick import part_of_tick
from .averaged_model import likely_models
from .carried import carried
from .conditional_draws import conditional_draws, thinned_cells
from .estimate import FIT_MOST, LIKELIHOOD
from .simulation import nodes_needed, simulate

MOST_CELLS = 30_000     # drawn all together; 400 draws of them take 96 MB
MOST_NODES = 1_000_000  # of a torus or waves behind them: some 50 ms for each draw
EXACT_CELLS = 1000      # and fewer: drawn from their covariance, which is quicker then
MODELS = 20             # drawn for what is not known of the model
FITTED = 0.2            # share of the time that this takes


def draws_of_surface(surface, *, draws=200, seed=0, tick=None):
    """Return flat numbers (m,) of cells, and draws (d, m) of the surface there.

    The cells are all those in the field, so that totals over small zones average the nugget as
    the ground does; of more than MOST_CELLS, or where simulating them would take more than
    MOST_NODES, they are a regular thinning, and small zones appear less sure than they are. The
    surface carries its readings, its model and the drift that it was made with, whose uncertainty
    is in the draws; nothing else is needed. Where the model was fitted by likelihood, what so few
    readings leave open of it is in the draws too: they are made with MODELS models, each as often
    as its likelihood says (to FIT_MOST readings at random, if there are more); a single model would
    make the intervals of totals too short. Of a given model, and of one fitted to the variogram of
    very many readings, draws are made with it alone.

    Raises   InputProblem: as carried: the surface was made from too many readings to carry them, or
             holds no figure of its drift in some cells
    """
    drawn_from, tick = carried(surface), tick or (lambda fraction: None)
    models = _models(surface, drawn_from, draws, seed, lambda part: tick(FITTED * part))
    cells = np.flatnonzero(surface.inside > 0)
    thinned = len(cells) > MOST_CELLS or any(
        nodes_needed(drawn_from.positions_m, model, surface.grid) > MOST_NODES
        for model, _ in models)
    if thinned:
        cells = thinned_cells(surface.inside)
    together = thinned or len(cells) <= EXACT_CELLS
    drift, readings = drawn_from.drift_toward(cells), drawn_from.readings[:3]
    seeds = [seed, *np.random.SeedSequence(seed).generate_state(len(models) - 1).tolist()]
    found, done = [], 0
    for (model, times), own_seed in zip(models, seeds):
        settings = {"drift": drift, "draws": times, "seed": own_seed,
                    "tick": part_of_tick(tick, FITTED + (1 - FITTED) * done / draws,
                                     (1 - FITTED) * times / draws)}
        if together:
            found.append(conditional_draws(*readings, model, surface.grid.centres(cells),
                                           **settings))
        else:
            found += simulate(*readings, model, surface.grid, cells=cells, **settings)
        done += times
    return cells, np.vstack(found)


def _models(surface, drawn_from, draws, seed, tick):
    """Pairs of a model and how many of the draws are made with it."""
    positions, values, errors, model = drawn_from.readings
    count = len(values)
    if surface.account.get("fitted_by") != LIKELIHOOD or count < 4 or np.ptp(values) == 0:
        return [(model, draws)]
    some = (slice(None) if count <= FIT_MOST
            else np.random.default_rng(seed).choice(count, FIT_MOST, replace=False))
    drift = drawn_from.drift_at_readings
    found = likely_models(positions[some], values[some], errors[some], model, min(MODELS, draws),
                          drift=None if drift is None else drift[some], seed=seed, tick=tick)
    ends = np.round(np.cumsum([times for _, times in found]) * draws / min(MODELS, draws))
    return [(each, int(many)) for (each, _), many in zip(found, np.diff(ends, prepend=0))]
