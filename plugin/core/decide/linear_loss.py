"""Two actions, and money lost in proportion to how far a figure lies beyond the limit between them.

On one side of the limit one action is right, on the other side the other. Taking the wrong one
loses `loss` for each unit of the figure beyond the limit, on each unit of area.
"""
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from ..problems import InputProblem
from .checks import require_number
from .replant_gain import break_even_stand, gain_line, gain_per_area

ON_A_BEND = 1e-9  # relative: a break-even this near to a stand of the table is on it


@dataclass(frozen=True)
class LinearLoss:
    """A choice between two actions.

    limit         figure at which both actions pay the same, in its own unit
    loss          money per unit of the figure and per area unit, above 0
    area_unit     ac or ha
    below, above  the right action on either side of the limit, in a word or two
    currency      of the money, or "" where it is not known
    """
    limit: float
    loss: float
    area_unit: str
    below: str = "below the limit"
    above: str = "above the limit"
    currency: str = ""

    def __post_init__(self):
        require_number("the limit", self.limit, "unit of the surface")
        require_number("the loss", self.loss,
                       f"money per unit beyond the limit per {self.area_unit}", above=0)


def replant_loss(table, settings):
    """Return the LinearLoss of keeping or replanting: the break-even stand and the gain's slope.

    The gain is straight between the stands of the table; its slope at the break-even stand is
    taken to hold on both sides, the mean of the two slopes where the line bends just there.
    Further off the true line bends, but there the choice is seldom in doubt.

    Parameters
        table, settings   as gain_per_area
    Raises   InputProblem: replanting gains at every stand, or at none, so there is no choice; or
             as gain_per_area
    """
    stand = break_even_stand(table, settings)
    if stand is None:
        every = gain_per_area(table, settings, 0.0) > 0
        raise InputProblem("Replanting gains at every stand of the table, so no reading can change "
                           "the choice." if every else
                           "Replanting gains at no stand, not even where no plant stands, so no "
                           "reading can change the choice.")
    line = gain_line(table, settings)
    slopes = np.diff(line.values) / np.diff(line.knots)
    either_side = stand * np.array([1 - ON_A_BEND, 1 + ON_A_BEND])
    near = slopes[np.clip(np.searchsorted(line.knots, either_side) - 1, 0, len(slopes) - 1)]
    return LinearLoss(stand, float(-near.mean()), settings.area_unit, below="replant", above="keep",
                      currency=settings.currency)


def pan_loss(cost_per_area, *, chance_limit=None, left_pan=None, area_unit, currency=""):
    """Return the LinearLoss of tilling or leaving ground, by the chance of a pan there.

    Tilling costs the pass; leaving a pan loses `left_pan`, so that ground with the chance p of a
    pan gains p x left_pan - cost by tilling: straight in p, with its limit at cost / left_pan.
    Of the limit and the loss one is given and the other follows.

    Parameters
        cost_per_area  of one pass, money per area unit, above 0
        chance_limit   chance from which ground is tilled, above 0 and below 1
        left_pan       money lost per area unit where a pan is left, more than the pass costs
    Raises   InputProblem: both or neither are given, or one makes no sense
    """
    require_number("tillage_cost", cost_per_area, f"{currency}/{area_unit}", above=0)
    if (chance_limit is None) == (left_pan is None):
        raise InputProblem("Give either the chance from which ground is tilled, or the money lost "
                           "where a pan is left; the other follows from the cost of the pass.")
    if left_pan is None:
        require_number("the chance from which ground is tilled", chance_limit, "chance", above=0)
        left_pan = cost_per_area / chance_limit
    require_number("the money lost where a pan is left", left_pan, f"{currency}/{area_unit}",
                   above=0)
    if left_pan <= cost_per_area:
        raise InputProblem(f"A pan left in place loses {left_pan:,g} and the pass costs "
                           f"{cost_per_area:,g} {currency}/{area_unit}, so tilling never pays and "
                           "no reading can change that.")
    return LinearLoss(cost_per_area / left_pan, left_pan, area_unit, below="leave", above="till",
                      currency=currency)


def expected_shortfall(gap, spread):
    """Return E[max(0, X)] for X of mean -|gap| and the given standard deviation.

    With X the part of a gain by which the rejected action turns out better, this is what the
    choice by the mean is expected to lose against knowing X; with the standard deviation that a
    reading gives the mean, it is what the reading is expected to gain. 0 where the spread is 0.

    Parameters
        gap, spread   arrays that broadcast; spread 0 or more
    Source   unit normal loss: Raiffa, H. and Schlaifer, R. (1961), Applied Statistical Decision
             Theory, chapter 5 (linear loss, normal prior; from memory), checked against simulation
             in the tests
    """
    spread = np.asarray(spread, float)
    some = spread > 0
    z = np.abs(gap) / np.where(some, spread, 1.0)
    density = np.exp(-z**2 / 2) / np.sqrt(2 * np.pi)
    # far out the difference of two equal numbers may round to just below 0
    return np.where(some, spread * np.maximum(density - z * ndtr(-z), 0.0), 0.0)
