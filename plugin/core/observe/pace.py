"""The length of a pace, from walks over a known distance."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem

LEAST_WALKS = 2  # one walk tells the pace but not how it varies
LEAST_PACE_M, GREATEST_PACE_M = 0.3, 2.5  # one step of a child to two of a tall person: own choice


@dataclass(frozen=True)
class Pace:
    """Length of a pace, metres, and its standard error over one walk as a share of it."""
    length_m: float
    error: float


def calibrated_pace(known_m, paces):
    """Return the Pace of a person who counted paces over one distance several times.

    The length is the distance over the mean count. The error is that of one walk to come: the
    spread of the counts and the error of their mean, s / mean * sqrt(1 + 1 / k).

    Parameters
        known_m  the distance, metres, above 0
        paces    (k,) paces counted on each walk, all above 0, k at least LEAST_WALKS
    Raises   InputProblem: fewer walks, a count or distance that is not above 0, or a pace that no
             person takes
    Source   prediction of one more value: any textbook; the calibration by walks: common practice
    """
    counts = np.asarray(paces, float)
    if len(counts) < LEAST_WALKS:
        raise InputProblem(f"Paces were counted on {len(counts)} walk; the error of a pace shows "
                           f"from {LEAST_WALKS} walks on. Walk the distance again.")
    if not (known_m > 0 and np.isfinite(known_m) and (counts > 0).all()
            and np.isfinite(counts).all()):
        raise InputProblem(f"{counts.tolist()} paces over {known_m:g} m are no calibration. Enter "
                           "the paces of each walk and the distance, all above 0.")
    mean = counts.mean()
    length_m = float(known_m / mean)
    require_pace(length_m)
    spread = counts.std(ddof=1)
    return Pace(length_m, float(spread / mean * np.sqrt(1 + 1 / len(counts))))


def require_pace(length_m):
    """Refuse a length that no person paces: taken for a mistaken unit.

    Raises   InputProblem: it does not lie between LEAST_PACE_M and GREATEST_PACE_M
    """
    if not LEAST_PACE_M <= length_m <= GREATEST_PACE_M:
        raise InputProblem(f"A pace comes to {length_m:.2f} m ({length_m / 0.3048:.1f} ft), and "
                           f"people pace {LEAST_PACE_M:g} to {GREATEST_PACE_M:g} m. Check the "
                           "distance, its unit and the paces counted.")
