"""A stack of pages filled from top to bottom: the only place that puts items on a layout."""
from qgis.core import (
    QgsFillSymbol,
    QgsLayoutItemLabel,
    QgsLayoutItemMarker,
    QgsLayoutItemPage,
    QgsLayoutItemPolygon,
    QgsLayoutItemShape,
    QgsLayoutPoint,
    QgsLayoutSize,
    QgsPrintLayout,
    QgsUnitTypes,
)
from qgis.PyQt.QtCore import QPointF, Qt
from qgis.PyQt.QtGui import QPolygonF

from ..qt_compat import set_label_format
from . import look
from .type_setting import format_of, harmless, width_mm, wrapped
from .words import tr

MM = QgsUnitTypes.LayoutUnit.LayoutMillimeters
_FOOT = 7.0  # mm above the bottom margin kept for the foot of the page
_NUMBER = 40.0  # mm kept for the page number beside the foot
_LABEL_SLACK = 1.015  # a label wraps at its edge: its box over its text's width


def plain_fill(colour, outline=None):
    """Return a fill symbol of one colour, with a thin outline where one is named."""
    return QgsFillSymbol.createSimple(
        {"color": colour, **({"outline_style": "no"} if outline is None else
                             {"outline_color": outline, "outline_width": "0.2"})})


class Sheet:
    """Pages of one paper size with a cursor `y` (mm from the top of page number `page`).

    Every block asks for its room first; what does not fit goes to a new page, which gets the
    running head: the field and the date of the visit. `finish` writes the foot of every page.
    """

    def __init__(self, project, paper, *, running, visited, foot, tick):
        self.layout = QgsPrintLayout(project)
        self.layout.setName("report")
        self.layout.initializeDefaults()
        project.layoutManager().addLayout(self.layout)  # which drops it before its layers
        self.paper, self.tick = paper, tick
        self.left, self.width = look.MARGIN, paper.width - 2 * look.MARGIN
        self._running, self._visited = running, visited
        self._foot = wrapped(foot, look.RUNNING, self.width - _NUMBER)
        self.bottom = (paper.height - look.MARGIN - _FOOT
                       - (len(self._foot) - 1) * look.RUNNING.line_mm)
        self.page = 0
        self.y = look.MARGIN
        self._size(self.layout.pageCollection().page(0))

    def _size(self, page):
        page.setPageSize(QgsLayoutSize(self.paper.width, self.paper.height, MM))

    @property
    def room(self):
        """Height left on the page, mm."""
        return self.bottom - self.y

    @property
    def top(self):
        """Where the text of a page after the first begins, mm from its top."""
        lines = max(len(self._running_lines()), 1)
        return look.MARGIN + lines * look.RUNNING.line_mm + 6.0

    def _running_lines(self):
        beside = width_mm(self._visited, look.RUNNING) + 8.0
        return wrapped(self._running, look.RUNNING_BOLD, max(self.width - beside, 40.0))

    def new_page(self):
        """Start a page with its running head."""
        self.tick(0.0)
        page = QgsLayoutItemPage(self.layout)
        self._size(page)
        self.layout.pageCollection().addPage(page)
        self.page += 1
        y = look.MARGIN
        self.line(self._visited, look.RUNNING, self.left, y, self.width, "right")
        for text in self._running_lines():
            self.line(text, look.RUNNING_BOLD, self.left, y, self.width)
            y += look.RUNNING.line_mm
        self.box(self.left, y + 1.2, self.width, 0.25, look.RULE)
        self.y = self.top

    def need(self, height):
        """Start a new page unless `height` mm are left; one that holds nothing yet is kept."""
        if height > self.room and self.y > self.top + 0.1:
            self.new_page()

    def place(self, item, x, y, width, height):
        """Put an item on the present page, mm from its top left corner."""
        if item.scene() is None:
            self.layout.addLayoutItem(item)
        item.attemptResize(QgsLayoutSize(width, height, MM))
        item.attemptMove(QgsLayoutPoint(x, y, MM), True, False, self.page)
        return item

    def box(self, x, y, width, height, colour):
        """Draw a filled rectangle without an outline."""
        return self.swatch(x, y, width, height, plain_fill(colour))

    def swatch(self, x, y, width, height, symbol):
        """Draw a rectangle with a fill symbol."""
        item = QgsLayoutItemShape(self.layout)
        item.setShapeType(QgsLayoutItemShape.Shape.Rectangle)
        item.setSymbol(symbol)
        return self.place(item, x, y, width, height)

    def mark(self, x, y, size, symbol):
        """Draw a marker symbol in the middle of a square of `size` mm."""
        item = QgsLayoutItemMarker(self.layout)
        item.setSymbol(symbol)
        self.place(item, x, y, size, size)
        # a marker item takes the size of its symbol: move its middle, not its corner
        dx = (size - item.rect().width()) / 2
        dy = (size - item.rect().height()) / 2
        item.attemptMove(QgsLayoutPoint(x + dx, y + dy, MM), True, False, self.page)

    def polygon(self, points, symbol):
        """Draw a polygon through points given in mm on the present page."""
        shift = self.layout.pageCollection().page(self.page).pos().y()
        item = QgsLayoutItemPolygon(
            QPolygonF([QPointF(x, y + shift) for x, y in points]), self.layout)
        item.setSymbol(symbol)
        self.layout.addLayoutItem(item)

    def line(self, text, style, x, y, width, align="left"):
        """Print one line of text, known to fit into `width` mm."""
        if not text:
            return
        item = QgsLayoutItemLabel(self.layout)
        item.setText(harmless(text))
        set_label_format(item, format_of(style))
        item.setMarginX(0.0)
        item.setMarginY(0.0)
        item.setVAlign(Qt.AlignmentFlag.AlignVCenter)
        item.setHAlign({"left": Qt.AlignmentFlag.AlignLeft, "right": Qt.AlignmentFlag.AlignRight,
                        "centre": Qt.AlignmentFlag.AlignHCenter}[align])
        taken = width_mm(text, style) * _LABEL_SLACK + 1.0
        start = {"left": x, "right": x + width - taken, "centre": x + (width - taken) / 2}[align]
        self.place(item, start, y, taken, style.line_mm)

    def lines(self, lines, style, x, width, *, indent=0.0):
        """Print lines under each other at the cursor, on new pages where the page ends."""
        for text in lines:
            self.need(style.line_mm)
            self.line(text, style, x + indent, self.y, width - indent)
            self.y += style.line_mm

    def paragraph(self, text, style=look.BODY, *, after=1.6):
        """Print a wrapped paragraph."""
        if str(text).strip():
            self.lines(wrapped(text, style, self.width), style, self.left, self.width)
            self.y += after

    def bullets(self, texts, style=look.BODY):
        """Print each text as an item of a list."""
        indent = 4.0
        for text in texts:
            lines = wrapped(text, style, self.width - indent)
            self.need(style.line_mm * min(len(lines), 2))
            size = style.size * look.POINT_MM * 0.24
            self.box(self.left + 1.0, self.y + (style.line_mm - size) / 2, size, size, look.ACCENT)
            self.lines(lines, style, self.left, self.width, indent=indent)
            self.y += 1.0

    def heading(self, text, *, keep=30.0):
        """Print the heading of a section, kept together with `keep` mm of what follows."""
        lines = wrapped(text, look.HEADING, self.width)
        self.need(len(lines) * look.HEADING.line_mm + keep)
        self.lines(lines, look.HEADING, self.left, self.width)
        self.y += 1.2

    def subheading(self, text, *, keep=14.0):
        """Print a smaller heading over a rule, kept together with what follows."""
        lines = wrapped(text, look.SUBHEADING, self.width)
        self.need(len(lines) * look.SUBHEADING.line_mm + keep)
        self.y += 1.6
        self.lines(lines, look.SUBHEADING, self.left, self.width)
        self.y += 0.6

    def gap(self, height=look.GAP):
        """Leave room under a block."""
        self.y = min(self.y + height, self.bottom)

    def finish(self):
        """Write the foot of every page: what made the report, and page n of m."""
        last = self.page
        y = self.paper.height - look.MARGIN - len(self._foot) * look.RUNNING.line_mm
        for self.page in range(last + 1):
            self.box(self.left, y - 1.4, self.width, 0.25, look.RULE)
            number = tr("Page {number} of {total}").format(number=self.page + 1, total=last + 1)
            self.line(number, look.RUNNING, self.left, y, self.width, "right")
            for row, text in enumerate(self._foot):
                self.line(text, look.RUNNING, self.left, y + row * look.RUNNING.line_mm,
                          self.width)
        self.page = last
