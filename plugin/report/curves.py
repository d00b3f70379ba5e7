"""Curves in panels beside each other, on one scale: drawn as lines, so that they print sharply."""
import math
from dataclasses import dataclass

from . import look
from .type_setting import width_mm

_HEIGHT = 46.0  # mm of a panel between its title and its lower axis
_BETWEEN = 8.0  # mm between two panels
_TICK = 1.2  # mm
_PAD = 0.8  # mm, between such words and the edge of a panel
_AIR = 0.25  # share of the curves' span left free above and below them, for words
_MOST_TICKS = 6
_DOT = 0.9  # mm, half the width of the mark


@dataclass(frozen=True)
class Curve:
    """One panel: a curve over a scale of its own.

    title   printed above
    points  (x, height) pairs by rising x, a height None where there is none
    ticks   (x, text) pairs
    across  name of the lower axis
    marked  the x of the point to mark, or None
    """
    title: str
    points: tuple
    ticks: tuple
    across: str
    marked: float = None

    @property
    def heights(self):
        """The heights that there are."""
        return [height for _, height in self.points if height is not None]


def draw_curves(sheet, curves, *, above, below, tell, heading):
    """Draw curves of one unit in panels beside each other, the ground below each shaded.

    Curves that join no two points are left out. Returns whether one was drawn.

    Parameters
        curves        sequence of Curve
        above, below  words printed above and below the curve, inside each panel
        tell          function of a height: how the scale prints it
        heading       printed above, on the same page
    """
    curves = [curve for curve in curves if _runs(curve.points)]
    if not curves:
        return False
    bottom, top, steps = _scale([height for curve in curves for height in curve.heights])
    beside = max(width_mm(tell(step), look.NOTE) for step in steps) + 2 * _TICK
    sheet.subheading(heading, keep=_HEIGHT + look.CELL_HEAD.line_mm + 2 * look.NOTE.line_mm + 5.0)
    start, upper = sheet.y, sheet.y + look.CELL_HEAD.line_mm + 1.0
    wide = (sheet.width - _BETWEEN) / 2
    for number, curve in enumerate(curves):
        left = sheet.left + number * (wide + _BETWEEN) + beside
        panel = _Panel(left, upper, wide - beside, bottom, top, curve.points)
        sheet.line(curve.title, look.CELL_HEAD, left, start, wide - beside)
        _draw_axes(sheet, panel, curve, steps, tell, above, below)
        _draw_curve(sheet, panel, curve)
        sheet.line(above, look.NOTE_ITALIC, left, panel.upper + _PAD, panel.width - 1.5, "right")
        sheet.line(below, look.NOTE_ITALIC, left + 1.5,
                   panel.lower - look.NOTE_ITALIC.line_mm - _PAD, panel.width)
    sheet.y = upper + _HEIGHT + _TICK + 2 * look.NOTE.line_mm + 1.6
    return True


class _Panel:
    """Where a panel lies on its page, and how its two scales become mm."""

    def __init__(self, left, upper, width, bottom, top, points):
        self.left, self.upper, self.width = left, upper, width
        self.lower = upper + _HEIGHT
        self._bottom, self._top = bottom, top
        self._first, self._last = points[0][0], points[-1][0]

    def x(self, value):
        return self.left + self.width * (value - self._first) / (self._last - self._first)

    def y(self, height):
        return self.lower - _HEIGHT * (height - self._bottom) / (self._top - self._bottom)


def _scale(heights):
    """Return bottom, top and round steps of a scale with air around some heights."""
    low, high = min(heights), max(heights)
    span = (high - low) or abs(high) * 0.2 or 1.0
    low, high = max(low - _AIR * span, min(0.0, low)), high + _AIR * span
    rough = (high - low) / _MOST_TICKS
    power = 10.0 ** math.floor(math.log10(rough))
    step = power * next(times for times in (1, 2, 5, 10) if times * power >= rough)
    first = math.ceil(low / step)
    return low, high, [step * number for number in range(first, math.floor(high / step) + 1)]


def _draw_axes(sheet, panel, curve, steps, tell, above, below):
    words = look.NOTE_ITALIC.line_mm + 2 * _PAD  # a rule does not run through them
    for step in steps:
        y, start, end = panel.y(step), panel.left, panel.left + panel.width
        if y < panel.upper + words:
            end -= width_mm(above, look.NOTE_ITALIC) + 3.0
        if y > panel.lower - words:
            start += width_mm(below, look.NOTE_ITALIC) + 3.0
        sheet.shape([(start, y), (end, y)], pen=look.RULE, width=0.15)
        text = tell(step)
        sheet.line(text, look.NOTE, panel.left - _TICK - width_mm(text, look.NOTE),
                   y - look.NOTE.line_mm / 2, width_mm(text, look.NOTE))
    taken = -math.inf
    for at, text in curve.ticks:
        x, wide = panel.x(at), width_mm(text, look.NOTE)
        sheet.shape([(x, panel.lower), (x, panel.lower + _TICK)], pen=look.QUIET, width=0.2)
        start = min(x - wide / 2, panel.left + panel.width - wide)
        if start > taken:  # a label that would run into the one before is left out
            sheet.line(text, look.NOTE, start, panel.lower + _TICK, wide)
            taken = start + wide + _TICK
    sheet.line(curve.across, look.NOTE, panel.left, panel.lower + _TICK + look.NOTE.line_mm,
               panel.width, "centre")


def _draw_curve(sheet, panel, curve):
    for run in _runs(curve.points):
        line = [(panel.x(x), panel.y(height)) for x, height in run]
        sheet.shape([*line, (line[-1][0], panel.lower), (line[0][0], panel.lower)], fill=look.BAND)
        sheet.shape(line, pen=look.ACCENT, width=0.5)
    right = panel.left + panel.width
    sheet.shape([(panel.left, panel.upper), (panel.left, panel.lower), (right, panel.lower)],
                pen=look.QUIET, width=0.2)
    for x, height in curve.points:
        if x == curve.marked and height is not None:
            across, up = panel.x(x), panel.y(height)
            sheet.shape([(across - _DOT, up), (across, up - _DOT), (across + _DOT, up),
                         (across, up + _DOT)], fill=look.INK)


def _runs(points):
    """Return the parts of a curve without a gap, each of two points or more."""
    runs = [[]]
    for x, height in points:
        if height is None:
            runs.append([])
        else:
            runs[-1].append((x, height))
    return [run for run in runs if len(run) > 1]
