"""Placing readings without a receiver: two clicks on the map, the rest in a dialog."""
from qgis.core import Qgis

from ..algorithms.base import tr
from .row_tool import RowTool

PLACE_READINGS = "spadework:placereadings"


class PlaceByRows:
    """Asks for the row on the map, then shows the dialog of the algorithm that places readings."""

    def __init__(self, iface):
        self.iface = iface
        self.tool = None
        self.dialog = None
        self._before = None
        self._record = None

    def start(self, record_path):
        """Take up the map tool and say what to click."""
        canvas = self.iface.mapCanvas()
        if self.tool is None:
            self.tool = RowTool(canvas)
            self.tool.shown.connect(self._ask)
            self.tool.cancelled.connect(self._put_back)
        self._record = str(record_path)
        if canvas.mapTool() is not self.tool:
            self._before = canvas.mapTool()
        canvas.setMapTool(self.tool)
        self.iface.messageBar().pushMessage(
            tr("Spadework"), tr("Click the start of the row, where the distance is 0, then a "
                                "second point on the same row. Right button or Esc: give up."),
            Qgis.MessageLevel.Info, 10)

    def leave(self):
        """Put the tool down and close the dialog, before the plugin is unloaded."""
        if self.tool is not None:
            self._put_back()
            self.tool.shown.disconnect(self._ask)
            self.tool.cancelled.disconnect(self._put_back)
            self.tool = None
        if self.dialog is not None:
            self.dialog.close()
            self.dialog = None

    def _ask(self, start, second):
        from processing import createAlgorithmDialog

        self._put_back()
        crs = self.iface.mapCanvas().mapSettings().destinationCrs().authid()
        start, second = (f"{point.x():.8f},{point.y():.8f} [{crs}]" for point in (start, second))
        self.dialog = createAlgorithmDialog(PLACE_READINGS, {
            "RECORD": self._record, "START": start, "SECOND": second})
        if self.dialog is None:
            self.iface.messageBar().pushMessage(
                tr("Spadework"), tr("The algorithm {id} is not there. Switch Spadework off and on "
                                    "in the plugin manager.").format(id=PLACE_READINGS),
                Qgis.MessageLevel.Critical, 0)
            return
        self.dialog.show()

    def _put_back(self):
        canvas = self.iface.mapCanvas()
        if canvas.mapTool() is not self.tool:
            return
        if self._before is not None:
            canvas.setMapTool(self._before)
        else:
            canvas.unsetMapTool(self.tool)
