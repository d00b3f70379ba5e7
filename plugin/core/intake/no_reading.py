"""Rows of a table that hold no reading at all, and how a row is shown to the user."""
from .header import is_total
from .text_table import CONTROL, OpenQuote

SHOWN = 300  # characters of a row that is set aside


class CutOff(list):
    """The cells of a last row that the file breaks off in."""


def why_no_reading(cells, names, placed):
    """Return why a row holds no reading at all, "" where it may hold one.

    Parameters
        cells   of the row
        names   of the columns
        placed  whether the row has a position beside its cells
    """
    if isinstance(cells, CutOff):
        return (f"the file breaks off here, after {len(cells)} of {len(names)} columns. Get the "
                "whole file, or complete the row.")
    if isinstance(cells, OpenQuote) and any(cell.strip() for cell in cells):
        return (f"a quote that is opened in line {cells.opened} runs over it. Close the quote in "
                "its own line, or take it out.")
    filled = [cell for cell in cells if cell is not None and cell != ""
              and not (isinstance(cell, str) and not cell.strip())]
    if not filled:
        return "" if placed else "the row is empty."
    if isinstance(filled[0], str):
        if is_total(cells) and len(names) > 1:
            return "it is a line of totals, not a reading."
        if filled[0] == names[0] and [str(cell).strip() for cell in filled] == \
                list(names[:len(filled)]):
            return "it is the header again."
        if len(filled) == 1 and len(names) > 2 and not placed and (
                filled[0].startswith("#") or len(filled[0].split()) > 2):
            return "it is a remark, not a reading."
    if len(cells) > len(names) and any(str(cell or "").strip() for cell in cells[len(names):]):
        return (f"it has {len(cells)} cells, but there are {len(names)} columns. Put texts and "
                "numbers that hold the separator into quotes.")
    return ""


def shown_row(cells):
    """Return a row as one line of printable text, cut to SHOWN characters."""
    text = " | ".join("" if cell is None else str(cell) for cell in cells)
    return "".join(letter if letter.isprintable() else "\ufffd"
                   for letter in text[:SHOWN].replace(CONTROL, "\ufffd"))
