"""The sections of stand, hard layer and yields, and the last one: how it all was done."""
from ..core.zone.stand_limits import limits_below_target
from .phrases import (
    PLANS,
    caption,
    counted,
    draw_listed,
    map_of_pan,
    pan_said,
    section_names,
    stand_said,
    visited,
    yield_said,
)
from .plan_section import draw_map_or_lack
from .tables import draw_pairs, draw_table
from .words import labelled_figures, sentence, text_of, tr

# parts of a section that are no figures
_WORDS = ("title", "unit", "method", "detail", "error", "verdict", "zones", "maps")
_SECTION_START = 70.0  # mm left on a page that are worth starting a section without a map on


def draw_stand(sheet, summary, maps):
    """Print the stand: its map, the zones by limits and all its figures."""
    stand = summary["stand"]
    block = maps.surface(
        "stand", unit=stand.get("unit", ""), points="stand", limits=_limits_of_table(stand),
        caption=caption(visited(summary), counted(summary, "stand"), stand))
    sheet.new_page()
    sheet.heading(stand.get("title") or section_names()["stand"])
    sheet.paragraph(stand_said(stand))
    draw_map_or_lack(sheet, block, "surfaces/stand.tif", [
        lambda on: _stand_classes(on, stand.get("zones") or []),
        lambda on: _all_figures(on, stand)])


def _limits_of_table(stand):
    """Return the limits of the table's classes, which the map takes too; None without a table."""
    target = stand.get("target")
    value = target.get("value") if isinstance(target, dict) else None
    return limits_below_target(value) if stand.get("zones") and value else None


def _stand_classes(sheet, zones):
    draw_table(sheet, [tr("Class"), tr("Area"), tr("Mean"), tr("Standard deviation")],
               [[text_of(zone.get("title")), *(text_of(zone.get(key)) for key in (
                   "area", "mean", "standard_deviation"))] for zone in zones], right=(1, 2, 3),
               heading=tr("Stand by class"))


def _all_figures(sheet, section):
    draw_pairs(sheet, labelled_figures(section, skip=_WORDS), heading=tr("All figures"))


def _pan_maps(summary, maps):
    """Return (title, MapBlock or None) of the chance and of the depths of the hard layer."""
    pan = summary["pan"]
    depth = pan.get("unit") or ("in" if summary["units"] == "us" else "cm")
    found = []
    for name, title, unit in (("chance", tr("Chance of a hard layer"), "%"),
                              ("top", tr("Depth of its top"), depth),
                              ("bottom", tr("Depth of its bottom"), depth)):
        found.append((title, maps.surface(
            f"pan_{name}", unit=unit, points="pan", caption=caption(
                visited(summary), counted(summary, "pan"), map_of_pan(pan, name)))))
    return found


def draw_pan(sheet, summary, maps):
    """Print the hard layer: the chance of one, and how deep its top and its bottom lie."""
    pan = summary["pan"]
    (title, chance), *depths = _pan_maps(summary, maps)
    if chance is None and not any(block for _, block in depths):
        sheet.share(_SECTION_START)
    else:
        sheet.new_page()
    sheet.heading(section_names()["pan"])
    sheet.paragraph(pan_said(pan))
    if chance is not None:
        sheet.subheading(title, keep=chance.least(sheet))
    draw_map_or_lack(sheet, chance, "surfaces/pan_chance.tif", [lambda on: _all_figures(on, pan)])
    half = (sheet.bottom - sheet.top) / 2
    for title, block in depths:
        if block is not None:
            sheet.need(half)
            end = sheet.y + half
            sheet.subheading(title)
            block.draw(sheet, most=end - sheet.y)


def draw_yields(sheet, summary, maps):
    """Print the yield map of each season, two on a page."""
    for number, crop in enumerate(summary["yields"]):
        name = f"yield_{crop.get('season')}"
        unit = crop.get("unit") or (crop.get("mean") or {}).get("unit", "")
        block = maps.surface(name, unit=unit, caption=caption(
            tr("Harvest {season}").format(season=crop.get("season")), _points(crop), crop))
        if number % 2 == 0:
            sheet.new_page()
            if number == 0:
                sheet.heading(section_names()["yields"])
            half = sheet.room / 2
        end = sheet.y + half
        sheet.subheading(tr("Yield {season}").format(season=crop.get("season")))
        sheet.paragraph(" ".join([yield_said(crop), *(
            sentence(f"{name}: {text}") for name, text in labelled_figures(
                crop, skip=(*_WORDS, "mean", "points")))]))
        if block is None:
            draw_map_or_lack(sheet, None, f"surfaces/{name}.tif")
        else:
            block.draw(sheet, most=end - sheet.y)


def _points(crop):
    return tr("Points: {number}").format(number=text_of(crop["points"])) if crop.get(
        "points") else ""


def draw_method(sheet, summary):
    """Print how it was done and how sure it is, the readings, cautions, and what is lacking."""
    names = section_names()
    sheet.share(_SECTION_START)
    sheet.heading(tr("How it was done and how sure it is"))
    parts = [(names["stand"], summary["stand"] or {})]
    parts += [(title, map_of_pan(summary["pan"] or {}, name)) for name, title in (
        ("chance", tr("Chance of a hard layer")), ("top", tr("Top of the hard layer")),
        ("bottom", tr("Bottom of the hard layer")))]
    parts += [(one.get("title"), one["map"]) for one in summary.get("soil") or []
              if one.get("map")]
    parts += [(tr("Yield {season}").format(season=crop.get("season")), crop)
              for crop in summary["yields"]]
    for name, part in parts:
        said = [part.get("detail") or part.get("method"), part.get("error"), part.get("verdict")]
        if any(said):
            sheet.subheading(name)
            sheet.bullets([sentence(text) for text in said if text])
    _readings(sheet, summary["readings"])
    _cautions(sheet, summary)
    draw_listed(sheet, tr("What is doubtful about the readings, and how often"),
                summary.get("doubtful") or [])
    draw_listed(sheet, tr("What is lacking"), summary["lacking"])
    made = summary["made"]
    draw_table(sheet, ["", ""], [
        [tr("Program"), f"{text_of(made.get('program'))} {made.get('version') or ''}".strip()],
        [tr("Made at"), text_of(made.get("at"))], [tr("Record"), text_of(made.get("record"))],
        [tr("SHA-256 of the record"), text_of(made.get("sha256"))]],
        heading=tr("How this report was made"))


def _readings(sheet, readings):
    draw_table(sheet, [tr("Readings"), tr("Taken"), tr("Used"), tr("Remark")],
               [[text_of(row.get("title") or row.get("layer")), text_of(row.get("count")),
                 text_of(row.get("used")), str(row.get("note") or "")] for row in readings],
               right=(1, 2), heading=tr("Readings taken"))


def _cautions(sheet, summary):
    """Print the cautions in full, but for those that a plan's page has printed in full."""
    printed = [text for key in PLANS if summary.get(key)
               for text in summary[key].get("cautions") or []]
    rest = [text for text in summary["cautions"] if text not in printed]
    draw_listed(sheet, tr("Cautions"), [*rest, *([tr(
        "Read the cautions under each plan, at “Before you act”, before acting on it.")]
        if printed else [])])
