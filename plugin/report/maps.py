"""Map blocks: the map in its frame, its legend, scale bar, north arrow and caption."""
from dataclasses import dataclass
from math import floor, log10

from qgis.core import (
    QgsFillSymbol,
    QgsLayoutItemMap,
    QgsLayoutItemScaleBar,
    QgsLayoutMeasurement,
    QgsMarkerSymbol,
    QgsRectangle,
    QgsUnitTypes,
)
from qgis.PyQt.QtCore import QSizeF
from qgis.PyQt.QtGui import QColor

from . import look
from .sheet import MM, plain_fill
from .type_setting import format_of, wrapped
from .words import tr

_FRAME_LEAST, _FRAME_MOST = 60.0, 190.0  # height of the map frame, mm
_READABLE = 85.0  # a map that would get less height goes to a new page
_AROUND = 0.05  # room around the field, share of its longer side
_SIDE = 52.0  # width kept for scale bar and north arrow, mm
_SIDE_HEIGHT = 17.0  # mm they take
_BESIDE = 4.0  # mm between a map and the legend beside it
_NARROWEST = 80.0  # mm, of a frame beside its legend
_SWATCH = (8.0, 4.6)
_ROW = 5.8  # height of a legend row, mm
_METRES = {"ft": 0.3048, "m": 1.0}
_BAR_UNITS = {"ft": QgsUnitTypes.DistanceUnit.DistanceFeet,
              "m": QgsUnitTypes.DistanceUnit.DistanceMeters}


@dataclass(frozen=True)
class LegendEntry:
    """A fill or marker symbol and what it stands for."""
    symbol: object
    text: str


def colour_entry(one):
    """Return the LegendEntry of a SurfaceClass."""
    return LegendEntry(plain_fill(one.colour.name(), outline=look.QUIET), one.text)


class MapBlock:
    """One map with all that belongs to it.

    layers   map layers, the topmost first
    extent   QgsRectangle of the field in `crs`, metres
    length   "ft" or "m": the unit of the scale bar
    readable height below which the map cannot be read, mm
    """

    def __init__(self, *, identifier, layers, extent, crs, length, entries, caption,
                 readable=_READABLE):
        self.readable = readable
        self.identifier, self.layers, self.extent, self.crs = identifier, layers, extent, crs
        self.length, self.entries, self.caption = length, entries, caption

    def least(self, sheet):
        """Return the height below which the block cannot be read, mm."""
        return max(self.readable, self._legend_beside()) + self._below_beside(sheet)

    def draw(self, sheet, *, most=None):
        """Draw the block at the sheet's cursor, on a new page where it would get too small.

        The legend stands below the map or beside it, wherever the field gets larger.

        Parameters
            most  greatest height of the block, mm; None: what the page has
        """
        least = self.least(sheet)
        sheet.need(least)
        most = max(min(most or sheet.room, sheet.room), min(least, sheet.room))
        shape = self._padded()
        aspect = shape.height() / shape.width()
        above, beside = self._frame_above(sheet, aspect, most), self._frame_beside(
            sheet, aspect, most)
        # a frame as wide as the page needs some height; below it the other is taken
        if above[1] >= _FRAME_LEAST and min(above[0], above[1] / aspect) >= min(
                beside[0], beside[1] / aspect):
            self._draw_above(sheet, above[1])
        else:
            self._draw_beside(sheet, *beside)

    def _frame_above(self, sheet, aspect, most):
        wanted = min(max(sheet.width * aspect, _FRAME_LEAST), _FRAME_MOST)
        return sheet.width, min(wanted, most - self._below_above(sheet))

    def _frame_beside(self, sheet, aspect, most):
        room = sheet.width - _SIDE - _BESIDE
        height = min(max(room * aspect, self._legend_beside(), 40.0),
                     most - self._below_beside(sheet), _FRAME_MOST)
        return min(room, max(height / aspect, _NARROWEST)), height

    def _caption_lines(self, sheet):
        return wrapped(self.caption, look.NOTE, sheet.width)

    def _below_beside(self, sheet):
        return 1.5 + len(self._caption_lines(sheet)) * look.NOTE.line_mm + look.GAP

    def _below_above(self, sheet):
        return 2.0 + self._legend_above(sheet) + self._below_beside(sheet)

    def _legend_above(self, sheet):
        return max(*self._heights(*self._columns(sheet.width - _SIDE)), _SIDE_HEIGHT)

    def _legend_beside(self):
        return sum(self._heights(1, _SIDE)) + _SIDE_HEIGHT

    def _draw_above(self, sheet, height):
        columns, wide = self._columns(sheet.width - _SIDE)
        item = self._draw_frame(sheet, sheet.width, height)
        top = sheet.y + height + 2.0
        self._draw_legend(sheet, sheet.left, top, columns, wide)
        self._draw_scale_bar(sheet, item, sheet.width, top)
        self._finish(sheet, top + self._legend_above(sheet))

    def _draw_beside(self, sheet, wide, height):
        item = self._draw_frame(sheet, wide, height)
        self._draw_legend(sheet, sheet.left + wide + _BESIDE, sheet.y, 1, _SIDE)
        self._draw_scale_bar(sheet, item, wide, sheet.y + height - _SIDE_HEIGHT + 2.0)
        self._finish(sheet, sheet.y + height)

    def _finish(self, sheet, bottom):
        sheet.y = bottom + 1.5
        sheet.lines(self._caption_lines(sheet), look.NOTE, sheet.left, sheet.width)
        sheet.gap()

    def _padded(self):
        around = _AROUND * max(self.extent.width(), self.extent.height())
        return self.extent.buffered(around)

    def _draw_frame(self, sheet, width, height):
        item = QgsLayoutItemMap(sheet.layout)
        item.setId(self.identifier)
        item.setCrs(self.crs)
        item.setKeepLayerSet(True)
        item.setLayers(self.layers)
        sheet.place(item, sheet.left, sheet.y, width, height)
        # QGIS 3.22 zooms a map that never had an extent to one that is not a number
        item.setExtent(self._fitted(width / height))
        item.zoomToExtent(self._fitted(width / height))
        item.setBackgroundColor(QColor(look.PAPER))
        item.setFrameEnabled(True)
        item.setFrameStrokeColor(QColor(look.RULE))
        item.setFrameStrokeWidth(QgsLayoutMeasurement(0.25, MM))
        return item

    def _fitted(self, aspect):
        shape = self._padded()
        width = max(shape.width(), shape.height() * aspect)
        height = max(shape.height(), shape.width() / aspect)
        middle = shape.center()
        return QgsRectangle(middle.x() - width / 2, middle.y() - height / 2,
                            middle.x() + width / 2, middle.y() + height / 2)

    def _columns(self, room):
        """Return how many legend columns fit into the room, and their width, mm."""
        for columns, most_lines in ((3, 1), (2, 2)):
            if all(len(self._lines(entry, room / columns)) <= most_lines
                   for entry in self.entries):
                return columns, room / columns
        return 1, room

    @staticmethod
    def _lines(entry, wide):
        return wrapped(entry.text, look.CELL, wide - _SWATCH[0] - 3.0)

    def _in_columns(self, columns):
        per_column = max(-(-len(self.entries) // columns), 1)
        return [self.entries[first:first + per_column]
                for first in range(0, len(self.entries), per_column)]

    def _heights(self, columns, wide):
        """Return the height of each legend column, mm."""
        return [sum(_row_height(self._lines(entry, wide)) for entry in column)
                for column in self._in_columns(columns)] or [0.0]

    def _draw_legend(self, sheet, left, top, columns, wide):
        for number, column in enumerate(self._in_columns(columns)):
            x, y = left + wide * number, top
            for entry in column:
                lines = self._lines(entry, wide)
                if isinstance(entry.symbol, QgsMarkerSymbol):
                    sheet.mark(x + (_SWATCH[0] - _SWATCH[1]) / 2, y + 0.4, _SWATCH[1],
                               entry.symbol)
                else:
                    sheet.swatch(x + 0.2, y + 0.4, *_SWATCH, entry.symbol)
                text_top = y + 0.4 + (_SWATCH[1] - look.CELL.line_mm) / 2
                for line in lines:
                    sheet.line(line, look.CELL, x + _SWATCH[0] + 2.0, text_top,
                               wide - _SWATCH[0] - 3.0)
                    text_top += look.CELL.line_mm
                y += _row_height(lines)

    def _draw_scale_bar(self, sheet, item, width, top):
        right = sheet.left + sheet.width
        self._draw_north(sheet, right - 5.0, top)
        metres_per_mm = item.extent().width() / width
        segment = _round_down(13.0 * metres_per_mm / _METRES[self.length])
        bar = QgsLayoutItemScaleBar(sheet.layout)
        bar.setStyle("Single Box")
        bar.setLinkedMap(item)
        bar.setUnits(_BAR_UNITS[self.length])
        bar.setUnitLabel(self.length)
        bar.setMapUnitsPerScaleBarUnit(1.0)
        bar.setNumberOfSegmentsLeft(0)
        bar.setNumberOfSegments(2)
        bar.setUnitsPerSegment(segment)
        bar.setHeight(1.8)
        bar.setLabelBarSpace(1.0)
        bar.setBoxContentSpace(0.5)
        bar.setTextFormat(format_of(look.Type(7)))
        sheet.layout.addLayoutItem(bar)
        bar.update()
        size = bar.minimumSize()
        size = QSizeF(size.width(), size.height())
        sheet.place(bar, right - 12.0 - size.width(), top + 2.5, size.width(), size.height())

    def _draw_north(self, sheet, middle, top):
        ink = QgsFillSymbol.createSimple({"color": look.INK, "outline_style": "no"})
        sheet.polygon([(middle, top + 0.6), (middle + 2.6, top + 9.2), (middle, top + 7.4),
                       (middle - 2.6, top + 9.2)], ink)
        sheet.line(tr("N"), look.Type(8, bold=True), middle - 5.0, top + 9.6, 10.0, "centre")


def _row_height(lines):
    return max(_ROW, len(lines) * look.CELL.line_mm + 2.0)


def _round_down(value):
    """Return the greatest of 1, 2, 2.5 or 5 times a power of ten that is not above the value."""
    power = 10.0 ** floor(log10(value))
    return max(step * power for step in (1.0, 2.0, 2.5, 5.0) if step * power <= value * (1 + 1e-9))
