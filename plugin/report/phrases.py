"""Sentences and captions that several pages of the report share."""
from . import look
from .words import FROM_MEMORY, sentence, text_of, tr, unrepeated

PLANS = ("replant", "tillage", "sidedress", "lime")
EXPECTED = ("stand", "pan", "replant", "tillage", "yields")  # missing ones are named on page 1


def section_names():
    """Return the printed name of each section that may be missing, by its key in the summary."""
    return {"stand": tr("Stand"), "pan": tr("Hard layer (pan)"),
            "replant": tr("Replant plan"), "tillage": tr("Tillage plan"),
            "sidedress": tr("Sidedress plan"), "lime": tr("Lime plan"),
            "yields": tr("Yield maps")}


def stand_said(stand):
    """Return the stand in one sentence."""
    parts = [tr("Stand: {mean} on average").format(mean=text_of(stand.get("mean")))]
    if stand.get("interval"):
        parts.append(tr("({interval})").format(interval=text_of(stand["interval"])))
    said = " ".join(parts)
    if stand.get("target"):
        said = tr("{said}; target {target}").format(said=said, target=text_of(stand["target"]))
    return sentence(said)


def pan_said(pan):
    """Return the hard layer in one sentence: how often it was met, and how deep it lies."""
    said = tr("Hard layer: {met} of {all} insertions met one").format(
        met=text_of(pan.get("with_pan")), all=text_of(pan.get("insertions")))
    if _known(pan.get("top")) and _known(pan.get("bottom")):
        said = tr("{said}, from {top} to {bottom} deep on average").format(
            said=said, top=text_of(pan["top"]), bottom=text_of(pan["bottom"]))
    said = tr("{said}; {none} met none").format(said=said, none=text_of(pan.get("none")))
    if _number(pan.get("refused")) != 0:
        said = tr("{said}; stopped by a stone, so not known: {refused}").format(
            said=said, refused=text_of(pan.get("refused")))
    return sentence(said)


def yield_said(crop):
    """Return a season's yield in one sentence."""
    return tr("Yield {season}: {mean} on average.").format(
        season=crop.get("season"), mean=text_of(crop.get("mean")))


def seen_said(seen):
    """Return what was seen in one sentence: notes, and the seeds dug."""
    parts = []
    if _number(seen.get("notes")):
        parts.append(tr("Seen on the walk: {notes} notes at {stops} places").format(
            notes=text_of(seen["notes"]), stops=text_of(seen.get("note_stops"))))
    seeds = seen.get("seeds") or {}
    if _known(seeds.get("mean")):
        said = tr("seeds lie {depth} deep on average").format(depth=text_of(seeds["mean"]))
        if seeds.get("interval"):
            said = tr("{said} ({interval})").format(said=said, interval=text_of(seeds["interval"]))
        parts.append(said)
    if _known(seeds.get("emerged")):
        parts.append(tr("{share} of the {seeds} seeds dug had emerged").format(
            share=text_of(seeds["emerged"]), seeds=text_of(seeds.get("seeds"))))
    return sentence("; ".join(parts))


def map_of_pan(pan, name):
    """Return how one map of the pan was made: the part "chance", "top" or "bottom"; or {}."""
    return (pan.get("maps") or {}).get(name) or {}


def map_of_soil(summary, name):
    """Return how the map of a soil result was made, by its name in the summary; or {}."""
    return next((one.get("map") or {} for one in summary.get("soil") or []
                 if one.get("name") == name), {})


def caption(taken, count, made):
    """Return what every map says: date, number of readings, method, and how sure.

    Parameters
        taken  when the readings were taken, in words
        count  how many, in words; may be empty
        made   part of the summary with `method` and `verdict`, both of which may be missing
    """
    parts = [taken, count]
    if made.get("method"):
        parts.append(tr("Method: {method}").format(method=_lower(made["method"])))
    if made.get("verdict"):
        parts.append(tr("How sure: {verdict}").format(verdict=_lower(made["verdict"])))
    return " ".join(sentence(part) for part in parts if part)


def counted(summary, key):
    """Return "Stops: 45" of the stand or "Insertions: 60" of the pan; empty where not known."""
    part, name, words = {"stand": (summary["stand"], "stops", tr("Stops: {number}")),
                         "pan": (summary["pan"], "insertions", tr("Insertions: {number}"))}[key]
    return words.format(number=text_of(part[name])) if part and part.get(name) else ""


def visited(summary):
    """Return the date of the visit in words."""
    return tr("Visited {date}").format(date=text_of(summary["field"].get("visited")))


def draw_listed(sheet, title, texts, style=look.BODY):
    """Draw a list under its heading, marking what is from memory; nothing where it is empty."""
    texts = unrepeated(texts)
    if not texts:
        return
    sheet.subheading(title)
    marked = [f"{text} †" if FROM_MEMORY in text else text for text in texts]
    sheet.bullets(marked, style)
    if marked != texts:
        sheet.paragraph(memory_note(), look.NOTE_ITALIC)


def memory_note():
    """Return what the mark on figures from memory means."""
    return tr("† This figure is from memory, not read from its source: confirm it before you "
              "rely on it.")


def _number(figure):
    return figure.get("value") if isinstance(figure, dict) else figure


def _known(figure):
    return bool(figure) and (not isinstance(figure, dict) or figure.get("value") is not None)


def _lower(text):
    text = str(text).strip()
    second_is_lower = text[1:2].islower() or text[1:2] == " "
    return text[:1].lower() + text[1:] if second_is_lower else text
