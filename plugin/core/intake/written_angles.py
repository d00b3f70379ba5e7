"""Longitudes and latitudes as people write them: decimal, or in degrees, minutes and seconds."""
import math
import re

import numpy as np

from ..problems import InputProblem
from .written_numbers import is_empty, read_numbers

DECIMAL, PARTS = "decimal", "parts"

_NUMBER = r"\d+(?:[.,]\d+)?"
_PARTS = re.compile(
    rf"([NSEW])?\s*([+-])?\s*(\d{{1,3}})\s*[°ºd:\s]\s*({_NUMBER})\s*"
    rf"(?:['′’m:\s]\s*(?:({_NUMBER})\s*(?:\"|″|”|''|s)?)?)?\s*([NSEW])?", re.IGNORECASE)
_LETTERED = re.compile(r"([NSEW])?\s*([+-]?\d+(?:[.,]\d+)?)\s*°?\s*([NSEW])?", re.IGNORECASE)


def angle_form_of(cells, limit):
    """Return PARTS where a cell is written in degrees and minutes, else DECIMAL.

    "41°36.5' N", "N41 36 30" and "41:36:30" are; so is a plain number beyond `limit` degrees that
    makes sense as degrees and minutes run together: 4136.5, 413630.

    Parameters
        cells  those of one column
        limit  90 for latitudes, 180 for longitudes
    """
    for cell in cells:
        if is_empty(cell):
            continue
        text = str(cell).strip()
        if isinstance(cell, str) and _PARTS.fullmatch(text) and not _LETTERED.fullmatch(text):
            return PARTS
        number = _lettered(text)
        if number is not None and abs(number) > max(limit, 100) and _run_together(
                number, limit) is not None:
            return PARTS
    return DECIMAL


def read_angles(cells, form=DECIMAL, mark="point", *, limit=180):
    """Return a column of angles in decimal degrees, and what is wrong with those that are none.

    South and west are negative. In the form DECIMAL a letter of the compass may stand beside the
    number; no angle is refused for its size, which another CRS may make sense of.

    Parameters
        cells  texts, numbers or None
        form   DECIMAL or PARTS
        mark   decimal mark of plain numbers, "point" or "comma"
        limit  90 for latitudes, 180 for longitudes: how numbers that run together are cut
    Returns  (n,) float, NaN where empty, and a dict of position to what is wrong there
    """
    found, wrong = read_numbers(cells, mark)
    for place in list(wrong) if form == DECIMAL else range(len(cells)):
        if is_empty(cells[place]):
            continue
        wrong.pop(place, None)
        try:
            found[place] = _angle(str(cells[place]).strip(), form, limit)
        except InputProblem as problem:
            wrong[place], found[place] = str(problem), math.nan
    return found, wrong


def _angle(text, form, limit):
    number = _lettered(text)
    if number is not None:
        if form == DECIMAL or abs(number) <= limit:
            return number
        cut = _run_together(number, limit)
        if cut is not None:
            return cut
    parts = _PARTS.fullmatch(text) if form == PARTS else None
    if parts is None:
        raise InputProblem(f"{text[:40]!r} is no angle. Write it in decimal degrees.")
    before, sign, degrees, minutes, seconds, behind = parts.groups()
    minutes, seconds = (float((part or "0").replace(",", ".")) for part in (minutes, seconds))
    if minutes >= 60 or seconds >= 60:
        raise InputProblem(f"{text[:40]!r} has 60 minutes or seconds, or more. Correct it.")
    size = int(degrees) + minutes / 60 + seconds / 3600
    return -size if sign == "-" or (before or behind or "").upper() in ("S", "W") else size


def _lettered(text):
    found = _LETTERED.fullmatch(text)
    if found is None or (found[1] and found[3]):
        return None
    number = float(found[2].replace(",", "."))
    return -number if (found[1] or found[3] or "").upper() in ("S", "W") else number


def _run_together(number, limit):
    """Degrees and minutes run together (4136.5), or seconds too (413630), in decimal degrees."""
    size = abs(number)
    if size < 100 * (limit + 1):
        degrees, minutes, seconds = size // 100, size % 100, 0.0
    else:
        degrees, minutes, seconds = size // 10_000, size // 100 % 100, size % 100
    if degrees > limit or minutes >= 60 or seconds >= 60:
        return None
    return float(np.copysign(degrees + minutes / 60 + seconds / 3600, number))
