"""The dock lets the user do what can be done now, and says what went wrong."""
import shutil
from pathlib import Path

import pytest
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtTest import QTest
from qgis.PyQt.QtWidgets import QAbstractButton, QLabel, QWidget

from plugin.gui import dock as dock_module
from plugin.gui import results_section
from plugin.gui.dock import SpadeworkDock


@pytest.fixture
def dock(desktop, empty_project, tmp_path):
    """Return the dock, shown in the stand-in desktop."""
    made = SpadeworkDock(desktop, desktop.mainWindow())
    desktop.addDockWidget(Qt.DockWidgetArea.RightDockWidgetArea, made)
    desktop.mainWindow().show()
    yield made
    made.leave()


@pytest.fixture
def opened(dock, record_path, until):
    """Return the dock with the record open."""
    dock.open_record(record_path)
    until(lambda: dock.record is not None)
    return dock


def click(dock, name):
    QTest.mouseClick(dock.findChild(QAbstractButton, name), Qt.MouseButton.LeftButton)


def enabled(dock, name):
    return dock.findChild(QWidget, name).isEnabled()


def test_without_a_record_only_opening_and_making_one_is_possible(dock):
    assert enabled(dock, "spadework_open")
    assert enabled(dock, "spadework_new")
    for name in ("spadework_show_record", "spadework_count", "spadework_import_open",
                 "spadework_run", "spadework_cancel",
                 "spadework_open_report", "spadework_show_results", "spadework_show_folder"):
        assert not enabled(dock, name), name


def test_an_open_record_shows_its_field_its_place_and_its_counts(opened, record_path):
    assert opened.field_name.text() == "Hollow, corn 2026"
    assert opened.path.text() == str(record_path)
    rows = {opened.counts.topLevelItem(i).text(0): opened.counts.topLevelItem(i).text(1)
            for i in range(opened.counts.topLevelItemCount())}
    assert rows["Stand counts"] == "3"
    assert rows["Yield points"] == "0"
    assert enabled(opened, "spadework_run")
    assert not enabled(opened, "spadework_cancel")


def test_a_record_in_us_units_brings_a_letter_page_and_a_folder_beside_it(opened, record_path):
    assert opened.page.currentText() == "Letter"
    assert Path(opened.folder.filePath()) == record_path.parent / "hollow-field-call"


def test_counting_again_finds_the_readings_added_since(opened, record_path, until):
    from plugin.record.write import append_rows
    append_rows(record_path, "stand_counts", [
        {"stop": 4, "method": "row_length", "plants": 25, "length": 17.4,
         "x": 500_050, "y": 4_500_050}])
    click(opened, "spadework_count")
    until(lambda: opened.reading is None)
    assert opened.counts.topLevelItem(0).text(1) == "4"


def test_readings_are_imported_into_the_open_record_and_counted_again(
        opened, record_path, until):
    from plugin.record.write import append_rows
    click(opened, "spadework_import_open")
    assert opened.importing.isVisible() and opened.importing.record_path == str(record_path)
    append_rows(record_path, "stand_counts", [
        {"stop": 4, "method": "row_length", "x": 500_050, "y": 4_500_050}])
    opened.importing.imported.emit()
    until(lambda: opened.reading is None)
    assert opened.counts.topLevelItem(0).text(1) == "4"
    opened.leave()
    assert opened.importing is None


def test_a_file_that_is_no_record_is_refused_in_the_message_bar_and_the_open_one_stays(
        opened, desktop, tmp_path, until):
    (tmp_path / "notes.gpkg").write_text("no record")
    before = opened.record
    opened.open_record(tmp_path / "notes.gpkg")
    until(lambda: desktop.errors())
    assert "notes.gpkg" in desktop.errors()[-1]
    assert opened.record is before
    assert enabled(opened, "spadework_run")


def test_without_an_output_folder_nothing_can_be_run(opened):
    opened.folder.setFilePath("")
    assert not enabled(opened, "spadework_run")


def test_a_run_gets_what_the_dock_shows(opened, endings, monkeypatch, until, record_path):
    given = []
    monkeypatch.setattr(dock_module, "FIELD_CALL", "endings:answers")
    opened.cell.setValue(7.5)
    opened.replace.setChecked(True)
    opened.units_checked.setChecked(True)
    click(opened, "spadework_run")
    opened.task.finished.connect(lambda results: given.append(results["GIVEN"]))
    until(lambda: given)
    assert given == [{
        "RECORD": str(record_path), "OUTPUT_FOLDER": str(record_path.parent / "hollow-field-call"),
        "PAGE": 1, "CELL": 7.5, "REPLACE": True, "UNITS_CHECKED": True}]
    assert opened.progress.value() == 100


@pytest.mark.parametrize(("lacking", "level", "words"), [
    ("", "Success", "Field call done, results in"),
    ("Replant: no price.\nTillage: no cost.", "Warning", "could not be made: 2.")])
def test_a_run_that_could_not_make_every_part_says_so_and_is_no_plain_success(
        opened, desktop, monkeypatch, lacking, level, words):
    from qgis.core import Qgis
    monkeypatch.setattr(opened, "show_results", lambda: None)
    opened._finished({"LACKING": lacking})
    (shown,) = desktop.messageBar().items()
    assert shown.level() == getattr(Qgis.MessageLevel, level)
    assert words in shown.text()


def test_that_units_are_checked_is_said_of_one_record_alone(opened, record_path, until):
    other = shutil.copyfile(record_path, record_path.with_name("other.gpkg"))
    opened.units_checked.setChecked(True)
    for path, still in ((record_path, True), (other, False)):
        opened.open_record(path)
        until(lambda: opened.reading is None)
        assert opened.units_checked.isChecked() is still


def test_while_it_runs_only_cancel_is_possible_and_cancel_brings_everything_back(
        opened, endings, monkeypatch, until, desktop):
    monkeypatch.setattr(dock_module, "FIELD_CALL", "endings:waits")
    click(opened, "spadework_run")
    until(lambda: opened.log.text() == "waiting")
    assert enabled(opened, "spadework_cancel")
    for name in ("spadework_run", "spadework_open", "spadework_new", "spadework_folder"):
        assert not enabled(opened, name), name
    click(opened, "spadework_cancel")
    until(lambda: opened.task is None)
    assert "nothing was written" in opened.log.text()
    assert desktop.errors() == []
    assert enabled(opened, "spadework_run")
    assert not enabled(opened, "spadework_cancel")


def test_what_the_algorithm_refuses_is_shown_in_its_own_words(
        opened, endings, monkeypatch, until, desktop):
    monkeypatch.setattr(dock_module, "FIELD_CALL", "endings:refuses")
    click(opened, "spadework_run")
    until(lambda: opened.task is None)
    assert desktop.errors() == ["stand_counts, row 14: length is 0 ft."]
    assert opened.log.text() == "stand_counts, row 14: length is 0 ft."
    assert enabled(opened, "spadework_run")


def test_a_refusal_before_the_run_leaves_the_dock_ready(opened, endings, monkeypatch, desktop):
    monkeypatch.setattr(dock_module, "FIELD_CALL", "endings:forbids")
    click(opened, "spadework_run")
    assert desktop.errors() == ["The folder holds results already."]
    assert opened.task is None
    assert enabled(opened, "spadework_run")


def test_leaving_during_a_run_stops_it_and_nothing_reaches_the_dock_any_more(
        opened, endings, monkeypatch, until):
    from plugin.gui import field_call_task

    monkeypatch.setattr(dock_module, "FIELD_CALL", "endings:waits")
    click(opened, "spadework_run")
    until(lambda: opened.log.text() == "waiting")
    opened.leave()
    until(lambda: not field_call_task._under_way)
    assert opened.log.text() == "waiting"


def test_results_that_lie_in_the_folder_are_listed_and_can_be_opened(opened, monkeypatch):
    folder = Path(opened.folder.filePath())
    folder.mkdir()
    for name in ("summary.json", "report.pdf"):
        (folder / name).write_text("{}")
    opened.folder.setFilePath("")
    opened.folder.setFilePath(str(folder))
    shown = [opened.results.list.topLevelItem(i).text(1)
             for i in range(opened.results.list.topLevelItemCount())]
    assert shown == ["report.pdf", "summary.json"]
    asked = []
    monkeypatch.setattr(results_section.QDesktopServices, "openUrl",
                        lambda url: asked.append(url.toLocalFile()) or True)
    click(opened, "spadework_open_report")
    click(opened, "spadework_show_folder")
    assert asked == [str(folder / "report.pdf"), str(folder)]


def test_a_report_that_no_program_opens_is_said(opened, monkeypatch, desktop):
    monkeypatch.setattr(results_section.QDesktopServices, "openUrl", lambda url: False)
    opened.results.open_report()
    assert "report.pdf" in desktop.errors()[-1]


def test_showing_the_record_puts_it_on_the_map(opened, desktop, empty_project):
    click(opened, "spadework_show_record")
    assert len(empty_project.layerTreeRoot().findGroup("Hollow").findLayers()) == 10
    centre = desktop.mapCanvas().extent().center()
    # the middle of the field; a zone's easting may move by the canvas' rounding of a pixel
    assert (centre.x(), centre.y()) == pytest.approx((500_200, 4_500_100), abs=1.0)


def test_every_widget_a_user_meets_has_a_name_and_every_control_a_tooltip(opened):
    own = [opened.open_button, opened.new_button, opened.path, opened.counts,
           opened.show_record_button, opened.count_button, opened.import_button, opened.folder,
           opened.replace, opened.units_checked, opened.page, opened.cell, opened.run_button,
           opened.cancel_button, opened.results.report_button, opened.results.map_button,
           opened.results.folder_button]
    for widget in own:
        assert widget.toolTip(), widget.objectName()
    named = opened.findChildren(QAbstractButton) + opened.findChildren(QLabel)
    inside_qt = (opened.counts, opened.results.list, opened.folder, opened.cell, opened.path)
    for widget in [*own, opened.results.list, opened.progress, opened.log, *named]:
        ours = (opened.widget().isAncestorOf(widget)
                and not any(outer.isAncestorOf(widget) for outer in inside_qt))
        assert widget.objectName().startswith("spadework_") or not ours, widget


def test_the_tab_key_goes_through_the_job_in_its_order(opened):
    order, widget = [], opened.open_button
    for _ in range(100):
        order.append(widget.objectName())
        widget = widget.nextInFocusChain()
        if widget is opened.open_button:
            break
    wanted = ["spadework_open", "spadework_new", "spadework_path", "spadework_show_record",
              "spadework_count", "spadework_import_open", "spadework_folder",
              "spadework_replace",
              "spadework_units_checked", "spadework_page_size", "spadework_cell",
              "spadework_run", "spadework_cancel", "spadework_open_report",
              "spadework_show_results", "spadework_show_folder"]
    assert [name for name in order if name in wanted] == wanted


def test_no_text_is_cut_in_the_narrowest_dock(opened, qgis_app):
    opened.widget().resize(opened.widget().minimumSizeHint())
    qgis_app.processEvents()
    for button in opened.findChildren(QAbstractButton):
        if button.isVisible() and button.text():
            assert button.width() >= button.minimumSizeHint().width(), button.objectName()
    assert opened.widget().horizontalScrollBar().maximum() == 0
