"""Marks of stops and insertions: shapes that differ without colour."""
from qgis.core import QgsCategorizedSymbolRenderer, QgsMarkerSymbol, QgsRendererCategory

_INK, _PAPER = "#000000", "#ffffff"
_SHAPES = {
    "stop": {"name": "circle", "color": _INK, "outline_color": _PAPER, "size": "2.0"},
    "met": {"name": "circle", "color": _INK, "outline_color": _PAPER, "size": "2.4"},
    "none": {"name": "circle", "color": _PAPER, "outline_color": _INK, "size": "2.4",
             "outline_width": "0.45"},
    "refused": {"name": "triangle", "color": _PAPER, "outline_color": _INK, "size": "3.0",
                "outline_width": "0.45"},
}


def mark_symbol(mark):
    """Return the marker of "stop", "met" (hard layer), "none" (no hard layer) or "refused"."""
    return QgsMarkerSymbol.createSimple({"outline_width": "0.35", **_SHAPES[mark]})


def pan_mark(kind, refusal, bottom_known):
    """Return the mark of one insertion: "met", "none" or "refused".

    A stone, or any refusal without a hard layer above it, is a refusal and not a finding.

    Parameters
        kind          none, pan, open, surface, stone, felt; or empty where the layer lacks it
        refusal       no, stone, layer, or empty
        bottom_known  whether a bottom was found; decides where `kind` is empty
    """
    if kind == "stone":
        return "refused"
    met = kind in ("pan", "open", "surface", "felt") if kind else bottom_known
    if met:
        return "met"
    return "refused" if refusal in ("stone", "layer") else "none"


def paint_marks(layer, column):
    """Give each point the marker named in a column."""
    layer.setRenderer(QgsCategorizedSymbolRenderer(column, [
        QgsRendererCategory(mark, mark_symbol(mark), mark) for mark in _SHAPES]))
