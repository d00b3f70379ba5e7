"""Measuring and wrapping text, so that nothing printed is cut or runs into its neighbour."""
from functools import cache

from qgis.core import QgsTextFormat, QgsUnitTypes
from qgis.PyQt.QtGui import QColor, QFont, QFontInfo, QFontMetricsF

from .look import POINT_MM

_FAMILIES = ("Open Sans", "Noto Sans", "DejaVu Sans", "Arial")
_MEASURED_AT_PX = 200  # large, so that hinting does not round the widths
_UNJOINED = 0.05  # between letters, far below a pixel: too little to see
_SAFETY = 1.015  # the printer's hinting may set a line this much wider


@cache
def family():
    """Return the first of the preferred sans-serif families that is installed."""
    for name in _FAMILIES:
        if QFontInfo(QFont(name)).family() == name:
            return name
    return QFont().defaultFamily()


def font_of(style):
    """Return the QFont of a Type."""
    font = QFont(family())
    font.setStyleHint(QFont.StyleHint.SansSerif)
    font.setPointSizeF(style.size)
    font.setBold(style.bold)
    font.setItalic(style.italic)
    # any letter spacing keeps Qt from joining f and i to one sign, which no search would find
    font.setLetterSpacing(QFont.SpacingType.AbsoluteSpacing, _UNJOINED)
    return font


def format_of(style):
    """Return the QgsTextFormat of a Type."""
    made = QgsTextFormat()
    made.setFont(font_of(style))
    made.setSize(style.size)
    made.setSizeUnit(QgsUnitTypes.RenderUnit.RenderPoints)
    made.setColor(QColor(style.colour))
    return made


@cache
def _metrics(bold, italic):
    font = QFont(family())
    font.setPixelSize(_MEASURED_AT_PX)
    font.setBold(bold)
    font.setItalic(italic)
    return QFontMetricsF(font)


def width_mm(text, style):
    """Return the width of one line of text, mm."""
    advance = _metrics(style.bold, style.italic).horizontalAdvance(text)
    return advance / _MEASURED_AT_PX * style.size * POINT_MM * _SAFETY


def longest_word_mm(text, style):
    """Return the width of the longest word, mm; 0 of an empty text."""
    return max((width_mm(word, style) for word in text.split()), default=0.0)


def wrapped(text, style, width):
    """Return the text as lines no wider than `width` mm.

    Lines break at spaces and at line ends in the text; a word wider than the line is broken
    between letters. An empty text gives one empty line.
    """
    lines = []
    for part in str(text).splitlines() or [""]:
        line = ""
        for word in part.split(" "):
            longer = f"{line} {word}" if line else word
            if width_mm(longer, style) <= width:
                line = longer
                continue
            if line:
                lines.append(line)
            *full, line = _broken(word, style, width)
            lines.extend(full)
        lines.append(line)
    return lines


def _broken(word, style, width):
    pieces, piece = [], ""
    for letter in word:
        if piece and width_mm(piece + letter, style) > width:
            pieces.append(piece)
            piece = ""
        piece += letter
    return [*pieces, piece]


def harmless(text):
    """Return the text so that a layout label prints it as it stands.

    A label evaluates what stands between [% and %]; names typed by users are never to be run.
    """
    return text.replace("[%", "[% '[%' %]")
