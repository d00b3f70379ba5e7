"""Which setting, alone, would move the rate of a soil plan by a step."""
from dataclasses import replace

import numpy as np

from ..units import convert
from .lime_methods import CLAMP, lime_needed, range_of_targets, targets_known
from .nitrate_rules import PREVIOUS_CROPS, asked_by, nitrogen_needed
from .rate_zones import to_step
from .sensitivity import Sensitivity, Turn, turn_of

_TIMES = (0.25, 4.0)  # between which a setting is sought, over its value as entered
_MOST_EFFECTIVE = 200.0  # percent, as the plan takes it
COLUMN_OF = {"usual_rate": "usual_nitrogen"}  # what a record calls a setting, where not the same
_YES_OR_NO = ("manure_since_harvest", "manure_earlier", "wet_spring", "mixed_cover_crop")


def sidedress_sensitivity(nitrate, rule, site, spread, *, yield_unit):
    """Return where each setting that the rule asks for, alone, moves the field's mean rate.

    The mean need of the field, to the step, stands for its rates. A setting of words or of yes
    and no names the others that move it. Of the price no value does: no rule asks for it.

    Parameters
        nitrate, rule, site, spread   as for `sidedress_plan`
        yield_unit                    of the site's expected yield
    Returns  tuple of Sensitivity: "worked" is a step more, "spared" a step less
    """
    field = nitrate.inside > 0
    content = np.maximum(nitrate.estimate[field], 0.0)

    def need(**changed):
        return np.average(nitrogen_needed(rule, replace(site, **changed), content),
                          weights=nitrate.inside[field])

    found, asked = [], asked_by(rule, wet_spring=site.wet_spring)
    for name, unit in (("expected_yield", yield_unit), ("usual_rate", spread.rate_unit)):
        now = getattr(site, name)
        if name in asked and now > 0:
            found.append(_of_number(COLUMN_OF.get(name, name), unit, now,
                                    lambda value, name=name: need(**{name: value}), spread,
                                    *(times * now for times in _TIMES)))
    for name in asked:
        if name in _YES_OR_NO and not (rule.kind == "yield_less_slope"
                                       and name == "manure_earlier"):  # without it no rule
            found.append(_of_choice(name, getattr(site, name), (True, False), spread,
                                    lambda value, name=name: need(**{name: value})
                                    if _told(rule, site, name, value) else None))
    if "previous_crop" in asked:
        found.append(_of_choice("previous_crop", site.previous_crop, PREVIOUS_CROPS, spread,
                                lambda value: need(previous_crop=value)))
    return (*found, *_of_price(spread))


def lime_sensitivity(ph, buffer_ph, method, spread, *, target_ph, depth_m, depth_unit,
                     effective_percent):
    """Return where target pH, depth and quality of the lime, each alone, move the field's rate.

    As `sidedress_sensitivity`. A method that knows some targets only names those of them that
    move it. A buffer pH outside a method's table counts as the nearest of it: another target may
    ask for lime where none was needed.

    Parameters   as for `lime_plan`
    """
    field = ph.inside > 0
    depth = float(convert(depth_m, "m", depth_unit))

    def need(target=target_ph, times=1.0):
        found = lime_needed(method, ph.estimate[field], buffer_ph.estimate[field],
                            target_ph=target, depth_m=depth_m, unit=spread.rate_unit,
                            outside=CLAMP)
        return np.average(found.rates, weights=ph.inside[field]) * times / (
            effective_percent / 100)

    between = range_of_targets(method)
    if between:
        first = _of_number("target_ph", "", target_ph, lambda value: need(target=value), spread,
                           *between)
    else:
        first = _of_choice("target_ph", target_ph, targets_known(method), spread,
                           lambda value: need(target=value))
    low, high = _TIMES
    return (
        first,
        _of_number("lime_depth", depth_unit, depth, lambda value: need(times=value / depth),
                   spread, low * depth, high * depth),
        _of_number("lime_quality", "% effective", effective_percent,
                   lambda value: need(times=effective_percent / value), spread,
                   low * effective_percent, min(high * effective_percent, _MOST_EFFECTIVE)),
        *_of_price(spread))


def _of_number(name, unit, now, need, spread, low, high):
    """Return the Sensitivity of a number: need is a function of it."""
    rate = float(to_step(need(now), spread))
    none = Turn(None, False, low, high)
    more = spread.first / 2 if rate == 0 else rate + spread.step / 2
    less = spread.first / 2 if rate <= spread.first else rate - spread.step / 2
    return Sensitivity(
        name, unit, now,
        none if rate >= spread.last else turn_of(lambda value: need(value) - more, now, low, high),
        none if rate == 0 else turn_of(lambda value: need(value) - less, now, low, high))


def _of_choice(name, now, choices, spread, need):
    """Return the Sensitivity of a setting of words; need gives None where a choice lacks more."""
    rate, others = float(to_step(need(now), spread)), {"more": [], "less": []}
    for choice in choices:
        other = None if choice == now else need(choice)
        moved = 0.0 if other is None else float(to_step(other, spread)) - rate
        if abs(moved) > spread.step / 2:
            others["more" if moved > 0 else "less"].append(in_words(choice))
    return Sensitivity(name, "", in_words(now), *(
        Turn(" or ".join(some) or None, False, in_words(choices[0]), in_words(choices[-1]))
        for some in others.values()))


def _of_price(spread):
    if spread.price is None:
        return ()
    mass = spread.rate_unit.split("/")[0]
    none = Turn(None, False, 0.0, np.inf)
    return (Sensitivity(f"{spread.product}_price", f"{spread.currency}/{mass}", spread.price,
                        none, none),)


def _told(rule, site, name, value):
    """Return whether a rule knows all it asks for once a setting of yes and no is changed."""
    changed = replace(site, **{name: value})
    return all(getattr(changed, one) is not None
               for one in asked_by(rule, wet_spring=changed.wet_spring))


def in_words(value):
    """Return a choice as people read it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.replace("_", " ") if isinstance(value, str) else f"{value:g}"
