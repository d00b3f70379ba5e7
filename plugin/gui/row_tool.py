"""A map tool with which the user shows a row: its start, then a second point on it."""
from qgis.core import QgsWkbTypes
from qgis.gui import QgsMapTool, QgsRubberBand
from qgis.PyQt.QtCore import Qt, pyqtSignal
from qgis.PyQt.QtGui import QColor

LINE = "#1d4f73"


class RowTool(QgsMapTool):
    """Takes two clicks; the line to the pointer shows where the row would lead.

    shown      the two points, QgsPointXY in the canvas's CRS
    cancelled  the user gave up, by the right button or Esc
    """
    shown = pyqtSignal(object, object)
    cancelled = pyqtSignal()

    def __init__(self, canvas):
        super().__init__(canvas)
        self.setCursor(Qt.CursorShape.CrossCursor)
        self._start = None
        self._band = QgsRubberBand(canvas, QgsWkbTypes.GeometryType.LineGeometry)
        self._band.setColor(QColor(LINE))
        self._band.setWidth(2)

    def canvasMoveEvent(self, event):  # noqa: N802 - QGIS's name
        """Draw the line from the start to the pointer."""
        if self._start is not None:
            self._band.reset(QgsWkbTypes.GeometryType.LineGeometry)
            self._band.addPoint(self._start, False)
            self._band.addPoint(event.snapPoint(), True)

    def canvasReleaseEvent(self, event):  # noqa: N802 - QGIS's name
        """Take a point with the left button; give up with any other."""
        if event.button() != Qt.MouseButton.LeftButton:
            self._give_up()
            return
        point = event.snapPoint()
        if self._start is None:
            self._start = point
            return
        start = self._start
        self._forget()
        self.shown.emit(start, point)

    def keyPressEvent(self, event):  # noqa: N802 - QGIS's name
        """Give up with Esc."""
        if event.key() == Qt.Key.Key_Escape:
            self._give_up()

    def deactivate(self):
        """Leave nothing drawn when another tool is taken up."""
        self._forget()
        super().deactivate()

    def _give_up(self):
        self._forget()
        self.cancelled.emit()

    def _forget(self):
        self._start = None
        self._band.reset(QgsWkbTypes.GeometryType.LineGeometry)
