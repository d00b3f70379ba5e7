"""The text, rules and bands of one page, painted as a single layout item.

A layout item for each line of text makes a long table slow: a layout re-sorts all of its items
whenever one is added. One item a page costs the same whether it holds ten lines or a thousand.
"""
from qgis.core import QgsLayoutItem, QgsUnitTypes
from qgis.PyQt.QtCore import QPointF, QRectF, Qt
from qgis.PyQt.QtGui import QColor, QPen, QPolygonF

from .type_setting import ascent_mm, descent_mm, measured_font, scale_of

_KIND = 65_536 + 100 + 10_000 + 77  # QGraphicsItem's user types, QGIS's, its plugins', and ours
_MM = QgsUnitTypes.RenderUnit.RenderMillimeters


class Ink:
    """What is printed on one page, mm from its top left corner.

    lines  list of (text, Type, x, y, width): one line of text in a box as high as its type's line
    boxes  list of (x, y, width, height, colour): filled rectangles, which lie below the text
    shapes  list of (points, fill, pen, width): lines through (x, y) points, closed and filled where
            a fill is named, drawn over the boxes in their order
    pictures  list of (x, y, width, height, QImage)
    """

    def __init__(self):
        self.lines, self.boxes, self.shapes, self.pictures = [], [], [], []


class PageInk(QgsLayoutItem):
    """A layout item as large as a page that paints an Ink.

    painted  function without arguments that is called each time it was painted, the last of its
             page; it must not raise, since Qt's own code lets nothing through
    """

    def __init__(self, layout, ink):
        super().__init__(layout)
        self._ink, self.painted = ink, _nothing
        self.setBackgroundEnabled(False)
        self.setFrameEnabled(False)

    def type(self):
        """Return the number of this kind of item."""
        return _KIND

    def draw(self, context):
        """Paint boxes, shapes, text; the font is the one that measured the text, only scaled."""
        render = context.renderContext()
        painter, dots = render.painter(), render.convertToPainterUnits(1.0, _MM)
        painter.save()
        painter.scale(dots, dots)
        for x, y, width, height, colour in self._ink.boxes:
            painter.fillRect(QRectF(x, y, width, height), QColor(colour))
        for points, fill, pen, width in self._ink.shapes:
            drawn = QPolygonF([QPointF(x, y) for x, y in points])
            painter.setPen(QPen(QColor(pen), width) if pen else QPen(Qt.PenStyle.NoPen))
            if fill:
                painter.setBrush(QColor(fill))
                painter.drawPolygon(drawn)
            else:
                painter.drawPolyline(drawn)
        for x, y, width, height, image in self._ink.pictures:
            painter.drawImage(QRectF(x, y, width, height), image)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        for text, style, x, y, _ in self._ink.lines:
            rest = (style.line_mm - ascent_mm(style) - descent_mm(style)) / 2
            scale = scale_of(style)
            painter.save()
            painter.translate(x, y + rest + ascent_mm(style))
            painter.scale(scale, scale)
            painter.setPen(QColor(style.colour))
            painter.setFont(measured_font(style.bold, style.italic))
            painter.drawText(QPointF(0.0, 0.0), text)
            painter.restore()
        painter.restore()
        self.painted()


def _nothing():
    """Do nothing."""
