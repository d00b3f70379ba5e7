"""The sections of the report: what each page says, from the summary and the maps."""
from . import look
from .tables import draw_pairs, draw_table, pairs_height, table_height
from .type_setting import wrapped
from .words import (
    FROM_MEMORY,
    NOTHING,
    capital,
    labelled_figures,
    name_of,
    sentence,
    text_of,
    tr,
    unrepeated,
)

# parts of a section that are no figures
_WORDS = ("title", "unit", "method", "error", "verdict", "zones")
_PLANS = ("replant", "tillage")
_FIGURES_MOST = 6  # of a zone, in one table
# what page 1 shows of a section; the section's own page shows all
_KEYS = {"stand": ("mean", "interval", "target"),
         "pan": ("limit", "rating", "top", "bottom", "area_with_pan"), "yields": ("mean",)}


def section_names():
    """Return the printed name of each section that may be missing, by its key in the summary."""
    return {"stand": tr("Stand"), "pan": tr("Hard layer (pan)"),
            "replant": tr("Replant plan"), "tillage": tr("Tillage plan"),
            "yields": tr("Yield maps")}


def draw_findings(sheet, summary):
    """Print page 1: title block, findings and advice, key figures, readings, what is missing."""
    _title_block(sheet, summary["field"])
    sheet.heading(tr("What we found and what we advise"))
    for key in _PLANS:
        if summary[key]:
            sheet.paragraph(sentence(summary[key].get("headline", "")), look.LEAD, after=1.8)
    sheet.bullets(_findings(summary))
    _key_figures(sheet, summary)
    _readings(sheet, summary["readings"])


def _title_block(sheet, field):
    sheet.box(sheet.left, sheet.y, sheet.width, 1.2, look.ACCENT)
    sheet.y += 3.4
    sheet.paragraph(tr("FIELD REPORT"), look.KICKER, after=0.4)
    long = len(wrapped(field["name"], look.TITLE, sheet.width)) > 2
    sheet.paragraph(field["name"], look.HEADING if long else look.TITLE, after=1.6)
    season = " ".join(text_of(field.get(key)) for key in ("crop", "season") if field.get(key))
    facts = [(tr("Date of visit"), text_of(field.get("visited"))),
             (tr("Grower"), text_of(field.get("grower"))),
             (tr("Crop and season"), capital(season) or NOTHING),
             (tr("Planted"), text_of(field.get("planted"))),
             (tr("Area"), text_of(field.get("area")))]
    draw_table(sheet, [name for name, _ in facts], [[text for _, text in facts]])
    sheet.gap(2.5)


def _findings(summary):
    if summary["stand"]:
        yield _joined(_stand_said(summary["stand"]), summary["stand"].get("verdict"))
    if summary["pan"]:
        yield _joined(_pan_said(summary["pan"]), summary["pan"].get("verdict"))
    for crop in summary["yields"]:
        yield _joined(_yield_said(crop), crop.get("verdict"))
    if not any(summary[key] for key in _PLANS):
        yield tr("No plan could be made from these readings; the last section says what was "
                 "lacking.")
    missing = [name for key, name in section_names().items() if not summary[key]]
    if missing:
        yield tr("Not looked at: {names}. The last section says what was lacking.").format(
            names="; ".join(missing))


def _stand_said(stand):
    if not stand.get("interval"):
        return tr("The stand averages {mean}.").format(mean=text_of(stand.get("mean")))
    return tr("The stand averages {mean} (90 % interval {interval}).").format(
        mean=text_of(stand.get("mean")), interval=text_of(stand["interval"]))


def _pan_said(pan):
    return tr("Insertions made: {all}; met a hard layer of {limit} or more: {met}; met none: "
              "{none}; refused: {refused}.").format(
        all=text_of(pan.get("insertions")), limit=text_of(pan.get("limit")),
        met=text_of(pan.get("with_pan")), none=text_of(pan.get("none")),
        refused=text_of(pan.get("refused")))


def _yield_said(crop):
    return tr("Yield in {season} averaged {mean}.").format(
        season=crop.get("season"), mean=text_of(crop.get("mean")))


def _joined(*texts):
    return " ".join(sentence(text) for text in texts if text)


def _key_figures(sheet, summary):
    names = section_names()
    sections = [(names[key], _chosen(summary[key] or {}, _KEYS[key])) for key in ("stand", "pan")]
    sections += [(tr("Yield {season}").format(season=crop.get("season")),
                  _chosen(crop, _KEYS["yields"])) for crop in summary["yields"]]
    sections += [(names[key], _totals(summary[key], key)) for key in _PLANS if summary[key]]
    rows = []
    for name, figures in sections:  # two figures beside each other
        figures = [*figures, ("", "")][:len(figures) + len(figures) % 2]
        rows += [[name if first == 0 else "", *figures[first], "", *figures[first + 1]]
                 for first in range(0, len(figures), 2)]
    if rows:
        sheet.subheading(tr("Key figures"), keep=24.0)
        draw_table(sheet, [""] * 6, rows, right=(2, 5))


def _chosen(section, keys):
    return [(name_of(key), _short_text(section[key])) for key in keys if section.get(key)]


def _short_text(figure):
    """Return a rating's one word, where it has one beside its whole text; else the text."""
    word = figure.get("rating") if isinstance(figure, dict) else None
    return capital(word) if isinstance(word, str) else text_of(figure)


def _all_figures(sheet, section):
    rows = labelled_figures(section, skip=_WORDS)
    if rows:
        sheet.subheading(tr("All figures"), keep=20.0)
        draw_pairs(sheet, rows)


def _readings(sheet, readings):
    if readings:
        sheet.subheading(tr("Readings taken"), keep=24.0)
        draw_table(sheet, [tr("Readings"), tr("Taken"), tr("Used"), tr("Remark")],
                   [[text_of(row.get("title") or row.get("layer")), text_of(row.get("count")),
                     text_of(row.get("used")), str(row.get("note") or "")] for row in readings],
                   right=(1, 2))


def draw_stand(sheet, summary, maps):
    """Print the stand: its map, and the zones by limits."""
    stand = summary["stand"]
    sheet.new_page()
    sheet.heading(stand.get("title") or section_names()["stand"])
    sheet.paragraph(_stand_said(stand))
    zones = stand.get("zones") or []
    _map(sheet, maps.surface("stand", unit=stand.get("unit", ""), points="stand",
                             caption=_caption(summary, stand, "stops")), "surfaces/stand.tif",
         spare=table_height(zones) + pairs_height(labelled_figures(stand, skip=_WORDS),
                                                 sheet.width))
    if zones:
        sheet.subheading(tr("Stand by class"), keep=24.0)
        draw_table(sheet, [tr("Class"), tr("Area"), tr("Mean"), tr("Standard deviation")],
                   [[text_of(zone.get("title")), *(text_of(zone.get(key)) for key in (
                       "area", "mean", "standard_deviation"))] for zone in zones], right=(1, 2, 3))
    _all_figures(sheet, stand)


def draw_pan(sheet, summary, maps):
    """Print the hard layer: the chance of one, and how deep its top and its bottom lie."""
    pan = summary["pan"]
    caption = _caption(summary, pan, "insertions")
    depth = pan.get("unit") or ("in" if summary["units"] == "us" else "cm")
    blocks = [
        (tr("Chance of a hard layer"), maps.surface(
            "pan_chance", unit="%", sequence="Blues", chance=True, points="pan",
            caption=caption)),
        (tr("Depth of its top"), maps.surface(
            "pan_top", unit=depth, sequence="YlOrBr", points="pan", caption=caption)),
        (tr("Depth of its bottom"), maps.surface(
            "pan_bottom", unit=depth, sequence="YlOrBr", points="pan", caption=caption))]
    sheet.new_page()
    sheet.heading(section_names()["pan"])
    sheet.paragraph(_pan_said(pan))
    (title, chance), *depths = blocks
    if chance is None:
        _map(sheet, chance, "surfaces/pan_chance.tif")
    else:
        sheet.subheading(title, keep=130.0)
        chance.draw(sheet, most=sheet.room,
                    spare=pairs_height(labelled_figures(pan, skip=_WORDS), sheet.width))
    _all_figures(sheet, pan)
    for title, block in depths:
        if block is not None:
            half = (sheet.bottom - sheet.top) / 2
            sheet.need(half)
            sheet.subheading(title)
            block.draw(sheet, most=half - 9.0)


def draw_plan(sheet, summary, maps, key):
    """Print a plan: headline, map, zones, totals, settings, sources and cautions."""
    plan = summary[key]
    sheet.new_page()
    sheet.heading(plan.get("title") or section_names()[key])
    sheet.paragraph(sentence(plan.get("headline", "")), look.LEAD)
    base = summary["stand" if key == "replant" else "pan"] or {}
    _map(sheet, maps.plan(f"{key}_plan", plan, caption=_caption(
        summary, base, "stops" if key == "replant" else "insertions")), f"zones.gpkg, {key}_plan",
         spare=table_height(plan["zones"]) + look.CELL.line_mm)
    _zone_tables(sheet, plan["zones"], _plan_words(key))
    totals = _totals(plan, key)
    if totals:
        sheet.subheading(tr("Totals"), keep=20.0)
        draw_pairs(sheet, totals)
    _settings(sheet, plan.get("settings") or [])
    _listed(sheet, tr("Sources"), plan.get("sources") or [], style=look.NOTE)
    _listed(sheet, tr("Before you act"), plan.get("cautions") or [])


def _plan_words(key):
    """Return what a plan's columns are called: rate, money per area, money, interval, chance."""
    if key == "tillage":
        return (tr("Depth"), tr("Saving per area"), tr("Saving"), tr("Saving, interval"),
                tr("Chance of a hard layer"))
    return (tr("Rate"), tr("Gain per area"), tr("Gain"), tr("Gain, interval"),
            tr("Chance that replanting pays"))


def _zone_tables(sheet, zones, words):
    if not zones:
        return
    sheet.subheading(tr("Zones"), keep=24.0)
    rate, per_area, gain, interval, chance = words
    titles = [tr("Zone"), tr("Action"), rate, tr("Area"), per_area, gain, interval, chance]
    draw_table(sheet, titles, [[text_of(zone.get("zone")), capital(tr(text_of(zone.get("action")))),
                                *(text_of(zone.get(part)) for part in (
                                    "rate", "area", "gain_per_area", "gain", "interval",
                                    "chance"))] for zone in zones],
               right=tuple(range(2, 8)))
    names = list(dict.fromkeys(name for zone in zones for name in zone.get("figures") or {}))
    per_table = -(-len(names) // max(-(-len(names) // _FIGURES_MOST), 1))
    for first in range(0, len(names), max(per_table, 1)):
        some = names[first:first + per_table]
        if first == 0:
            sheet.subheading(tr("More about each zone"), keep=24.0)
        draw_table(sheet, [tr("Zone"), *map(name_of, some)],
                   [[text_of(zone.get("zone")), *(text_of((zone.get("figures") or {}).get(name))
                                                  for name in some)] for zone in zones],
                   right=tuple(range(1, len(some) + 1)))


def _totals(plan, key):
    totals = plan.get("totals") or {}
    _, _, gain, interval, _ = _plan_words(key)
    names = {name_of("gain"): tr("{gain}, whole field").format(gain=gain),
             name_of("interval"): tr("{interval}, whole field").format(interval=interval)}
    rows = [(tr("Area, {action}").format(action=tr(action)), text_of(figure))
            for action, figure in (totals.get("area_by_action") or {}).items()]
    rows += [(names.get(name, name), text)
             for name, text in labelled_figures(totals, skip=("area_by_action",))]
    if plan.get("break_even"):
        rows.append((tr("Break-even"), text_of(plan["break_even"])))
    return rows


def _settings(sheet, settings):
    if not settings:
        return
    sheet.subheading(tr("Settings"), keep=24.0)
    rows = [[capital(text_of(one.get("name"))), text_of(one.get("figure"))] for one in settings]
    memory = [any(FROM_MEMORY in text for text in row) for row in rows]
    rows = [[f"{name} †" if marked else name, text]
            for (name, text), marked in zip(rows, memory)]
    draw_pairs(sheet, rows)
    if any(memory):
        sheet.paragraph(_memory_note(), look.NOTE_ITALIC)


def _memory_note():
    return tr("† This figure is from memory, not read from its source: confirm it before you "
              "rely on it.")


def _listed(sheet, title, texts, style=look.BODY):
    texts = unrepeated(texts)
    if not texts:
        return
    sheet.subheading(title)
    marked = [f"{text} †" if FROM_MEMORY in text else text for text in texts]
    sheet.bullets(marked, style)
    if marked != texts:
        sheet.paragraph(_memory_note(), look.NOTE_ITALIC)


def draw_yields(sheet, summary, maps):
    """Print the yield map of each season."""
    for crop in summary["yields"]:
        sheet.new_page()
        sheet.heading(tr("Yield {season}").format(season=crop.get("season")))
        sheet.paragraph(_yield_said(crop))
        unit = crop.get("unit") or (crop.get("mean") or {}).get("unit", "")
        name = f"yield_{crop.get('season')}"
        _map(sheet, maps.surface(name, unit=unit, sequence="cividis", caption=_caption(
            summary, crop, "points")), f"surfaces/{name}.tif")
        _all_figures(sheet, crop)


def draw_method(sheet, summary):
    """Print how it was done and how sure it is, the cautions, and what is lacking."""
    names = section_names()
    sheet.new_page()
    sheet.heading(tr("How it was done and how sure it is"))
    parts = [(names[key], summary[key]) for key in ("stand", "pan") if summary[key]]
    parts += [(tr("Yield {season}").format(season=crop.get("season")), crop)
              for crop in summary["yields"]]
    for name, part in parts:
        said = [sentence(part.get(key) or "") for key in ("method", "error", "verdict")]
        if any(said):
            sheet.subheading(name)
            sheet.bullets(filter(None, said))
    _cautions(sheet, summary)
    _listed(sheet, tr("What is lacking"), summary["lacking"])
    made = summary["made"]
    sheet.subheading(tr("How this report was made"))
    draw_table(sheet, ["", ""], [
        [tr("Program"), f"{text_of(made.get('program'))} {made.get('version') or ''}".strip()],
        [tr("Made at"), text_of(made.get("at"))], [tr("Record"), text_of(made.get("record"))],
        [tr("SHA-256 of the record"), text_of(made.get("sha256"))]])


def _cautions(sheet, summary):
    """Print the cautions in full, but for those that a plan's page has printed in full."""
    printed = [text for key in _PLANS if summary[key]
               for text in summary[key].get("cautions") or []]
    rest = [text for text in summary["cautions"] if text not in printed]
    _listed(sheet, tr("Cautions"), [*rest, *([tr(
        "Read the cautions under each plan, at “Before you act”, before acting on it.")]
        if printed else [])])


def _map(sheet, block, wanted, spare=0.0):
    if block is not None:
        block.draw(sheet, spare=spare)
    else:
        sheet.paragraph(tr("No map: the folder holds no {wanted}.").format(wanted=wanted),
                        look.NOTE_ITALIC)


def _caption(summary, part, counted):
    """Return what every map says: date, number of readings, method, and how sure."""
    words = {"stops": tr("Stops: {number}"), "insertions": tr("Insertions: {number}"),
             "points": tr("Points: {number}")}[counted]
    parts = [tr("Visited {date}").format(date=text_of(summary["field"].get("visited")))]
    if counted == "points":
        parts = [tr("Harvest {season}").format(season=part.get("season"))]
    if part.get(counted):
        parts.append(words.format(number=text_of(part[counted])))
    if part.get("method"):
        parts.append(tr("Method: {method}").format(method=str(part["method"]).rstrip(".")))
    if part.get("verdict"):
        parts.append(tr("How sure: {verdict}").format(verdict=str(part["verdict"]).rstrip(".")))
    return ". ".join(parts) + "."
