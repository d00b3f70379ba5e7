"""Measuring and wrapping text, so that nothing printed is cut or runs into its neighbour."""
from functools import cache, lru_cache

from qgis.core import QgsTextFormat, QgsUnitTypes
from qgis.PyQt.QtGui import QColor, QFont, QFontInfo, QFontMetricsF

from .look import POINT_MM

_FAMILIES = ("Open Sans", "Noto Sans", "DejaVu Sans", "Arial")
_MEASURED_AT_PX = 200  # large, so that hinting does not round the widths
_UNJOINED = 0.05  # between letters, far below a pixel: too little to see


@cache
def family():
    """Return the first of the preferred sans-serif families that is installed."""
    for name in _FAMILIES:
        if QFontInfo(QFont(name)).family() == name:
            return name
    return QFont().defaultFamily()


def format_of(style):
    """Return the QgsTextFormat of a Type, for what QGIS itself prints: scale bars and labels."""
    made = QgsTextFormat()
    font = QFont(family())
    font.setStyleHint(QFont.StyleHint.SansSerif)
    font.setBold(style.bold)
    font.setItalic(style.italic)
    made.setFont(font)
    made.setSize(style.size)
    made.setSizeUnit(QgsUnitTypes.RenderUnit.RenderPoints)
    made.setColor(QColor(style.colour))
    return made


@cache
def measured_font(bold, italic):
    """Return the font that text is measured and painted in; `scale_of` makes it a Type's size."""
    font = QFont(family())
    font.setStyleHint(QFont.StyleHint.SansSerif)
    font.setPixelSize(_MEASURED_AT_PX)
    font.setBold(bold)
    font.setItalic(italic)
    # any letter spacing keeps Qt from joining f and i to one sign, which no search would find
    font.setLetterSpacing(QFont.SpacingType.AbsoluteSpacing, _UNJOINED)
    return font


@cache
def _metrics(bold, italic):
    return QFontMetricsF(measured_font(bold, italic))


def scale_of(style):
    """Return how many mm a pixel of the measured font is at the size of a Type."""
    return style.size * POINT_MM / _MEASURED_AT_PX


def ascent_mm(style):
    """Return the height of a Type above its baseline, mm."""
    return _metrics(style.bold, style.italic).ascent() * scale_of(style)


def descent_mm(style):
    """Return the depth of a Type below its baseline, mm."""
    return _metrics(style.bold, style.italic).descent() * scale_of(style)


@lru_cache(maxsize=50_000)  # some 10 MB
def width_mm(text, style):
    """Return the width of one line of text, mm."""
    return _metrics(style.bold, style.italic).horizontalAdvance(text) * scale_of(style)


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
