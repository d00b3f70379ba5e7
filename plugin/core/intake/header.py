"""Headers: where they stand in a table, and which words, units and depths they hold."""
import re
from dataclasses import dataclass

from ..problems import InputProblem
from .unit_words import unit_named
from .written_numbers import is_empty

LOOKED_AT = 40  # rows in which a header is looked for

_NUMBER = re.compile(r"[+-]?(\d+[.,]?\d*|[.,]\d+)([eE][+-]?\d+)?")
_BRACKETS = re.compile(r"[(\[{]([^)\]}]*)[)\]}]")
_NITRATE = re.compile(r"\bno3\b(\s*-?\s*n\b)?")
_BEHIND_COMMA = re.compile(r",\s*([^,;]+)$")
_AT = re.compile(r"(\d+(?:[.,]\d+)?)\s*([a-z]+\b|\"|″|'|′)?")
_TOTAL = re.compile(r"(grand\s+|sub)?(total|sum|mean|average|avg|minimum|min|maximum|max|"
                    r"std\.? ?dev\.?|stdev|count|cv|median)s?\s*[:=]?", re.IGNORECASE)


@dataclass(frozen=True)
class Header:
    """The header of a table: its columns' names, and the number of the row the readings follow."""
    names: tuple
    last_row: int


@dataclass(frozen=True)
class HeaderWords:
    """What a header says: its words, the units in it, and a number with the unit behind it."""
    words: str
    units: tuple
    number: float = None
    number_unit: str = ""


def find_header(rows, known, row_number=0):
    """Return the Header of a table from its first rows.

    It is the row with most names that are `known`; without any, the first row of words that is
    as wide as the table. A row of units, or of depths, right below it belongs to it. Columns
    without a name are called by their letter in a spreadsheet; a name that comes twice gets the
    letter behind it.

    Parameters
        rows        list of (number, cells), the first LOOKED_AT of the table
        known       function of a cell's text: whether it is known as a header
        row_number  number of the header's row; 0 to look for it
    Raises   InputProblem: there is none
    """
    filled = [(number, cells) for number, cells in rows
              if any(not _blank(cell) for cell in cells)]
    if not filled:
        raise InputProblem("it holds no row. Choose a file with a header and readings.")
    place = _place(filled, known, row_number)
    number, cells = filled[place]
    names = [_text(cell) for cell in cells]
    if place + 1 < len(filled) and _belongs(names, filled[place + 1][1]):
        number = filled[place + 1][0]
        names = _joined(names, filled[place + 1][1])
    return Header(_unique(names), number)


def header_words(text):
    """Return the HeaderWords of a header: "Depth (cm)", "Length, m", "psi @ 6 in"."""
    rest, units = _NITRATE.sub("nitrate n", text.lower().strip()), []  # its 3 is no number
    for inside in _BRACKETS.findall(rest):
        unit = unit_named(inside)
        if unit:
            units.append(unit)
            rest = rest.replace(inside, " ", 1)
    last = _BEHIND_COMMA.search(rest)
    if last and unit_named(last[1]):  # "Length of row, m": a letter alone is a unit only there
        units.append(unit_named(last[1]))
        rest = rest[:last.start()]
    rest = re.sub(r"[()\[\]{}@_]", " ", rest)
    number, number_unit = None, ""
    found = _AT.search(rest)
    if found:
        number = float(found[1].replace(",", "."))
        number_unit = unit_named(found[2] or "")
        end = found.end() if number_unit else found.end(1)
        shown = rest[:found.start()] + " " + rest[end:]
        rest_without = shown
    else:
        rest_without = rest
    tokens = re.split(r"[\s,;:]+", rest_without.strip())
    tokens, plain = [token for token in tokens if token], []
    start = 0
    while start < len(tokens):
        for length in (4, 3, 2, 1):
            phrase = " ".join(tokens[start:start + length])
            unit = unit_named(phrase) if start + length <= len(tokens) else ""
            if unit and (len(phrase) > 1 or phrase in "%\"'″′"):
                units.append(unit)
                start += length
                break
        else:
            plain.append(tokens[start])
            start += 1
    words = re.sub(r"[^a-z0-9%]+", " ", " ".join(plain)).strip()
    return HeaderWords(words, tuple(units), number, number_unit)


def is_total(cells):
    """Return whether a row is a line of totals: its first word is total, mean, or the like."""
    first = next((cell for cell in cells if not _blank(cell)), "")
    return isinstance(first, str) and bool(_TOTAL.fullmatch(first.strip()))


def _place(filled, known, row_number):
    if row_number:
        for place, (number, _) in enumerate(filled):
            if number == row_number:
                return place
        raise InputProblem(f"its row {row_number} holds no header. Give the number of the row "
                           "with the names of the columns.")
    scores = [sum(1 for cell in cells if isinstance(cell, str) and known(cell))
              for _, cells in filled]
    best = max(scores)
    if best >= 2 or (best == 1 and max(len(cells) for _, cells in filled) <= 2):
        return scores.index(best)
    width = max(sum(not _blank(cell) for cell in cells) for _, cells in filled)
    for place, (_, cells) in enumerate(filled):
        named = [cell for cell in cells if not _blank(cell)]
        if len(named) >= max(width / 2, 1) and not any(_numeric(cell) for cell in named):
            return place
    raise InputProblem("it has no row with the names of the columns. Write one above the "
                       "readings, or say with HEADER_ROW which row it is.")


def _belongs(names, cells):
    """Whether the row below a header is a part of it: units alone, or depths under a blank."""
    below = [_text(cell) for cell in cells]
    filled = [text for text in below if text]
    if not filled:
        return False
    if all(unit_named(text.strip("()[]")) or text.lower() in ("deg", "°", "-", "degrees")
           for text in filled):
        return True
    first_blank = next((place for place, name in enumerate(names) if not name), len(names))
    heading = first_blank - 1  # a merged cell's text stands in its first column
    return (first_blank < len(names) and not any(below[:heading])
            and all(_AT.fullmatch(text.lower()) for text in filled)
            and len(filled) > 1)


def _joined(names, cells):
    below = [_text(cell) for cell in cells] + [""] * len(names)
    joined, heading = [], ""
    for name, under in zip(names + [""] * (len(cells) - len(names)), below):
        heading = name or heading
        if not under:
            joined.append(name)
        elif unit_named(under.strip("()[]")) and name:
            joined.append(f"{name} ({under.strip('()[]')})")
        else:
            joined.append(f"{heading} {under}".strip())
    return joined


def _unique(names):
    while names and not names[-1]:
        names = names[:-1]
    seen, unique = set(), []
    for place, name in enumerate(names):
        called = name or f"column {_letter(place)}"
        if called in seen:
            called = f"{called} [{_letter(place)}]"
        seen.add(called)
        unique.append(called)
    return tuple(unique)


def _letter(place):
    letters = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def _text(cell):
    return "" if _blank(cell) else " ".join(str(cell).split())


def _blank(cell):
    return cell is None or (isinstance(cell, str) and not cell.strip())


def _numeric(cell):
    return not isinstance(cell, str) or (
        not is_empty(cell) and bool(_NUMBER.fullmatch(cell.strip())))
