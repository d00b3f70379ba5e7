"""What the mean of a surface follows, at its readings and in its cells."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem
from .krige_field import field_blocks
from .readings_system import drift_columns, factor_of_information


@dataclass(frozen=True)
class Drift:
    """The figures that a mean follows, each by an unknown factor, beside an unknown constant.

    Easting and northing are those of the places, so a slope is known everywhere. Other layers are
    held in the cells, since their rasters may move or change once the surface is made.

    grid         Grid of the cells
    linear       whether easting and northing are among the figures; they come first
    at_readings  (n, p) figures at the readings
    layers       (covariates, rows, columns) figures in the cells, NaN outside the field; None
                 where the mean follows a slope only
    """
    grid: object
    linear: bool
    at_readings: np.ndarray
    layers: np.ndarray = None

    def in_cells(self, cells):
        """Return (m, p) figures in (m,) flat numbers of cells."""
        parts = [self.grid.centres(cells)] if self.linear else []
        if self.layers is not None:
            parts.append(self.layers.reshape(len(self.layers), -1)[:, cells].T)
        return np.hstack(parts)

    def toward(self, cells):
        """Return the pair of figures at the readings and in cells, as kriging takes drift."""
        return self.at_readings, self.in_cells(cells)


def drift_of_settings(settings, sites, grid, inside, tick):
    """Return the Drift that settings ask for, or None for a constant mean.

    Parameters
        settings      MapSettings
        sites         Observations
        grid, inside  Grid and (rows, columns) share of each cell in the field
        tick          called after each block of cells, with 0; may raise Stopped
    Raises   InputProblem: a layer, by name, has no figure at a reading or in a cell of the field
    """
    at_readings = settings.drift_at(sites.positions_m)
    if at_readings is None:
        return None
    count = len(settings.covariates)
    if not count:
        return Drift(grid, True, at_readings)
    missing = _missing(at_readings[:, -count:])
    _require_all(settings, missing, len(sites), f"places of {sites.name}")
    layers, missing = np.full((count, *grid.shape), np.nan), np.zeros(count, int)
    flat = layers.reshape(count, -1)
    for cells in field_blocks(grid, inside):
        figures = settings.covariates_at(grid.centres(cells))
        flat[:, cells] = figures.T
        missing += _missing(figures)
        tick(0.0)
    _require_all(settings, missing, np.count_nonzero(inside), "cells of the field")
    return Drift(grid, settings.linear, at_readings, layers)


def require_shown(drift, names):
    """Raise InputProblem where the readings cannot show what follows one of the figures, by name.

    Parameters
        drift   Drift
        names   of its p figures
    """
    figures, count = drift.at_readings, len(drift.at_readings)
    for name, column in zip(names, figures.T):
        if np.ptp(column) <= 1e-12 * np.abs(column).max():
            raise InputProblem(_FLAT.format(layer=name, figure=column[0], count=count))
    columns = drift_columns((figures, figures), count, count)[0]
    factor_of_information(columns.T @ columns)


def _missing(figures):
    return np.count_nonzero(~np.isfinite(figures), axis=0)


def _require_all(settings, missing, count, what):
    for name, lacking in zip(settings.covariates, missing):
        if lacking:
            raise InputProblem(_NO_FIGURE.format(layer=name, missing=lacking, count=count,
                                                 what=what))


_NO_FIGURE = ("{layer} has no figure at {missing:,} of the {count:,} {what}. Take a raster that "
              "covers them all, or leave this layer out.")
_FLAT = ("{layer} is the same ({figure:g}) at all {count:,} places with readings, which then "
         "cannot show what follows it. Leave it out.")
