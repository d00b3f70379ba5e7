"""What replanting gains in each cell of a stand, over the uncertainty of the stand."""
from dataclasses import dataclass

import numpy as np

from .replant_gain import gain_line, kept_line


@dataclass(frozen=True)
class CellGains:
    """(rows, columns), NaN outside the field.

    gain    expected money per area by replanting over keeping
    chance  that it is above 0, 0 to 1
    kept    expected percent of full yield of the stand if kept
    """
    gain: np.ndarray
    chance: np.ndarray
    kept: np.ndarray


def gains_of_cells(stand, table, settings):
    """Return the CellGains of a stand, taken as normal and cut at 0 plants, in closed form.

    Parameters
        stand            Surface, plants per area unit of the settings
        table, settings  as `gain_per_area`
    Raises   InputProblem: as `gain_per_area`
    """
    field = stand.inside > 0
    known = stand.estimate[field], stand.standard_error[field]
    line = gain_line(table, settings)

    def on_grid(values):
        cells = np.full(stand.grid.shape, np.nan)
        cells[field] = values
        return cells

    return CellGains(on_grid(line.expected(*known)), on_grid(line.chance_above_zero(*known)),
                     on_grid(kept_line(table, settings).expected(*known)))
