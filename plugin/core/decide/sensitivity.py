"""What price, date or cost turns a decision: each setting alone, all others as entered."""
from dataclasses import dataclass

from scipy.optimize import brentq

_CLOSE = 1e-12  # relative: how near a root is sought


@dataclass(frozen=True)
class Turn:
    """The value of a setting at which the decision for some ground turns.

    value      None where no value from `low` to `high` turns it
    above      whether the other decision lies above the value, or below it
    low, high  bounds between which it was sought
    """
    value: object
    above: bool
    low: object
    high: object


@dataclass(frozen=True)
class Sensitivity:
    """One setting, as entered, and where it turns the decision for the ground as a whole.

    worked  Turn of the ground the plan works on (replants, loosens); None where there is none
    spared  Turn of the ground it leaves as it is (keeps, leaves); None where there is none
    """
    setting: str
    unit: str
    now: object
    worked: Turn
    spared: Turn


def turn_of(gain, now, low, high):
    """Return the Turn of a setting: where the sign of a gain changes, nearest to its value now.

    It is sought from the value now to either bound by Brent's method. A gain of 0 counts as none.
    Where the sign is the same at both bounds as now, there is no turn, though it may change twice
    between: the gains this is meant for rise or fall with the setting throughout.

    Parameters
        gain       function of the setting
        now        its value
        low, high  bounds, which may lie to one side of the value
    Source   Brent, R.P. (1973), Algorithms for Minimization without Derivatives, chapter 4, as
             scipy.optimize.brentq has it
    """
    gains = gain(now) > 0
    found = [brentq(gain, *sorted((now, end)), rtol=_CLOSE) for end in (low, high)
             if end != now and (gain(end) > 0) != gains]
    if not found:
        return Turn(None, False, low, high)
    nearest = min(found, key=lambda value: abs(value - now))
    return Turn(float(nearest), nearest >= now, low, high)
