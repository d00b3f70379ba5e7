"""The readings and the model that travel with a surface."""
import numpy as np

from ..problems import InputProblem
from .covariance import CovarianceModel


def readings_and_model(surface):
    """Return what a surface was drawn from: (n, 4) easting, northing, value and error variance of
    its readings, and its CovarianceModel.

    Raises   InputProblem: it carries none, and why
    """
    account = surface.account
    if account.get("drift"):
        raise InputProblem(
            f"{surface.name} was made with a mean that follows {', '.join(account['drift'])}. How "
            "far that is off in one place goes with how far it is off in all others, which the "
            "surface does not carry. Make it again with a constant mean and no layers.")
    if account.get("model") is None:
        raise InputProblem(f"{surface.name} does not carry its readings: it is no surface of "
                           "readings. Give the surface that Surface from readings made.")
    if account.get("sites") is None:
        raise InputProblem(f"{surface.name} does not carry its readings, as it was made from very "
                           "many, or is no surface of readings. Make it from at most 600.")
    return np.asarray(account["sites"], float), CovarianceModel(**account["model"])
