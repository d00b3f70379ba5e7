"""Draws of a surface from the readings that travel with it."""
import numpy as np

from .carried import carried
from .conditional_draws import conditional_draws, thinned_cells
from .simulation import nodes_needed, simulate

MOST_CELLS = 30_000     # drawn all together; 400 draws of them take 96 MB
MOST_NODES = 1_000_000  # of a torus or waves behind them: some 50 ms for each draw


def draws_of_surface(surface, *, draws=200, seed=0, tick=None):
    """Return flat numbers (m,) of cells, and draws (d, m) of the surface there.

    The cells are all those in the field, so that totals over small zones average the nugget as
    the ground does; of more than MOST_CELLS, or where simulating them would take more than
    MOST_NODES, they are a regular thinning, and small zones appear less sure than they are. The
    surface carries its readings, its model and the drift that it was made with, whose uncertainty
    is in the draws; nothing else is needed.

    Raises   InputProblem: as carried: the surface was made from too many readings to carry them, or
             holds no figure of its drift in some cells
    """
    drawn_from = carried(surface)
    cells = np.flatnonzero(surface.inside > 0)
    if (len(cells) > MOST_CELLS or nodes_needed(drawn_from.positions_m, drawn_from.model,
                                                surface.grid) > MOST_NODES):
        cells = thinned_cells(surface.inside)
        return cells, conditional_draws(*drawn_from.readings, surface.grid.centres(cells),
                                        drift=drawn_from.drift_toward(cells), draws=draws,
                                        seed=seed, tick=tick)
    return cells, np.vstack(list(simulate(
        *drawn_from.readings, surface.grid, cells=cells, drift=drawn_from.drift_toward(cells),
        draws=draws, seed=seed, tick=tick)))
