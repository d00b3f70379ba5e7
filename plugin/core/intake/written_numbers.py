"""Numbers as people write them: with a decimal point or comma, thousands, a unit behind."""
import math
import re

import numpy as np

from ..problems import InputProblem
from ..units import convert
from .unit_words import unit_named

POINT, COMMA, ASK = "point", "comma", "ask"
EMPTY = frozenset(("", "-", "--", ".", "na", "n/a", "n.a.", "nan", "null", "none", "nil"))

_SPACES = str.maketrans("", "", " \u00a0\u202f\u2009'\u2019_")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
_WITH_UNIT = re.compile(r"([+-]?[\d.,]*\d[.,]?)\s*([^\d\s.,+-].*)", re.ASCII)
_SPACED = re.compile(r"[+-]?\d{1,3}([ \u00a0\u202f\u2009'\u2019]\d{3})+([.,]\d*)?", re.ASCII)
_THOUSANDS = {POINT: re.compile(r"[+-]?\d{1,3}(,\d{3})+(\.\d*)?", re.ASCII),
              COMMA: re.compile(r"[+-]?\d{1,3}(\.\d{3})+(,\d*)?", re.ASCII)}
_EITHER = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", re.ASCII)


def is_empty(cell):
    """Return whether a cell says that there is no value."""
    return cell is None or (isinstance(cell, str) and cell.strip().lower() in EMPTY)


def decimal_mark_of(cells, otherwise=""):
    """Return which mark the numbers of a column use: POINT, COMMA, or ASK where none can tell.

    "1,234" and "1.234" can be read in two ways; other cells of the column decide, then
    `otherwise`. Without those, "1.234" is read with a point, and "1,234" must be asked about.
    A column that uses both marks for its decimals is POINT: `read_numbers` takes "12,5" there.

    Parameters
        cells      those of one column, text or numbers
        otherwise  the mark that the other columns use, "" for none
    """
    seen, either = set(), set()
    for cell in cells:
        if isinstance(cell, str):
            text = cell.strip()
            if _EITHER.fullmatch(text):
                either.add("," in text)
            else:
                seen.add(_mark_of(text))
    seen.discard("")
    if seen == {COMMA} or (not seen and otherwise == COMMA and either):
        return COMMA
    if True in either and (len(seen) == 2 or (not seen and otherwise != POINT)):
        return ASK
    return POINT


def _mark_of(text):
    """The mark that a text surely uses, "" where it has none or could use either."""
    point, comma = text.rfind("."), text.rfind(",")
    if (point < 0 and comma < 0) or not any(letter.isdigit() for letter in text):
        return ""
    if text.count(",") > 1 and point < 0:
        return POINT
    if text.count(".") > 1 and comma < 0:
        return COMMA
    return POINT if point > comma else COMMA


def read_numbers(cells, mark=POINT, unit=""):
    """Return the numbers of a column, and what is wrong with those that are none.

    Spaces and apostrophes may stand between thousands. A cell with a unit of its own ("6 in") is
    converted to the column's. What is empty becomes NaN.

    Parameters
        cells  texts, numbers or None
        mark   POINT or COMMA
        unit   the column's unit, "" for none
    Returns  (n,) float, and a dict of position to what is wrong there
    """
    found, wrong = np.empty(len(cells)), {}
    for place, cell in enumerate(cells):
        try:
            value = float(cell)
            if not math.isfinite(value) or (isinstance(cell, str)
                                            and ("_" in cell or mark == COMMA)):
                value = _number(cell, mark, unit)
        except (TypeError, ValueError):
            try:
                value = _number(cell, mark, unit)
            except InputProblem as problem:
                wrong[place], value = str(problem), math.nan
        except InputProblem as problem:
            wrong[place], value = str(problem), math.nan
        found[place] = value
    return found, wrong


def _number(cell, mark, unit):
    if is_empty(cell) or (isinstance(cell, float) and math.isnan(cell)):
        return math.nan
    if not isinstance(cell, str):
        raise InputProblem(f"{cell!r} is no finite number. Correct or empty it.")
    text = cell.strip().replace("\u2212", "-")
    if text[0] in "=@" or (text[0] in "+-" and "|" in text):
        raise InputProblem(f"{_shown(text)} is a formula, and formulas are never worked out. Put "
                           "its value in the cell.")
    with_unit = _WITH_UNIT.fullmatch(text)
    if with_unit and not _SPACED.fullmatch(text) \
            and not _NUMBER.fullmatch(text.replace(",", ".")):
        return _with_its_unit(text, *with_unit.groups(), mark, unit)
    return _plain(text, mark)


def _plain(text, mark):
    digits = text
    if _SPACED.fullmatch(digits):
        digits = digits.translate(_SPACES)
    if _THOUSANDS[mark].fullmatch(digits) and not (mark == POINT and digits.startswith("0")):
        digits = digits.replace("," if mark == POINT else ".", "")
    if mark == COMMA and "," not in digits and "." in digits and _EITHER.fullmatch(text):
        raise InputProblem(f"{_shown(text)} has a point where the other numbers have a comma. "
                           "Write it as they are written.")
    if digits.count(",") == 1 and "." not in digits:
        digits = digits.replace(",", ".")
    if not _NUMBER.fullmatch(digits) or not math.isfinite(float(digits)):
        raise InputProblem(f"{_shown(text)} is no number. Correct or empty it.")
    return float(digits)


def _with_its_unit(text, digits, suffix, mark, unit):
    own = unit_named(suffix)
    if not own or not unit:
        raise InputProblem(f"{_shown(text)} is no number. Correct or empty it.")
    return float(convert(_plain(digits, mark), own, unit))


def _shown(text):
    return repr(text if len(text) <= 40 else text[:37] + "...")
