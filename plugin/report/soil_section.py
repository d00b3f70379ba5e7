"""The section of soil samples: each result with its depth, method and what was left out."""
from . import look
from .phrases import draw_listed
from .tables import draw_table
from .words import text_of, tr

_SECTION_START = 60.0  # mm left on a page that are worth starting the section on


def draw_soil(sheet, soil):
    """Print the soil results as a table, and what is said of them."""
    sheet.share(_SECTION_START)
    sheet.heading(tr("Soil samples"))
    draw_table(sheet, [tr("Result"), tr("Down to"), tr("Samples"), tr("Left out"), tr("Average"),
                       tr("Nine times in ten"), tr("Lowest to highest"), tr("Found by")],
               [[text_of(one.get("title")), *(text_of(one.get(key)) for key in (
                   "depth", "samples", "left_out", "mean", "interval", "range", "methods"))]
                for one in soil], right=(1, 2, 3, 4, 5, 6))
    draw_listed(sheet, tr("On these samples"),
                [sentence for one in soil for sentence in one.get("warnings") or []], look.NOTE)
