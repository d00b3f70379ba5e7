"""What an error of place does to a value: how much the field varies over that distance."""
import numpy as np

from ..interpolate.estimate import LEAST_FOR_MAP
from ..interpolate.reml import fit_reml
from ..problems import InputProblem


def value_error_of_placement(positions_m, values, placement_error_m, *, tick=None):
    """Return the standard error (n,) that each value has because its place is not known exactly.

    A value taken at a place that lies h off was taken where the field differs, with a mean squared
    difference of twice the semivariance at h. So the error is the root of 2 (C(0) - C(h)), C
    the structured part of the covariance model that fits the values best and h the placement
    error. It is 0 everywhere where no structure shows: then no place tells more than another.
    The error goes where errors of values go: into the likelihood and the kriging system.

    Parameters
        positions_m        (n, 2) metres, as placed
        values             (n,) any unit, finite, n at least LEAST_FOR_MAP
        placement_error_m  (n,) metres
        tick               called with the fraction of candidate models done
    Raises   InputProblem: too few readings, or all values are equal
    Source   Cressie and Kornak (2003), Statistical Science 18:436-456 (from memory), whose
             expectation over the error of place is taken here at its root mean square
    """
    values = np.asarray(values, float)
    if len(values) < LEAST_FOR_MAP:
        raise InputProblem(f"{len(values)} readings cannot show how values vary with distance; "
                           f"{LEAST_FOR_MAP} or more are needed. Leave the value's column empty.")
    model = fit_reml(positions_m, values, np.zeros(len(values)), tick=tick)[0].model
    lost = model.covariance(0.0) - model.covariance(placement_error_m)
    return np.sqrt(2 * np.maximum(lost, 0.0))
