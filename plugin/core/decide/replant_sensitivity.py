"""At which price, cost, share or date replanting turns from gaining to losing, and the reverse."""
from dataclasses import replace
from datetime import timedelta
from functools import cache

import numpy as np

from .replant import KEEP, REPLANTED
from .replant_gain import gain_over_kept, kept_line
from .sensitivity import Sensitivity, Turn, turn_of
from .yield_response import days_covered

TIMES = 4.0  # prices and yields are sought from a quarter of to four times what was entered
COSTS = ("termination_cost", "replanting_cost", "extra_nitrogen_cost", "extra_weed_cost",
         "other_replant_cost", "insurance_payment")


def replant_sensitivity(plan, stand, table, settings, *, tick=None):
    """Return where each setting alone turns the replant decision, the date last.

    Of the replanted ground as a whole it is where its expected gain ends, of the kept ground
    where one begins; ground to look at again is in neither. Money per area is sought from nothing
    to the worth of a full crop, shares over all they can be, dates by day over those the table
    covers. A setting that moves no gain, such as moisture where drying costs nothing, is left
    out.

    Parameters
        plan             Plan that replant_plan made of stand, table and settings
        stand            Surface
        table, settings  YieldTable, ReplantSettings
        tick             called with the fraction done; may raise Stopped
    Returns  tuple of Sensitivity; empty where all ground is to be looked at again
    Raises   InputProblem: as `gain_per_area`
    """
    found, bounds = [], _bounds(settings)

    def ask():
        if tick is not None:
            tick(done / len(bounds))

    done = 0
    gains = [_gain_of_ground(plan, stand, table, settings, action, ask)
             for action in (REPLANTED, KEEP)]
    if not any(gains):
        return ()
    for done, (name, ends) in enumerate(bounds.items()):  # noqa: B007 - told by ask()
        ask()
        if any(gain is not None and _moves(gain, settings, name, ends) for gain in gains):
            value, unit = settings.numbers()[name]
            found.append(Sensitivity(name, unit, value, *(
                None if gain is None else turn_of(_alone(gain, settings, name), value, *ends)
                for gain in gains)))
    return (*found, Sensitivity("replant_date", "", settings.replant_date, *(
        None if gain is None else _turn_of_date(gain, table, settings) for gain in gains)))


def _gain_of_ground(plan, stand, table, entered, action, ask):
    """Return the expected gain per area of an action's ground as a function of settings.

    None where there is no such ground. `ask` is called before all cells are gone through.
    """
    labels = [zone.label for zone in plan.zones if zone.action == action]
    ground = np.isin(plan.zone_map.labels, labels) & (stand.inside > 0)
    if not ground.any():
        return None
    known = stand.estimate[ground], stand.standard_error[ground]

    @cache
    def kept(unevenness_loss):  # all else that is varied leaves the percent kept as it is
        ask()
        line = kept_line(table, replace(entered, unevenness_loss=unevenness_loss))
        return float(np.average(line.expected(*known), weights=stand.inside[ground]))

    return lambda settings: float(gain_over_kept(table, settings, kept(settings.unevenness_loss)))


def _alone(gain, settings, name):
    """Return the gain as a function of one setting."""
    return lambda value: gain(replace(settings, **{name: value}))


def _moves(gain, settings, name, ends):
    low, high = map(_alone(gain, settings, name), ends)
    return low != high


def _bounds(settings):
    worth = settings.crop_price * settings.expected_yield
    seed = worth * settings.seeds_per_unit / settings.seeds_per_area
    return {
        **{name: (getattr(settings, name) / TIMES, getattr(settings, name) * TIMES)
           for name in ("crop_price", "expected_yield")},
        "expected_emergence": (1.0, 100.0), "seed_unit_cost": (0.0, seed),
        "seed_rebate": (0.0, 100.0), **dict.fromkeys(COSTS, (0.0, worth)),
        "drying_cost": (0.0, settings.crop_price), "moisture_replanted": (0.0, 60.0),
        "unevenness_loss": (0.0, 100.0), "replant_loss": (0.0, 100.0)}


def _turn_of_date(gain, table, settings):
    """Return the Turn of the replant date: the nearest day on which the sign of the gain differs.

    Of two days equally near the later counts.
    """
    first, last = days_covered(table, settings.planting_date.year)
    first = max(first, settings.planting_date + timedelta(days=1))
    now, gains = settings.replant_date, _alone(gain, settings, "replant_date")
    above = gains(now) > 0
    for apart in range(1, max((last - now).days, (now - first).days) + 1):
        for day in (now + timedelta(days=apart), now - timedelta(days=apart)):
            if first <= day <= last and (gains(day) > 0) != above:
                return Turn(day, day > now, first, last)
    return Turn(None, False, first, last)
