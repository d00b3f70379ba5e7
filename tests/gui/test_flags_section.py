"""The list of what is doubtful: made by the algorithm, shown on the map, its form opened."""
import pytest
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtTest import QTest
from qgis.PyQt.QtWidgets import QAbstractButton

from plugin.gui.dock import SpadeworkDock
from plugin.gui.flags_section import FLAG_ROLE, flags_file
from plugin.record.write import append_rows


@pytest.fixture
def dock(desktop, empty_project, record_path, provider, until):
    """The dock with a record open, one of whose stops lies 600 m outside the field."""
    append_rows(record_path, "stand_counts", [
        {"stop": 4, "method": "row_length", "plants": 27, "length": 17.4, "x": 501_000,
         "y": 4_500_100}])
    made = SpadeworkDock(desktop, desktop.mainWindow())
    desktop.addDockWidget(Qt.DockWidgetArea.RightDockWidgetArea, made)
    desktop.mainWindow().show()
    made.open_record(record_path)
    until(lambda: made.record is not None and made.reading is None)
    yield made
    made.leave()


def check(dock, until):
    QTest.mouseClick(dock.findChild(QAbstractButton, "spadework_check"),
                     Qt.MouseButton.LeftButton)
    until(lambda: dock.flags.task is None)
    tree = dock.flags.list
    return {tree.topLevelItem(number).text(0): tree.topLevelItem(number)
            for number in range(tree.topLevelItemCount())}


def test_flags_are_listed_by_kind_and_kept_beside_the_record(dock, record_path, until):
    before = record_path.read_bytes()
    kinds = check(dock, until)
    outside = kinds["Outside the field"]
    assert outside.text(1) == "1" and outside.child(0).text(0) == "Stand counts, row 4"
    assert "600 m outside" in outside.child(0).toolTip(0)
    assert "flags." in dock.flags.said.text()
    assert flags_file(record_path).exists() and record_path.read_bytes() == before


def test_a_chosen_flag_tells_all_and_a_kind_nothing(dock, until):
    outside = check(dock, until)["Outside the field"]
    dock.flags.list.setCurrentItem(outside.child(0))
    assert "Move the point" in dock.flags.details.text() and dock.flags.details.isVisibleTo(dock)
    dock.flags.list.setCurrentItem(outside)
    assert not dock.flags.details.isVisibleTo(dock)


def test_a_double_click_brings_the_map_and_the_form(dock, desktop, until):
    outside = check(dock, until)["Outside the field"]
    dock.flags.list.itemActivated.emit(outside, 0)
    assert desktop.forms == []  # a kind is no reading
    dock.flags.list.itemActivated.emit(outside.child(0), 0)
    assert desktop.forms == [("Stand counts", 4)]
    extent = desktop.canvas.extent()
    flag = outside.child(0).data(0, FLAG_ROLE)
    assert extent.contains(flag.point) and flag.point.x() == 501_000


def test_a_flag_of_a_layer_shows_the_field(dock, desktop, until):
    few = check(dock, until)["Too few for a map"]
    dock.flags.list.itemActivated.emit(few.child(0), 0)
    assert desktop.forms == [] and few.child(0).text(0) == "Stand counts"


def test_a_row_that_is_gone_is_said(dock, desktop, record_path, until):
    from osgeo import gdal
    outside = check(dock, until)["Outside the field"]
    source = gdal.OpenEx(str(record_path), gdal.OF_VECTOR | gdal.OF_UPDATE)
    source.GetLayerByName("stand_counts").DeleteFeature(4)
    source = None
    dock.flags.list.itemActivated.emit(outside.child(0), 0)
    assert "row 4 is not there any more" in desktop.errors()[-1]


def test_what_cannot_be_checked_is_said_and_can_be_tried_again(dock, desktop, record_path, until):
    record_path.write_bytes(b"no database")
    assert check(dock, until) == {}
    assert "is not a GeoPackage" in desktop.errors()[-1]
    assert dock.flags.check_button.isEnabled()


def test_another_record_starts_without_flags(dock, until):
    check(dock, until)
    dock.flags.take("/elsewhere/other.gpkg")
    assert dock.flags.list.topLevelItemCount() == 0
    assert "Not checked" in dock.flags.said.text()
