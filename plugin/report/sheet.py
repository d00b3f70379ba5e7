"""A stack of pages filled from top to bottom: the only place that puts items on a layout."""
from qgis.core import (
    QgsFillSymbol,
    QgsLayoutItemMarker,
    QgsLayoutItemPage,
    QgsLayoutItemPolygon,
    QgsLayoutItemShape,
    QgsLayoutPoint,
    QgsLayoutSize,
    QgsPrintLayout,
    QgsUnitTypes,
)
from qgis.PyQt.QtCore import QPointF
from qgis.PyQt.QtGui import QPolygonF

from . import look
from .page_ink import Ink, PageInk
from .type_setting import width_mm, wrapped
from .words import tr

MM = QgsUnitTypes.LayoutUnit.LayoutMillimeters
_FOOT = 7.0  # mm above the bottom margin kept for the foot of the page
_NUMBER = 40.0  # mm kept for the page number beside the foot
_ENDLESS = 1e6  # mm, the height of the paper on which heights are measured
_BETWEEN_BULLETS = 1.0  # mm


def plain_fill(colour, outline=None):
    """Return a fill symbol of one colour, with a thin outline where one is named."""
    return QgsFillSymbol.createSimple(
        {"color": colour, **({"outline_style": "no"} if outline is None else
                             {"outline_color": outline, "outline_width": "0.2"})})


class Sheet:
    """Pages of one paper size with a cursor `y` (mm from the top of page number `page`).

    Every block asks for its room first; what does not fit goes to a new page, which gets the
    running head: the field and the date of the visit. Text is kept in `inks`, one Ink a page;
    `finish` writes the foot of every page and puts the inks on the layout.
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
        self.inks, self.printed = [Ink()], []
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

    @property
    def fresh(self):
        """Whether the page holds nothing yet but its running head."""
        return self.y <= self.top + 0.1

    def height_of(self, draw):
        """Return how high what `draw(sheet)` prints is where no page ends, mm."""
        trial = _Trial(self)
        draw(trial)
        return trial.y

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
        self.inks.append(Ink())
        y = look.MARGIN
        self.line(self._visited, look.RUNNING, self.left, y, self.width, "right")
        for text in self._running_lines():
            self.line(text, look.RUNNING_BOLD, self.left, y, self.width)
            y += look.RUNNING.line_mm
        self.box(self.left, y + 1.2, self.width, 0.25, look.RULE)
        self.y = self.top

    def share(self, least):
        """Start a section below what the page holds where `least` mm are left, else on a new page.

        Page 1 is not shared.
        """
        if self.page == 0 or self.room < least:
            self.new_page()
        else:
            self.gap()

    def need(self, height):
        """Start a new page unless `height` mm are left; one that holds nothing yet is kept."""
        if height > self.room + 1e-6 and not self.fresh:  # heights add up to a rounding error
            self.new_page()

    def place(self, item, x, y, width, height):
        """Put an item on the present page, mm from its top left corner."""
        if item.scene() is None:
            self.layout.addLayoutItem(item)
        item.attemptResize(QgsLayoutSize(width, height, MM))
        item.attemptMove(QgsLayoutPoint(x, y, MM), True, False, self.page)
        return item

    def box(self, x, y, width, height, colour):
        """Draw a filled rectangle without an outline, below all text."""
        self.inks[self.page].boxes.append((x, y, width, height, colour))

    def shape(self, points, *, fill=None, pen=None, width=0.2):
        """Draw a line through (x, y) points, or fill what they go around, below all text."""
        self.inks[self.page].shapes.append((points, fill, pen, width))

    def swatch(self, x, y, width, height, symbol):
        """Draw a rectangle with a fill symbol."""
        item = QgsLayoutItemShape(self.layout)
        item.setShapeType(QgsLayoutItemShape.Shape.Rectangle)
        item.setSymbol(symbol)
        self.place(item, x, y, width, height)

    def picture(self, x, y, width, height, image):
        """Draw an image."""
        self.inks[self.page].pictures.append((x, y, width, height, image))

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
        taken = width_mm(text, style)
        start = {"left": x, "right": x + width - taken, "centre": x + (width - taken) / 2}[align]
        self.inks[self.page].lines.append((text, style, start, y, taken))

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
        """Print each text as an item of a list; the last one does not go to a page by itself."""
        indent = 4.0
        items = [wrapped(text, style, self.width - indent) for text in texts]
        for number, lines in enumerate(items):
            kept = style.line_mm * min(len(lines), 2)
            if number == len(items) - 2:
                kept = (style.line_mm * (len(lines) + len(items[-1])) + _BETWEEN_BULLETS)
            self.need(min(kept, (self.bottom - self.top) / 2))
            size = style.size * look.POINT_MM * 0.24
            self.box(self.left + 1.0, self.y + (style.line_mm - size) / 2, size, size, look.ACCENT)
            self.lines(lines, style, self.left, self.width, indent=indent)
            self.y += _BETWEEN_BULLETS

    def heading(self, text, *, keep=30.0):
        """Print the heading of a section, kept together with `keep` mm of what follows."""
        lines = wrapped(text, look.HEADING, self.width)
        self.need(len(lines) * look.HEADING.line_mm + keep)
        self.lines(lines, look.HEADING, self.left, self.width)
        self.y += 1.2

    def subheading(self, text, *, keep=14.0):
        """Print a smaller heading, kept together with `keep` mm of what follows."""
        lines = wrapped(text, look.SUBHEADING, self.width)
        self.need(1.6 + len(lines) * look.SUBHEADING.line_mm + 0.6 + keep)
        self.y += 1.6
        self.lines(lines, look.SUBHEADING, self.left, self.width)
        self.y += 0.6

    def gap(self, height=look.GAP):
        """Leave room under a block."""
        self.y = min(self.y + height, self.bottom)

    def finish(self):
        """Write the foot of every page, what made the report and page n of m, and all text."""
        last = self.page
        y = self.paper.height - look.MARGIN - len(self._foot) * look.RUNNING.line_mm
        for self.page in range(last + 1):
            self.box(self.left, y - 1.4, self.width, 0.25, look.RULE)
            number = tr("Page {number} of {total}").format(number=self.page + 1, total=last + 1)
            self.line(number, look.RUNNING, self.left, y, self.width, "right")
            for row, text in enumerate(self._foot):
                self.line(text, look.RUNNING, self.left, y + row * look.RUNNING.line_mm,
                          self.width)
            self.printed.append(self.place(PageInk(self.layout, self.inks[self.page]), 0.0, 0.0,
                                           self.paper.width, self.paper.height))
        self.page = last


class _Trial(Sheet):
    """An endless page on which nothing is printed, to see how high something gets."""

    def __init__(self, like):
        self.paper, self.left, self.width = like.paper, like.left, like.width
        self.page, self.y, self.bottom = 0, 0.0, _ENDLESS

    top = 0.0

    def line(self, text, style, x, y, width, align="left"):
        """Print nothing."""

    def box(self, x, y, width, height, colour):
        """Print nothing."""

    def shape(self, points, *, fill=None, pen=None, width=0.2):
        """Print nothing."""

    def picture(self, x, y, width, height, image):
        """Print nothing."""
