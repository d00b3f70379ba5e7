"""Evenness of plants along the row: spread of the spacings, and multiples, misses and quality."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem

MULTIPLE, MISS = 0.5, 1.5  # of the theoretical spacing: at most, and above
_ROUNDING = 1e-9  # of it: a spacing this little above an edge is on it


@dataclass(frozen=True)
class Spacing:
    """Indices of the spacings of one or several taped lengths of row.

    spacings            how many
    mean, deviation     in the unit of the positions; the deviation divides by one less
    multiples, quality, misses   share of the spacings, 0 to 1; together 1
    precision           deviation of the spacings of quality over the theoretical one; None with
                        fewer than 2 of them
    theoretical         spacing the planter was set to, same unit
    """
    spacings: int
    mean: float
    deviation: float
    multiples: float
    quality: float
    misses: float
    precision: float
    theoretical: float


def spacing_indices(runs, theoretical):
    """Return the Spacing of plants whose positions along the tape were read.

    A run is one length of tape along one row; spacings are between neighbours in a run, never
    from run to run. Plants at one mark are a multiple.

    Parameters
        runs         sequence of (n,) positions, any order, any unit
        theoretical  the spacing that the planter was set to, same unit, above 0
    Raises   InputProblem: fewer than 2 spacings, a position missing, or no theoretical spacing
    Source   classes: ISO 7256-1 (1984) as restated by Kachman and Smith (1995) and by Iowa State
             University Extension; precision from memory
    """
    if not (np.isfinite(theoretical) and theoretical > 0):
        raise InputProblem(f"The spacing the planter was set to is {theoretical:g}. Enter the row "
                           "width and the seeds planted.")
    runs = [np.sort(np.asarray(run, float)) for run in runs]
    if not all(np.isfinite(run).all() for run in runs):
        raise InputProblem("A position along the tape is missing.")
    spacings = np.concatenate([np.diff(run) for run in runs] or [[]])
    if len(spacings) < 2:
        raise InputProblem(f"{len(spacings)} spacings tell nothing of the evenness. Tape more "
                           "plants.")
    share = spacings / theoretical
    multiple, miss = share <= MULTIPLE + _ROUNDING, share > MISS + _ROUNDING
    good = ~multiple & ~miss
    return Spacing(
        spacings=len(spacings), mean=float(spacings.mean()),
        deviation=float(spacings.std(ddof=1)), multiples=float(multiple.mean()),
        quality=float(good.mean()), misses=float(miss.mean()),
        precision=float(share[good].std(ddof=1)) if good.sum() > 1 else None,
        theoretical=float(theoretical))


def theoretical_spacing_m(seeds_per_m2, row_width_m):
    """Return the spacing along the row, metres, of seeds dropped evenly."""
    return 1 / (seeds_per_m2 * row_width_m)
