"""The pages of a plan: headline, map, zones, totals, what turns it, settings and cautions."""
from . import look
from .break_even import draw_break_even
from .layers_of_folder import DECIDED_BY
from .phrases import (
    caption,
    counted,
    draw_listed,
    map_of_pan,
    map_of_soil,
    memory_note,
    section_names,
    visited,
)
from .planning import draw_map_and_pieces
from .tables import draw_pairs, draw_table
from .words import (
    FROM_MEMORY,
    capital,
    labelled_figures,
    name_of,
    sentence,
    text_of,
    tr,
)

_MOSTLY_EMPTY = 0.65  # share of a page that invites a plan below a short section
_FIGURES_MOST = 6  # of a zone, in one table


# the soil results that a plan rests on, and what they are called
_SOIL_OF = {"sidedress": (("nitrate_n_ppm", tr("Nitrate nitrogen")),),
            "lime": (("ph", tr("Soil pH")), ("buffer_ph", tr("Buffer pH")))}


def draw_plan(sheet, summary, maps, key):
    """Print a plan on pages of its own.

    Parameters
        key  one of PLANS
    """
    plan = summary[key]
    pieces = [
        lambda on: _zones(on, plan, key), lambda on: _more_about_zones(on, plan["zones"]),
        lambda on: draw_pairs(on, plan_totals(plan, key), heading=tr("Totals")),
        lambda on: draw_pairs(on, labelled_figures(plan.get("figures") or {}),
                              heading=_figures_heading(key)),
        lambda on: _rating(on, plan.get("rating")),
        lambda on: draw_break_even(on, plan.get("break_even_curve")),
        lambda on: _sensitivity(on, plan.get("sensitivity")),
        lambda on: _settings(on, plan.get("settings") or []),
        lambda on: draw_listed(on, tr("Sources"), plan.get("sources") or [], look.NOTE),
        lambda on: draw_listed(on, tr("Before you act"), plan.get("cautions") or [])]
    block = maps.plan(f"{key}_plan", plan, decided_by=DECIDED_BY[f"{key}_plan"],
                      caption=_caption(summary, key))
    sheet.share(_MOSTLY_EMPTY * (sheet.bottom - sheet.top))
    sheet.heading(plan.get("title") or section_names()[key])
    sheet.paragraph(sentence(plan.get("headline", "")), look.LEAD)
    draw_map_or_lack(sheet, block, f"zones.gpkg, {key}_plan", pieces)


def _caption(summary, key):
    """Return what the map says of the maps the plan rests on: of the pan both chance and depth."""
    if key == "replant":
        return caption(visited(summary), counted(summary, "stand"), summary["stand"] or {})
    if key in _SOIL_OF:
        return " ".join([caption(visited(summary), "", {})] + [
            caption(name, "", map_of_soil(summary, one)) for one, name in _SOIL_OF[key]])
    made = [(name, map_of_pan(summary["pan"] or {}, part)) for name, part in (
        (tr("Chance of a hard layer"), "chance"), (tr("Bottom of the hard layer"), "bottom"))]
    return " ".join([caption(visited(summary), counted(summary, "pan"), {})] + [
        caption(name, "", one) for name, one in made if one])


def draw_map_or_lack(sheet, block, wanted, pieces=()):
    """Draw a map and the pieces that belong to it; where there is no map, say which file lacks."""
    if block is not None:
        draw_map_and_pieces(sheet, block, list(pieces))
        return
    sheet.paragraph(tr("No map was made ({wanted}).").format(wanted=wanted),
                    look.NOTE_ITALIC)
    for piece in pieces:
        piece(sheet)


def has_spread(part):
    """Return whether a figure's interval has any width: one that equals its figure says nothing."""
    ends = [part["interval"].get(end) for end in ("low", "high")] if part.get("interval") else []
    values = [end.get("value") if isinstance(end, dict) else end for end in ends]
    return bool(values) and values[0] != values[1]


def plan_totals(plan, key):
    """Return (name, text) of the totals of a plan, the interval only where it has any width."""
    totals = plan.get("totals") or {}
    _, _, gain, interval, _ = _plan_words(key)
    names = {name_of("gain"): tr("{gain}, whole field").format(gain=gain),
             name_of("interval"): tr("{interval}, whole field").format(interval=interval)}
    rows = [(tr("Area, {action}").format(action=tr(action)), text_of(figure))
            for action, figure in (totals.get("area_by_action") or {}).items()]
    skip = ["area_by_action"] if has_spread(totals) else ["area_by_action", "interval"]
    skip += [] if _compares(plan, key) else ["gain"]
    rows += [(names.get(name, name), text) for name, text in labelled_figures(totals, skip=skip)]
    if plan.get("break_even"):
        rows.append((tr("Break-even"), text_of(plan["break_even"])))
    return rows


def _plan_words(key):
    """Return what a plan's columns are called: rate, money per area, money, interval, chance."""
    if key == "tillage":
        return (tr("Depth"), tr("Saving per area"), tr("Saving"),
                tr("Saving, range of the draft"),
                tr("Chance of a hard layer"))
    if key in _SOIL_OF:
        return (tr("Rate"), tr("Saving per area"), tr("Saving"), tr("Saving, nine times in ten"),
                tr("Chance that some is needed"))
    return (tr("Rate"), tr("Gain per area"), tr("Gain"), tr("Gain, nine times in ten"),
            tr("Chance that replanting pays"))


def _compares(plan, key):
    """Return whether a plan's money is set against anything: of one rate alone there is none."""
    return key not in _SOIL_OF or any((zone.get("gain") or {}).get("value")
                                      for zone in plan["zones"])


def _zones(sheet, plan, key):
    zones = plan["zones"]
    parts = ["rate", "area", "gain_per_area", "gain", "interval", "chance"]
    titles = dict(zip(["rate", "gain_per_area", "gain", "interval", "chance"], _plan_words(key)))
    titles["area"] = tr("Area")
    if not any(map(has_spread, zones)):
        parts.remove("interval")
    if not _compares(plan, key):
        parts = [part for part in parts if part not in ("gain_per_area", "gain")]
    draw_table(sheet, [tr("Zone"), tr("Action"), *(titles[part] for part in parts)],
               [[text_of(zone.get("zone")), capital(tr(text_of(zone.get("action")))),
                 *(text_of(zone.get(part)) for part in parts)] for zone in zones],
               right=tuple(range(2, 2 + len(parts))), heading=tr("Zones"))


def _more_about_zones(sheet, zones):
    names = list(dict.fromkeys(name for zone in zones for name in zone.get("figures") or {}))
    per_table = -(-len(names) // max(-(-len(names) // _FIGURES_MOST), 1))
    for first in range(0, len(names), max(per_table, 1)):
        some = names[first:first + per_table]
        draw_table(sheet, [tr("Zone"), *map(name_of, some)],
                   [[text_of(zone.get("zone")), *(text_of((zone.get("figures") or {}).get(name))
                                                  for name in some)] for zone in zones],
                   right=tuple(range(1, len(some) + 1)),
                   heading="" if first else tr("More about each zone"))


def _figures_heading(key):
    if key == "tillage":
        return tr("Fuel and time against one depth")
    return tr("With the ground to look at again")


def _rating(sheet, rating):
    """Print the compaction rating with its source, where the plan has one."""
    draw_listed(sheet, tr("Rating of the field"), [rating["text"]] if rating else [])


def _sensitivity(sheet, found):
    """Print at which value of each setting alone the decision turns."""
    if not found:
        return
    rows = [row for row in found["rows"] if row["name"] not in found["steady"]]
    draw_table(sheet, [tr("Setting, alone"), tr("Now"), *map(tr, found["titles"])],
               [[text_of(row["name"]), *(text_of(row[part]) for part in ("now", "worked",
                                                                         "spared"))]
                for row in rows], right=(1,), heading=tr("What would turn the decision"))
    if found["steady"]:
        sheet.paragraph(tr("No value that was tried turns it: {names}. The bounds are in "
                           "summary.json.").format(names=", ".join(found["steady"])), look.NOTE)


def _settings(sheet, settings):
    rows = [[capital(text_of(one.get("name"))), text_of(one.get("figure"))] for one in settings]
    memory = [any(FROM_MEMORY in text for text in row) for row in rows]
    draw_pairs(sheet, [[f"{name} †" if marked else name, text]
                       for (name, text), marked in zip(rows, memory)], heading=tr("Settings"))
    if any(memory):
        sheet.paragraph(memory_note(), look.NOTE_ITALIC)
