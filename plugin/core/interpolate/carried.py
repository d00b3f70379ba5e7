"""The readings, the model and the drift that travel with a surface: all that draws of it need."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem
from .covariance import CovarianceModel
from .drift import Drift

KEYS = ("sites", "linear", "covariates")  # of an account, that hold the readings and their drift


@dataclass(frozen=True)
class Carried:
    """What a surface was drawn from.

    positions_m, values, error_variance   of the readings: (n, 2) metres, (n,), (n,)
    model                                 CovarianceModel
    drift                                 Drift, or None for a constant mean
    """
    positions_m: np.ndarray
    values: np.ndarray
    error_variance: np.ndarray
    model: CovarianceModel
    drift: Drift = None

    @property
    def readings(self):
        """Positions, values, error variance and model, in the order that kriging takes them."""
        return self.positions_m, self.values, self.error_variance, self.model

    @property
    def drift_at_readings(self):
        """Drift (n, p) at the readings, or None."""
        return None if self.drift is None else self.drift.at_readings

    def drift_in(self, cells):
        """Return the drift (m, p) in (m,) flat numbers of cells, or None."""
        return None if self.drift is None else self.drift.in_cells(cells)

    def drift_toward(self, cells):
        """Return the pair of drift at the readings and in cells, as kriging takes it, or None."""
        return None if self.drift is None else self.drift.toward(cells)


def account_of_readings(positions_m, values, error_variance, drift, names):
    """Return what an account holds of the readings and of the drift at them, for JSON.

    Figures of the drift in cells are not in it; a Surface has them as its covariates.

    Parameters
        positions_m, values, error_variance   of the readings
        drift   Drift, or None
        names   of its layers
    """
    told = {"sites": np.column_stack([positions_m, values, error_variance]).tolist()}
    if drift is not None:
        figures = drift.at_readings[:, 2 if drift.linear else 0:]
        told |= {"linear": drift.linear,
                 "covariates": [{"name": name, "at_readings": column.tolist()}
                                for name, column in zip(names, figures.T)]}
    return told


def carried(surface):
    """Return what a surface was drawn from, as Carried.

    Raises   InputProblem: it carries no readings, and why; or a layer that its mean follows, by
             name, has no figure in some cells of the field
    """
    account = surface.account
    if account.get("model") is None:
        raise InputProblem(f"{surface.name} does not carry its readings: it is no surface of "
                           "readings. Give the surface that Surface from readings made.")
    if account.get("sites") is None:
        raise InputProblem(f"{surface.name} does not carry its readings, as it was made from very "
                           "many, or is no surface of readings. Make it from at most 600.")
    east, north, values, errors = np.asarray(account["sites"], float).T
    positions = np.column_stack([east, north])
    return Carried(positions, values, errors, CovarianceModel(**account["model"]),
                   _drift(surface, positions) if account.get("drift") else None)


def _drift(surface, positions):
    linear, covariates = (surface.account[key] for key in ("linear", "covariates"))
    parts = [positions] if linear else []
    parts += [np.asarray(one["at_readings"], float)[:, None] for one in covariates]
    inside = surface.inside > 0
    for number, one in enumerate(covariates):
        missing = np.count_nonzero(~np.isfinite(surface.covariates[number][inside]))
        if missing:
            raise InputProblem(_NO_FIGURE.format(
                surface=surface.name, layer=one["name"], missing=missing,
                count=np.count_nonzero(inside)))
    return Drift(surface.grid, linear, np.hstack(parts),
                 surface.covariates if covariates else None)


_NO_FIGURE = ("The mean of {surface} follows {layer}, of which the surface holds no figure in "
              "{missing:,} of the {count:,} cells of the field. Make it again with a raster of "
              "{layer} that covers the field, or without that layer.")
