"""A plan as figures and words: what the summary keeps and the report prints."""
from .figures import figure, interval, share

REPLANT_WORDS = {"keep": "keep", "replant": "replant"}


def plan_account(plan, *, title, headline, break_even=None):
    """Return a Plan as plain figures and words.

    Parameters
        plan        Plan
        title       what the section is called
        headline    the decision in one sentence
        break_even  a (value, unit) pair, or None
    """
    per_area = f"{plan.currency}/{plan.area_unit}"
    actions = sorted({zone.action for zone in plan.zones})
    return {
        "title": title, "headline": headline,
        "zones": [{
            "zone": str(zone.label + 1), "action": zone.action,
            "rate": figure(zone.rate, plan.rate_unit), "area": figure(zone.area, plan.area_unit),
            "gain_per_area": figure(zone.gain_per_area, per_area),
            "gain": figure(zone.gain, plan.currency),
            "interval": interval(zone.gain_low, zone.gain_high, plan.currency),
            "chance": share(zone.chance),
            "figures": {name: _figure_of_zone(*pair) for name, pair in zone.figures.items()}}
            for zone in plan.zones],
        "totals": {
            "area_by_action": {action: figure(area_of(plan, action), plan.area_unit)
                               for action in actions},
            "gain": figure(plan.gain, plan.currency),
            "interval": interval(plan.gain_low, plan.gain_high, plan.currency)},
        "settings": [{"name": name.replace("_", " "), "figure": _setting(*pair)}
                     for name, pair in plan.settings.items()],
        "sources": list(plan.sources),
        "break_even": None if break_even is None else figure(*break_even),
        "cautions": list(plan.cautions)}


def area_of(plan, action):
    """Return the area of all zones of an action, in the plan's area unit."""
    return sum(zone.area for zone in plan.zones if zone.action == action)


def replant_headline(plan):
    """Return the replant decision in one sentence."""
    replanted, whole = area_of(plan, "replant"), sum(zone.area for zone in plan.zones)
    if not replanted:
        return "Keep the stand everywhere: replanting is not expected to pay in any zone."
    money, unit = plan.currency, plan.area_unit
    seeds = sum(zone.figures["seed units"][0] for zone in plan.zones)
    return (f"Replant {figure(replanted, unit)['text']} of {figure(whole, unit)['text']}: expected "
            f"gain {figure(plan.gain, money)['text']} (nine times in ten "
            f"{interval(plan.gain_low, plan.gain_high, money)['text']}), "
            f"{figure(seeds, 'seed units')['text']}.")


def tillage_headline(plan):
    """Return the tillage decision in one sentence."""
    whole, left = sum(zone.area for zone in plan.zones), area_of(plan, "leave")
    tilled, unit = area_of(plan, "till"), plan.area_unit
    if not tilled:
        return "Leave the ground alone: no zone is likely enough to hold a pan the tool can break."
    depths = sorted({zone.rate for zone in plan.zones if zone.action == "till"})
    depth = figure(depths[0], plan.rate_unit)["text"]
    if len(depths) > 1:
        depth += f" to {figure(depths[-1], plan.rate_unit)['text']}"
    return (f"Loosen {figure(tilled, unit)['text']} of {figure(whole, unit)['text']}, "
            f"{depth} deep, "
            f"and leave {figure(left, unit)['text']}: {figure(plan.gain, plan.currency)['text']} "
            "less than tilling all of it.")


def _figure_of_zone(value, unit):
    found = figure(value, unit)
    if "%" in unit and found["value"] is not None:
        found["text"] = f"{round(value)} {unit}"
    return found


def _setting(value, unit):
    if isinstance(value, str):
        return {"value": value, "unit": unit, "text": value}
    return figure(value, unit)
