"""Ground to look at again before deciding: how doubtful it is, and what a further look is worth."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem
from .checks import require_number

KEEP, REPLANT = 0.25, 0.75  # this program's own choice
INTERVAL = (0.05, 0.95)  # of the draws: the 90 % interval


@dataclass(frozen=True)
class DoubtLimits:
    """Chances that replanting gains between which a zone is looked at again; 0 to 1.

    Between the two the zone is looked at again, at or outside them its expected gain decides.
    Equal limits leave nothing between them: every zone is decided.
    """
    keep: float = KEEP
    replant: float = REPLANT

    def __post_init__(self):
        for name, value in (("CHANCE_KEEP", self.keep), ("CHANCE_REPLANT", self.replant)):
            require_number(name, value, "chance", at_least=0, at_most=1)
        if self.keep > self.replant:
            raise InputProblem(f"CHANCE_KEEP ({self.keep:g}) is above CHANCE_REPLANT "
                               f"({self.replant:g}). Enter the lower chance first, or equal ones "
                               "to decide every zone.")

    def hold(self, chance):
        """Return whether each chance lies between the limits."""
        return (np.asarray(chance) > self.keep) & (np.asarray(chance) < self.replant)


DECIDE_ALL = DoubtLimits(0.5, 0.5)


def worth_of_looking(gains):
    """Return the most that a further look at each zone is worth: knowing its gain for certain.

        E[max(gain, 0)] - max(E[gain], 0)

    Parameters
        gains  (d, k) drawn gains of replanting k zones
    Returns  (k,) money, 0 or more
    Source   expected value of perfect information: Raiffa, H. and Schlaifer, R. (1961), Applied
             Statistical Decision Theory; from memory
    """
    gains = np.asarray(gains, float)
    return np.maximum(gains, 0).mean(axis=0) - np.maximum(gains.mean(axis=0), 0)


def figures_of_looking(replanted, looked_at, currency):
    """Return what the field gains with the ground to look at again, as figures of a plan.

    Parameters
        replanted  (d, r) drawn gains of the zones that are replanted, money
        looked_at  (d, k) drawn gains, if replanted, of those to look at again; k may be 0
    Returns  dict of name to (value, unit) or (value, unit, low, high); empty where k is 0
    """
    if not looked_at.shape[1]:
        return {}
    sure = replanted.sum(axis=1)
    return {
        "gain if the ground to look at again is replanted too":
            _spread(sure + looked_at.sum(axis=1), currency),
        "gain if that ground is replanted just where it pays":
            _spread(sure + np.maximum(looked_at, 0).sum(axis=1), currency),
        "most that a further look is worth":
            (float(worth_of_looking(looked_at).sum()), currency)}


def _spread(gains, currency):
    low, high = np.quantile(gains, INTERVAL)
    return float(gains.mean()), currency, float(low), float(high)
