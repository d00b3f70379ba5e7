"""The import dialog shows what a file's columns are read as, and imports with what it shows."""
import pytest
from osgeo import ogr
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtTest import QTest
from qgis.PyQt.QtWidgets import QAbstractButton, QComboBox

from plugin.gui.import_dialog import ImportDialog
from plugin.gui.mapping_table import AT, TARGET, UNIT

PLACE = "-92.997634,40.645900"  # in the field of these tests


@pytest.fixture
def dialog(record_path, provider, tmp_path, monkeypatch):
    """Return the dialog on a record that the test may change, with a profile of its own."""
    from plugin.record.intake import saved_mappings
    monkeypatch.setattr(saved_mappings, "_folder", lambda: tmp_path / "profile")
    made = ImportDialog(record_path)
    made.show()
    yield made
    made.leave()


def choose(dialog, until, path, kind):
    dialog.kind.setCurrentIndex(dialog.kind.findData(kind))
    dialog.source.setFilePath(str(path))
    until(lambda: dialog.looking is None)


def column(dialog, header):
    for row in range(dialog.table.rowCount()):
        if dialog.table.item(row, 0).text() == header:
            return row
    raise AssertionError(header)


def seeds(tmp_path, text=f"Stop,Lon,Lat,Tiefe,psi @ 6 in\n1,{PLACE},50,100\n"):
    path = tmp_path / "seeds.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_columns_show_what_they_are_read_as_and_can_be_corrected(
        dialog, until, tmp_path, record_path):
    choose(dialog, until, seeds(tmp_path), "seed_depths")
    read = {dialog.table.item(row, 0).text(): dialog.table.cellWidget(row, TARGET).currentData()
            for row in range(dialog.table.rowCount())}
    assert read == {"Stop": "stop", "Lon": "x", "Lat": "y", "Tiefe": "", "psi @ 6 in": ""}
    row = column(dialog, "Tiefe")
    assert dialog.table.item(row, 1).text() == "50"
    target, unit = (dialog.table.cellWidget(row, place) for place in (TARGET, UNIT))
    target.setCurrentIndex(target.findData("depth"))
    unit.setCurrentText("mm")
    dialog.save_as.setText("Tiefen in mm")
    counted = []
    dialog.imported.connect(lambda: counted.append(1))
    QTest.mouseClick(dialog.import_button, Qt.MouseButton.LeftButton)
    until(lambda: dialog.task is None)
    assert dialog.words.text().startswith("1 of 1 rows imported, 0 set aside.") and counted == [1]
    data = ogr.Open(str(record_path))
    assert [row["depth"] for row in data.GetLayer("seed_depths")] == [pytest.approx(50 / 25.4)]
    data = None
    assert dialog.saved.findData("Tiefen in mm") > 0
    dialog.saved.setCurrentIndex(dialog.saved.findData("Tiefen in mm"))
    until(lambda: dialog.looking is None)
    assert dialog.table.cellWidget(row, UNIT).currentText() == "mm"


def test_a_profile_shows_the_depth_of_each_column(dialog, until, tmp_path):
    choose(dialog, until, seeds(tmp_path, "Stop,Lon,Lat,psi @ 3 in,psi @ 6 in\n"
                                f"1,{PLACE},90,100\n"), "compaction_readings")
    row = column(dialog, "psi @ 6 in")
    assert dialog.table.cellWidget(row, AT).text() == "6"
    uses = dialog.table.mapping().uses("compaction_profile.resistance")
    assert [use.at for use in uses] == [3, 6]


def test_a_question_is_shown_and_answered(dialog, until, tmp_path, record_path):
    choose(dialog, until, seeds(tmp_path, f"Stop,Lon,Lat,Date,Depth (in)\n1,{PLACE},4/5/2026,2\n"),
           "seed_depths")
    assert "can be read in two ways" in dialog.words.text()
    QTest.mouseClick(dialog.import_button, Qt.MouseButton.LeftButton)
    until(lambda: dialog.task is None)
    assert "DATE_ORDER" in dialog.words.text()
    dialog.date_order.setCurrentIndex(dialog.date_order.findData("day_first"))
    QTest.mouseClick(dialog.import_button, Qt.MouseButton.LeftButton)
    until(lambda: dialog.task is None)
    assert dialog.words.text().startswith("1 of 1 rows imported")
    data = ogr.Open(str(record_path))
    assert [row["taken_at"] for row in data.GetLayer("seed_depths")] == ["2026/05/04 00:00:00"]


def test_a_file_that_cannot_be_read_is_named_and_cannot_be_imported(dialog, until, tmp_path):
    (tmp_path / "bad.xlsx").write_text("no workbook")
    choose(dialog, until, tmp_path / "bad.xlsx", "seed_depths")
    assert "bad.xlsx is damaged or cut off" in dialog.words.text()
    assert not dialog.import_button.isEnabled() and dialog.close_button.isEnabled()


def test_every_control_has_a_name_and_a_tooltip(dialog):
    for widget in dialog.findChildren(QAbstractButton) + dialog.findChildren(QComboBox):
        ours = widget.objectName().startswith("spadework_")
        assert not ours or widget.toolTip(), widget.objectName()
    for widget in (dialog.source, dialog.kind, dialog.sheet, dialog.saved, dialog.table,
                   dialog.crs, dialog.axes, dialog.angles, dialog.photos, dialog.decimal,
                   dialog.date_order, dialog.utc_offset, dialog.save_as, dialog.aside):
        assert widget.toolTip() and widget.objectName().startswith("spadework_")
