"""The decision of a plan that spreads a product at several rates, in one sentence."""
from ..decide.rate_zones import APPLY
from .figures import figure
from .plan_account import area_of


def sidedress_headline(plan):
    """Return the sidedress decision in one sentence."""
    return _headline(plan, "sidedress", "nitrogen")


def lime_headline(plan):
    """Return the lime decision in one sentence."""
    return _headline(plan, "spread", "lime")


def _headline(plan, verb, product):
    unit, mass = plan.area_unit, plan.rate_unit.split("/")[0]
    whole, treated = sum(zone.area for zone in plan.zones), area_of(plan, APPLY)
    if not treated:
        return f"{verb.capitalize()} no {product}: the soil test asks for none in any zone."
    rates = sorted({zone.rate for zone in plan.zones if zone.action == APPLY})
    rate = figure(rates[0], plan.rate_unit)["text"]
    if len(rates) > 1:
        rate += f" to {figure(rates[-1], plan.rate_unit)['text']}"
    on = figure(whole, unit)["text"]
    on = f"all of it, {on}" if treated == whole else f"{figure(treated, unit)['text']} of {on}"
    amount = sum(zone.figures["amount"][0] for zone in plan.zones)
    said = f"{verb.capitalize()} {rate} of {product} on {on}: {figure(amount, mass)['text']} in all"
    if plan.gain:
        saved = figure(abs(plan.gain), plan.currency)["text"]
        said += f", {saved} {'less' if plan.gain > 0 else 'more'} than the usual rate everywhere"
    elif all("cost" in zone.figures for zone in plan.zones):
        cost = sum(zone.figures["cost"][0] for zone in plan.zones)
        said += f", {figure(cost, plan.currency)['text']}"
    return f"{said}."
