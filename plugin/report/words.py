"""Words and figures of a summary, ready for print: every figure is printed as its own text."""
from qgis.PyQt.QtCore import QCoreApplication

NOTHING = "–"
FROM_MEMORY = "from memory"

_NAMES = {
    "area": "Area", "mean": "Average", "interval": "Nine times in ten", "target": "Target",
    "stops": "Stops counted", "limit": "Limit of a hard layer", "rating": "Rating",
    "insertions": "Insertions made", "with_pan": "Insertions that met a hard layer",
    "none": "Insertions without one", "refused": "Insertions stopped by a stone",
    "top": "Top of the hard layer", "bottom": "Bottom of the hard layer",
    "area_with_pan": "Area with a hard layer", "points": "Points used",
    "removed": "Points set aside", "gain": "Expected gain", "break_even": "Break-even",
    "standard_deviation": "Standard deviation", "chance": "Chance",
    "felt": "Insertions by feel, without a gauge",
}


def tr(text):
    """Return the text in the user's language."""
    return QCoreApplication.translate("Spadework", text)


def text_of(figure):
    """Return what a figure prints as: its `text`; a plain text or number as it is; else a dash."""
    if isinstance(figure, dict):
        return str(figure.get("text") or NOTHING)
    return NOTHING if figure is None or figure == "" else str(figure)


def name_of(key):
    """Return the printed name of a summary key; an unknown one reads as its own words."""
    words = tr(_NAMES[key]) if key in _NAMES else str(key).replace("_", " ").strip()
    return words[:1].upper() + words[1:]


def labelled_figures(section, skip=()):
    """Return (name, text) of each figure of a section, in its order, nested ones spelled out.

    A figure is a dict that holds `text`; other dicts are walked; words and lists are left out,
    and so are the ends of an interval, which its own text holds.

    Parameters
        section  dict, such as summary["pan"]
        skip     keys to leave out
    """
    found = []
    for key, value in section.items():
        if key in skip or not isinstance(value, dict):
            continue
        if isinstance(value.get("text"), str):
            found.append((name_of(key), text_of(value)))
        found.extend((f"{name_of(key)}: {name[:1].lower()}{name[1:]}", text)
                     for name, text in labelled_figures(value, skip=("low", "high")))
    return found


def sentence(text):
    """Return the text with a first capital and a full stop, whatever it came with."""
    text = str(text).strip()
    if not text:
        return ""
    text = text[:1].upper() + text[1:]
    return text if text[-1] in ".!?…:" else text + "."


def capital(text):
    """Return the text with its first letter in upper case."""
    text = str(text)
    return text[:1].upper() + text[1:]


def unrepeated(texts):
    """Return the texts in their order, each once, empty ones left out."""
    return list(dict.fromkeys(text for text in map(str, texts) if text.strip()))
