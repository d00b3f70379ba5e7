"""Two clicks show a row; the dialog gets them, and nothing is left over."""
import pytest
from qgis.gui import QgsMapToolPan
from qgis.PyQt.QtCore import QPoint, Qt
from qgis.PyQt.QtTest import QTest

from plugin.gui import place_by_rows
from plugin.gui.place_by_rows import PlaceByRows


@pytest.fixture
def canvas(desktop):
    """A canvas of 400 by 400 m in a UTM zone, with a tool of its own."""
    from qgis.core import QgsCoordinateReferenceSystem, QgsRectangle
    canvas = desktop.canvas
    canvas.setDestinationCrs(QgsCoordinateReferenceSystem("EPSG:32615"))
    canvas.resize(400, 400)
    desktop.mainWindow().show()
    canvas.setExtent(QgsRectangle(500_000, 4_400_000, 500_400, 4_400_400))
    pan = QgsMapToolPan(canvas)
    canvas.setMapTool(pan)
    yield canvas
    canvas.unsetMapTool(canvas.mapTool())
    pan.deleteLater()


@pytest.fixture
def asked(monkeypatch):
    """What the dialog was asked to show, instead of a dialog."""
    import processing

    class Dialog:
        shown = closed = False

        def show(self):
            self.shown = True

        def close(self):
            self.closed = True

    calls = []

    def create(algorithm, parameters):
        calls.append((algorithm, parameters, Dialog()))
        return calls[-1][2]
    monkeypatch.setattr(processing, "createAlgorithmDialog", create)
    return calls


def click(canvas, x, y, button=Qt.MouseButton.LeftButton):
    QTest.mouseClick(canvas.viewport(), button, Qt.KeyboardModifier.NoModifier, QPoint(x, y))


def test_two_clicks_open_the_dialog_with_the_row(desktop, canvas, asked, qgis_processing):
    before = canvas.mapTool()
    placing = PlaceByRows(desktop)
    placing.start("/some/call.gpkg")
    assert canvas.mapTool() is placing.tool
    click(canvas, 100, 300)
    assert not asked
    click(canvas, 100, 50)
    algorithm, parameters, dialog = asked[0]
    assert algorithm == place_by_rows.PLACE_READINGS and dialog.shown
    assert parameters["RECORD"] == "/some/call.gpkg"
    start, second = (parameters[name] for name in ("START", "SECOND"))
    wanted = [canvas.getCoordinateTransform().toMapCoordinates(100, y) for y in (300, 50)]
    for text, point in zip((start, second), wanted):
        east, north = map(float, text.removesuffix(" [EPSG:32615]").split(","))
        assert (east, north) == pytest.approx((point.x(), point.y()))
    assert canvas.mapTool() is before
    placing.leave()
    assert dialog.closed


def test_the_right_button_and_esc_give_up(desktop, canvas, asked):
    before = canvas.mapTool()
    placing = PlaceByRows(desktop)
    placing.start("/some/call.gpkg")
    click(canvas, 100, 300)
    click(canvas, 100, 300, Qt.MouseButton.RightButton)
    assert canvas.mapTool() is before and not asked
    placing.start("/some/call.gpkg")
    click(canvas, 100, 300)
    QTest.keyClick(canvas, Qt.Key.Key_Escape)
    assert canvas.mapTool() is before
    placing.start("/some/call.gpkg")
    click(canvas, 100, 50)  # the first of a new row, not the second of the one given up
    assert not asked
    placing.leave()


def test_leaving_puts_the_tool_down_and_leaving_unused_does_nothing(desktop, canvas):
    before = canvas.mapTool()
    placing = PlaceByRows(desktop)
    placing.leave()
    placing.start("/some/call.gpkg")
    placing.leave()
    assert canvas.mapTool() is before and placing.tool is None
