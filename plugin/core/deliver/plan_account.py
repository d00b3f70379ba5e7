"""A plan as figures and words: what the summary keeps and the report prints."""
from .figures import figure, interval, share

NOT_ENTERED = "not entered"
FUEL_PRICE = "Fuel price"  # as the field's form calls it


def plan_account(plan, *, title, headline, break_even=None, names=None, not_entered=(),
                 cautions=(), rating=None, sensitivity=None, break_even_curve=None):
    """Return a Plan as plain figures and words.

    Parameters
        plan        Plan
        title       what the section is called
        headline    the decision in one sentence
        break_even  a (value, unit) pair, or None
        names       dict of setting to what the user knows it by; others read as their own words
        not_entered   names of settings that the record leaves empty and that count as nothing
        cautions      sentences to go before those of the plan
        rating        CompactionRating, or None
        sensitivity, break_even_curve   as core.deliver.sensitivity_account makes them, or None
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
            "figures": {name: _figure_of_zone(name, *pair)
                        for name, pair in zone.figures.items()}}
            for zone in plan.zones],
        "totals": {
            "area_by_action": {action: figure(area_of(plan, action), plan.area_unit)
                               for action in actions},
            "gain": figure(plan.gain, plan.currency),
            "interval": interval(plan.gain_low, plan.gain_high, plan.currency)},
        "settings": [{"name": (names or {}).get(name) or _words(name),
                      "figure": _setting(*((NOT_ENTERED, "") if name in not_entered else pair))}
                     for name, pair in plan.settings.items()],
        "sources": list(plan.sources),
        "break_even": None if break_even is None else figure(*break_even),
        "figures": {name: _figure_of_plan(*parts) for name, parts in plan.figures.items()},
        "ranges": {name: interval(*ends, unit)
                   for name, (_, unit, *ends) in plan.figures.items() if ends},
        "rating": None if rating is None else {
            "share": rating.share, "low": rating.low, "high": rating.high,
            "rating": rating.rating, "text": rating.text, "from_memory": True},
        "sensitivity": sensitivity, "break_even_curve": break_even_curve,
        "cautions": [*cautions, *plan.cautions]}


def not_told(lacking):
    """Return the sentence that says why a tillage plan tells no energy, or no money for its fuel.

    Parameters
        lacking  titles of what the field's form leaves empty; none where nothing does
    """
    if not lacking:
        return ()
    if len(lacking) == 1 and lacking[0] == FUEL_PRICE:
        return (f"What the fuel saved is worth is not told: enter {FUEL_PRICE} in the record's "
                "field.",)
    named = ", ".join(lacking)
    return (f"Draft, power, fuel and hours are not told, since the record's field leaves these "
            f"empty: {named}. Enter them to compare the plan with one depth all over.",)


def area_of(plan, action):
    """Return the area of all zones of an action, in the plan's area unit."""
    return sum(zone.area for zone in plan.zones if zone.action == action)


def replant_headline(plan):
    """Return the replant decision in one sentence."""
    replanted, whole = area_of(plan, "replant"), sum(zone.area for zone in plan.zones)
    doubtful = area_of(plan, "look again")
    if not replanted and not doubtful:
        return "Keep the stand everywhere: replanting is not expected to pay in any zone."
    if not replanted:
        return (f"Replant nothing yet: look again at {figure(doubtful, plan.area_unit)['text']} of "
                f"{figure(whole, plan.area_unit)['text']}, where it is in doubt whether replanting "
                "pays.")
    again = (f" Look again at {figure(doubtful, plan.area_unit)['text']} before deciding."
             if doubtful else "")
    money, unit = plan.currency, plan.area_unit
    seeds = sum(zone.figures["seed units"][0] for zone in plan.zones)
    return (f"Replant {figure(replanted, unit)['text']} of {figure(whole, unit)['text']}: expected "
            f"gain {figure(plan.gain, money)['text']} (nine times in ten "
            f"{interval(plan.gain_low, plan.gain_high, money)['text']}), "
            f"{figure(seeds, 'seed units')['text']}.{again}")


def for_the_whole(headline, is_map):
    """Return a headline as it is, or, where a surface behind the plan is no map, saying so."""
    if is_map:
        return headline
    return ("The readings give no map; for the field as a whole: "
            f"{headline[0].lower()}{headline[1:]}")


def tillage_headline(plan):
    """Return the tillage decision in one sentence, and one on fuel where that is known."""
    saved = plan.figures.get("fuel saved")
    if saved is None or not saved[0] > 0:
        return _tillage_decision(plan)
    depth = figure(*plan.figures["one depth to compare with"])["text"]
    return (f"{_tillage_decision(plan)} Against {depth} all over it takes "
            f"{_figure_of_plan(*saved)['text']} less fuel.")


def _tillage_decision(plan):
    whole, left = sum(zone.area for zone in plan.zones), area_of(plan, "leave")
    tilled, unit = area_of(plan, "till"), plan.area_unit
    beyond = figure(area_of(plan, "cannot reach"), unit)["text"]
    too_deep = area_of(plan, "cannot reach") > 0
    if not tilled and too_deep:
        return (f"Loosen nothing with this tool: on {beyond} of {figure(whole, unit)['text']} the "
                "hard layer lies deeper than it reaches.")
    if not tilled:
        return "Leave the ground alone: no zone is likely enough to hold a pan the tool can break."
    depths = sorted({zone.rate for zone in plan.zones if zone.action == "till"})
    depth = figure(depths[0], plan.rate_unit)["text"]
    if len(depths) > 1:
        depth += f" to {figure(depths[-1], plan.rate_unit)['text']}"
    if not left and not too_deep:
        return f"Loosen all of it, {figure(whole, unit)['text']}, {depth} deep."
    parts = [f"Loosen {figure(tilled, unit)['text']} of {figure(whole, unit)['text']}, "
             f"{depth} deep"]
    if left:
        parts.append(f", and leave {figure(left, unit)['text']}: "
                     f"{figure(plan.gain, plan.currency)['text']} less than tilling all of it")
    if too_deep:
        parts.append(f"; on {beyond} the hard layer lies deeper than the tool reaches")
    return "".join(parts) + "."


def _figure_of_plan(value, unit, *ends):
    """A figure of the whole field; with its range in brackets where it has one."""
    found = figure(value, unit)
    if not ends:
        return found
    return {**found, "text": f"{found['text']} ({interval(*ends, unit)['text']})"}


def _figure_of_zone(name, value, unit):
    found = figure(value, unit)
    if found["value"] is None:
        return found
    if "chance" in name and unit == "%":
        found["text"] = share(value / 100)["text"]
    elif "standard error" in name:  # whole centimetres would round a small error up or away
        found["text"] = f"{value:.1f} {unit}"
    elif not unit and "pH" in name:
        found["text"] = f"{value:.2f}"
    elif "%" in unit:
        found["text"] = f"{round(value)} {unit}"
    return found


def _words(name):
    words = name.replace("_", " ")
    return f"{words[:1].upper()}{words[1:]}"


def _setting(value, unit):
    if isinstance(value, str):
        return {"value": value, "unit": unit, "text": value}
    return figure(value, unit)
