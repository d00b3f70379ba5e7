"""At which chance, cost or margin the tillage decision turns."""
import numpy as np

from .sensitivity import Sensitivity, Turn
from .tillage_depth import LEAVE, TILL

LEFT_PAN = "loss_by_a_pan_left"


def tillage_sensitivity(plan, bottom, chance, settings, area_unit):
    """Return where each setting alone turns the tillage decision for the ground as a whole.

    Tilling costs the pass, and leaving a pan loses some money, which nobody knows; ground is
    worth tilling where its chance of a pan is above the cost over that loss. A limit of the
    chance is thus the same as a loss of cost / limit, and turns of chance, cost and loss follow
    from each other and the mean chance p of the ground:

        limit = p,  cost = p x loss,  loss = cost / p

    Cost and loss are left out where either is nothing. The margin turns the decision where the
    mean bottom of the ground to till and it come to more than the tool reaches.

    Parameters
        plan            Plan that tillage_plan made of the others
        bottom, chance  Surfaces
        settings        TillageSettings
    Returns  tuple of Sensitivity; empty where the tool reaches nothing and nothing is left
    Source   the cost-loss rule: Thompson, J.C. (1952), Bulletin of the American Meteorological
             Society 33:223-226; from memory
    """
    means = [_mean_of(plan, chance, action) for action in (TILL, LEAVE)]
    deepest = _mean_of(plan, bottom, TILL)
    if means == [None, None]:
        return ()
    limit, cost = settings.chance_limit, settings.cost_per_area
    per_area = f"{settings.currency}/{area_unit}"
    found = [_turning("chance_limit", "", limit, means, lambda mean: mean, above=(True, False),
                      bounds=(0.0, 1.0))]
    if limit > 0 and cost > 0:
        loss = cost / limit
        found += [
            _turning("tillage_cost", per_area, cost, means, lambda mean: mean * loss,
                     above=(True, False), bounds=(0.0, loss)),
            _turning(LEFT_PAN, per_area, loss, means,
                     lambda mean: cost / mean if mean > 0 else None, above=(False, True),
                     bounds=(0.0, np.inf))]
    if deepest is not None:
        found.append(_turning("tillage_margin", settings.depth_unit, settings.margin,
                              [deepest, None], lambda mean: max(settings.greatest - mean, 0.0),
                              above=(True, False), bounds=(0.0, settings.greatest)))
    return tuple(found)


def _mean_of(plan, surface, action):
    """Return the mean of a surface over the ground of an action, None where there is none."""
    labels = [zone.label for zone in plan.zones if zone.action == action]
    ground = np.isin(plan.zone_map.labels, labels) & (surface.inside > 0)
    if not ground.any():
        return None
    return float(np.average(surface.estimate[ground], weights=surface.inside[ground]))


def _turning(name, unit, now, means, value_of, *, above, bounds):
    turns = [None if mean is None else Turn(value_of(mean), side, *bounds)
             for mean, side in zip(means, above)]
    return Sensitivity(name, unit, now, *turns)
