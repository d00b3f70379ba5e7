"""The summary of a field call: every figure the report prints, with its unit and its text."""
from scipy.special import stdtrit

from ..decide.cautions import DEEP_TILLAGE
from ..interpolate.estimate import MEAN
from ..interpolate.verdict import little_told
from .figures import figure, interval

TITLES = {"stand_counts": "Stand counts", "row_counts": "Rows counted one by one",
          "plant_positions": "Plant positions", "seed_depths": "Seed depths",
          "compaction_readings": "Insertions", "compaction_profile": "Resistances by depth",
          "probe_points": "Soil cores", "scout_notes": "Notes", "yield_points": "Yield records"}


def summary_of(record, made, *, area, stand=None, pan=None, yields=(), seen=None, soil=(),
               soil_surfaces=None, findings=None, replant=None, tillage=None, sidedress=None,
               lime=None, doubtful=(), lacking=()):
    """Return the summary as plain data, in the shape that the report reads.

    Parameters
        record    dict: file, sha256, units, field (dict), counts (dict), area unit, currency
        made      dict of program, version, time
        area      of the field, in the record's area unit
        stand     dict: account, surface, zones, or None
        pan       dict: account, top, bottom, chance_area, or None
        yields    list of dict: account, surface
        seen      account of what was seen, or None
        soil      accounts of the soil results
        soil_surfaces   diagnostics of those that were mapped, by their name
        findings  account of the possible causes, or None
        replant, tillage, sidedress, lime   plan accounts, or None
        doubtful  dicts of title and count: what the checks of the readings flagged
        lacking   sentences: what could not be done, and why
    """
    field, units = record["field"], record["units"]
    plans = {"replant": replant, "tillage": tillage, "sidedress": sidedress, "lime": lime}
    mapped_soil = soil_surfaces or {}
    used = {"stand_counts": (stand, "left_out"), "compaction_readings": (pan, "left_out")}
    return {
        "made": {**made, "record": record["file"], "sha256": record["sha256"]},
        "units": units.name,
        "field": {"name": field["name"] or "Field without a name", "grower": field["grower"] or "",
                  "crop": field["crop"] or "", "season": _whole(field["season"]),
                  "planted": _day(field["planting_date"]), "visited": _day(field["visit_date"]),
                  "area": figure(area, units.area)},
        "readings": [_readings(layer, count, used.get(layer), yields)
                     for layer, count in record["counts"].items()
                     if layer != "field" and count],
        "stand": None if stand is None else _stand(stand, field, units),
        "pan": None if pan is None else _pan(pan, units),
        "yields": [_yield(one) for one in yields],
        "seen": seen,
        "soil": [one | ({"map": _map(mapped_soil[one["name"]])} if one["name"] in mapped_soil
                        else {}) for one in soil],
        "findings": findings, **plans,
        "cautions": _once([plan["cautions"] for plan in plans.values() if plan]
                          + [DEEP_TILLAGE] * (pan is not None)),
        "doubtful": [f"{kind['title']}: {kind['count']}." for kind in doubtful],
        "lacking": list(lacking)}


def mapped(surface):
    """Tell whether a surface's diagnostics are those of a map and not of the mean."""
    return surface["method"] != MEAN


def _readings(layer, count, section, yields):
    left_out, note = 0, ""
    if section is not None and section[0] is not None:
        left_out = section[0]["account"]["left_out"]
        note = " ".join(section[0]["account"]["warnings"])
    elif layer == "yield_points" and yields:
        left_out = sum(sum(one["account"]["left_out"].values()) for one in yields)
        note = "; ".join(f"{reason} {number}" for reason, number in _reasons(yields).items())
    return {"layer": layer, "title": TITLES[layer], "count": figure(count),
            "used": figure(count - left_out), "note": note}


def _reasons(yields):
    total = {}
    for one in yields:
        for reason, number in one["account"]["left_out"].items():
            total[reason] = total.get(reason, 0) + number
    return {reason: number for reason, number in total.items() if number}


def _stand(stand, field, units):
    account, surface = stand["account"], stand["surface"]
    unit = account["unit"]
    mean, error = surface["mean"], surface["mean_error"]
    half = None if error is None else _half_width(error, surface["places"])
    return {
        "title": "Stand", "unit": unit, "mean": figure(mean, unit),
        "interval": None if half is None else interval(max(mean - half, 0.0), mean + half, unit),
        "target": None if field["target_stand"] is None else figure(field["target_stand"], unit),
        "stops": figure(account["stops"]), **_map(surface),
        "error": (f"The error of a count rests on {_ERROR_WORDS[account['error_source']]}."),
        "zones": [{"title": zone["title"], "area": figure(zone["area"], units.area),
                   "mean": figure(zone["mean"], unit),
                   "standard_deviation": figure(zone["deviation"], unit)}
                  for zone in stand["zones"]]}


def _pan(pan, units):
    account = pan["account"]
    return {
        "limit": figure(account["limit"], account["pressure_unit"]), "rating": account["rating"],
        "insertions": figure(account["insertions"]), "with_pan": figure(account["with_pan"]),
        "none": figure(account["none"]), "refused": figure(account["refused"]),
        "felt": figure(account["felt"]),
        "top": figure(pan["top"]["mean"], units.depth) if pan["top"] else figure(None, units.depth),
        "bottom": figure(pan["bottom"]["mean"] if pan["bottom"] else None, units.depth),
        "area_with_pan": figure(pan["area_with_pan"], units.area),
        "maps": {name: _map(pan[name]) | ({"verdict": _verdict_of_chance(pan[name])}
                                          if name == "chance" else {})
                 for name in ("chance", "top", "bottom") if pan[name]}}


def _verdict_of_chance(surface):
    """The check of a chance map as people count: how many readings left out it had right."""
    if not mapped(surface):
        return surface["verdict"]
    check = surface["diagnostics"]["left_out"]
    right = sum((observed > 0.5) == (predicted > 0.5) for observed, predicted in
                zip(check["observed"], check["predicted"]))
    count = len(check["observed"])
    claim = surface["verdict"].partition(":")[0]
    return (f"{claim}: of {count} stops, each left out in turn to check it, it was right at "
            f"{right}." + little_told(surface.get("unsure_share", 0.0)))


def _yield(one):
    account, surface = one["account"], one["surface"]
    removed = sum(account["left_out"].values())
    return {"season": str(account["season"]), "mean": figure(account["mean"], account["unit"]),
            "points": figure(account["kept"]), "removed": figure(removed), **_map(surface)}


def _map(surface):
    """How a map was made, in a few words and in full, and how far it holds."""
    return {"method": f"{_method(surface)}.",
            "detail": _detail(surface), "verdict": surface["verdict"]}


def _method(surface):
    count = f"{surface['observations']:,} readings"
    if not mapped(surface):
        return f"Mean of {count}"
    follows = ", ".join(surface.get("drift", ()))
    return (f"{surface['method'].capitalize()} of {count}"
            + (f", about a mean that follows {follows}" if follows else ""))


def _detail(surface):
    model = surface["model"]
    said = _method(surface)
    limits = surface["deeper_or_more"] + surface["shallower_or_less"]
    if limits:
        said += f", {limits} of them known only as limits"
    if "range_m" in model and mapped(surface):
        said += (f"; {_model_in_words(surface)}, nugget "
                 f"{100 * model['nugget'] / (model['nugget'] + model['partial_sill']):.0f} % of "
                 "the sill")
    check = surface["validation"]
    if check:
        said += (f"; of readings left out, {100 * check['coverage_90']:.0f} % fell in their 90 % "
                 "interval")
    return said + "."


def _model_in_words(surface):
    model = surface["model"]
    by = "by " + surface["fitted_by"] if surface["fitted_by"] else "as given"
    if "long_range_m" in model:
        return (f"nested {model['family']} model {by}, range parameters {model['range_m']:.0f} "
                f"and {model['long_range_m']:.0f} m")
    return f"{model['family']} model {by}, range parameter {model['range_m']:.0f} m"


_ERROR_WORDS = {"rows": "the spread between rows counted side by side",
                "seeds dropped": "the seeds dropped, each coming up or not (binomial)",
                "Poisson": "counts at random (Poisson)"}


def _half_width(error, places):
    """Half the 90 % interval of a mean from so many places, by Student's t."""
    return float(stdtrit(max(places - 1, 1), 0.95)) * error


def _once(lists):
    """The cautions of all lists, each once, in order."""
    return list(dict.fromkeys(caution for cautions in lists for caution in cautions))


def _whole(number):
    return "" if number is None else str(int(number))


def _day(day):
    return "" if day is None else day.isoformat()
