"""Draws of a surface from the readings that travel with it."""
import numpy as np

from ..problems import InputProblem
from .conditional_draws import conditional_draws, thinned_cells
from .covariance import CovarianceModel


def draws_of_surface(surface, *, draws=200, seed=0):
    """Return flat numbers (m,) of thinned cells, and draws (d, m) of the surface there.

    The surface's account holds its readings and its model; nothing else is needed.

    Raises   InputProblem: the surface was made from too many readings to carry them
    """
    sites = surface.account.get("sites")
    if sites is None:
        raise InputProblem(f"{surface.name} does not carry its readings, as it was made from very "
                           "many. Make it again from at most 600 readings.")
    sites = np.asarray(sites, float)
    cells = thinned_cells(surface.inside)
    return cells, conditional_draws(
        sites[:, :2], sites[:, 2], sites[:, 3], CovarianceModel(**surface.account["model"]),
        surface.grid.centres()[cells], draws=draws, seed=seed)
