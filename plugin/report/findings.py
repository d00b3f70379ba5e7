"""Page 1 of the report: what was found and is advised, and the key figures."""
from . import look
from .phrases import EXPECTED, PLANS, pan_said, section_names, seen_said, stand_said, yield_said
from .plan_section import plan_totals
from .tables import draw_table
from .type_setting import wrapped
from .words import NOTHING, capital, name_of, sentence, text_of, tr

_MARK = " †"  # of a figure from memory
# what page 1 shows of a section; the section's own page shows all
_KEYS = {"stand": ("mean", "interval", "target"),
         "pan": ("limit", "rating", "top", "bottom", "area_with_pan")}


def draw_findings(sheet, summary):
    """Print page 1: title block, findings and advice, key figures."""
    _title_block(sheet, summary["field"])
    sheet.heading(tr("What we found and what we advise"))
    for key in PLANS:
        if summary.get(key):
            sheet.paragraph(sentence(summary[key].get("headline", "")), look.LEAD, after=1.8)
    sheet.bullets(_findings(summary))
    _key_figures(sheet, summary)


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
        yield stand_said(summary["stand"])
    if summary["pan"]:
        yield pan_said(summary["pan"])
    for crop in summary["yields"]:
        yield yield_said(crop)
    if summary.get("seen") and seen_said(summary["seen"]):
        yield seen_said(summary["seen"])
    if summary.get("findings"):
        yield sentence(summary["findings"].get("headline", ""))
    if not any(summary.get(key) for key in PLANS):
        yield tr("No plan was made; the last section says what was lacking.")
    missing = [section_names()[key] for key in EXPECTED if not summary[key]]
    if missing:
        yield tr("Not in this report: {names}. The last section says what was lacking.").format(
            names="; ".join(missing))
    if len(missing) < len(EXPECTED):
        yield tr("Under each map stands how far it can be trusted.")


def _key_figures(sheet, summary):
    names = section_names()
    sections = [(names[key], _chosen(summary[key] or {}, _KEYS[key])) for key in ("stand", "pan")]
    sections.append((names["yields"], [
        (tr("Average {season}").format(season=crop.get("season")), text_of(crop["mean"]))
        for crop in summary["yields"] if crop.get("mean")]))
    sections += [(names[key], plan_totals(summary[key], key)) for key in PLANS
                 if summary.get(key)]
    rows = []
    for name, figures in sections:  # two figures beside each other
        figures = [*figures, ("", "")][:len(figures) + len(figures) % 2]
        rows += [[name if first == 0 else "", *figures[first], "", *figures[first + 1]]
                 for first in range(0, len(figures), 2)]
    draw_table(sheet, [""] * 6, rows, right=(2, 5), heading=tr("Key figures"))
    if any(_MARK in text for row in rows for text in row):
        sheet.paragraph(tr("† From memory: check it against the bulletin before you rely on it."),
                        look.NOTE_ITALIC, after=0.0)


def _chosen(section, keys):
    return [(name_of(key), _short_text(section[key])) for key in keys if section.get(key)]


def _short_text(figure):
    """Return a rating's one word, where it has one beside its whole text; else the text.

    A rating from memory, as it is where nothing else is said, carries a mark.
    """
    word = figure.get("rating") if isinstance(figure, dict) else None
    if not isinstance(word, str):
        return text_of(figure)
    return capital(word) + (_MARK if figure.get("from_memory", True) else "")
