"""The dock: the job in its order, record, field call, results; it computes nothing itself."""
from pathlib import Path

from qgis.core import Qgis, QgsApplication, QgsSettings
from qgis.gui import QgsDockWidget, QgsDoubleSpinBox, QgsFileWidget
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtWidgets import (
    QCheckBox,
    QComboBox,
    QFileDialog,
    QFrame,
    QHBoxLayout,
    QLineEdit,
    QProgressBar,
    QScrollArea,
    QTreeWidgetItem,
    QVBoxLayout,
    QWidget,
)

from ..algorithms.base import tr
from ..algorithms.provider import lacking
from ..core.problems import InputProblem
from ..record.schema import LAYERS
from ..report.look import PAPERS
from .dock_widgets import button, fit_height, label_of, row_of, section, table, words_label
from .field_call_task import FIELD_CALL, FieldCallTask
from .flags_section import FlagsSection
from .import_dialog import ImportDialog
from .place_by_rows import PlaceByRows
from .record_layers import add_record, layers_of, rest_record
from .record_task import RecordTask
from .result_layers import add_results
from .results_section import ResultsSection
from .show_reading import open_form, show_place

NEW_RECORD = "spadework:newrecord"
PAGES = tuple(PAPERS)  # in the order of the field call's PAGE
FOLDER_SETTING = "spadework/record_folder"


class SpadeworkDock(QgsDockWidget):
    """Opens a field record, runs the field call on it and shows what came out.

    Messages go to the message bar of `iface`; layers go to the open project.
    """

    def __init__(self, iface, parent=None):
        super().__init__(tr("Spadework"), parent)
        self.setObjectName("spadework_dock")
        self.iface = iface
        self.record = None
        self.reading = None
        self.task = None
        self.dialog = None
        self.placing = PlaceByRows(iface)
        self.importing = None
        self._build()
        self._refresh()

    # The record

    def choose_record(self):
        """Ask for a record's file and open it."""
        path, _ = QFileDialog.getOpenFileName(
            self, tr("Open a field record"), QgsSettings().value(FOLDER_SETTING, ""),
            tr("Field record (*.gpkg)"))
        if path:
            self.open_record(path)

    def make_record(self):
        """Show the dialog of the algorithm that makes a record; open what it made."""
        from processing import createAlgorithmDialog

        self.dialog = createAlgorithmDialog(NEW_RECORD)
        if self.dialog is None:
            self._complain(tr("The algorithm {id} is not there. Switch Spadework off and on "
                              "in the plugin manager.").format(id=NEW_RECORD))
            return
        self.dialog.algorithmFinished.connect(self._record_made)
        self.dialog.show()

    def _record_made(self, successful, results):
        if successful and results.get("RECORD"):
            self.open_record(results["RECORD"], on_map=True)

    def open_record(self, path, *, on_map=False):
        """Read a record in the background; then show its name and counts, or say what is wrong.

        A record opened before stays open when this one cannot be.
        """
        def done(record, why):
            self.reading = None
            if record is None:
                self._complain(why)
            else:
                self._take(record)
            self._refresh()
            if record is not None and on_map:
                self.show_record()

        self.reading = RecordTask(path, done)
        QgsApplication.taskManager().addTask(self.reading)
        self._refresh()

    def _take(self, record):
        another = self.record is None or Path(self.record.path) != Path(record.path)
        self.record = record
        if another:
            self.flags.take(record.path)
            file = Path(record.path)
            QgsSettings().setValue(FOLDER_SETTING, str(file.parent))
            self.page.setCurrentIndex(PAGES.index("Letter" if record.units.name == "us" else "A4"))
            self.folder.setFilePath(str(file.parent / f"{file.stem}-field-call"))
            self.units_checked.setChecked(False)  # said of the record before
        self._show_counts()

    def count_again(self):
        """Read the open record again, after readings were added to it."""
        self.open_record(self.record.path)

    def import_readings(self):
        """Show the dialog that brings a file of readings into the open record."""
        if self.importing is not None:
            self.importing.leave()
        self.importing = ImportDialog(self.record.path, self)
        self.importing.imported.connect(self._readings_added)
        self.importing.show()

    def _readings_added(self):
        for layer in layers_of(self.record.path).values():
            layer.reload()
            layer.triggerRepaint()
        self.count_again()

    def show_record(self):
        """Add the record's layers to the project and show the field."""
        try:
            group = add_record(self.record.path, self._title())
        except InputProblem as problem:
            self._complain(str(problem))
            return
        self._zoom_to(group)

    def place_readings(self):
        """Ask for a row on the map, then for the readings to place along it."""
        self.placing.start(self.record.path)

    def show_flag(self, flag, crs):
        """Bring the map to a flagged reading and open its form; the whole field where it has none.

        Its layers are added to the project where they are not there yet.
        """
        try:
            group = add_record(self.record.path, self._title())
            if flag.point is not None:
                show_place(self.iface.mapCanvas(), flag.point, crs)
            else:
                self._zoom_to(group)
            if flag.row is not None:
                open_form(self.iface, layers_of(self.record.path)[flag.layer], flag.row)
        except InputProblem as problem:
            self._complain(str(problem))

    # The field call

    def run(self):
        """Run the field call in the background with what the dock shows."""
        self.task = FieldCallTask(FIELD_CALL, {
            "RECORD": str(self.record.path),
            "OUTPUT_FOLDER": self.folder.filePath(),
            "PAGE": self.page.currentIndex(),
            "CELL": self.cell.value(),
            "REPLACE": self.replace.isChecked(),
            "UNITS_CHECKED": self.units_checked.isChecked(),
        })
        self.task.said.connect(self._say)
        self.task.progress.connect(self._advance)
        self.task.finished.connect(self._finished)
        self.task.refused.connect(self._refused)
        self.task.stopped.connect(self._stopped)
        self._say(tr("Starting."))
        self.progress.setValue(0)
        self._refresh()
        self.task.start()

    def cancel(self):
        """Stop the field call at its next step."""
        if self.task is not None:
            self._say(tr("Stopping."))
            self.cancel_button.setEnabled(False)
            self.task.cancel()

    def leave(self):
        """Let go of what is under way before the plugin is unloaded."""
        self.placing.leave()
        self.flags.leave()
        if self.reading is not None:
            self.reading.then = None
            self.reading = None
        if self.task is not None:
            for signal in (self.task.said, self.task.progress, self.task.finished,
                           self.task.refused, self.task.stopped):
                signal.disconnect()
            self.task.cancel()
            self.task = None
        if self.dialog is not None:
            self.dialog.algorithmFinished.disconnect(self._record_made)
            self.dialog.close()
            self.dialog = None
        if self.importing is not None:
            self.importing.leave()
            self.importing = None

    def _advance(self, percent):
        self.progress.setValue(round(percent))

    def _say(self, line):
        line = line.strip()
        if line:
            self.log.setText(line)
            self.log.setToolTip(line)

    def _finished(self, results):
        self.task = None
        self.progress.setValue(100)
        lacking_here = results.get("LACKING")
        parts = len(lacking_here.splitlines()) if lacking_here else 0
        self._say(tr("Done. What could not be done: {lacking}").format(lacking=lacking_here)
                  if lacking_here else tr("Done."))
        self._refresh()
        words = tr("Field call done, results in {folder}").format(folder=self.folder.filePath())
        if parts:
            words = tr("Field call done; parts that could not be made: {number}. The report says "
                       "which, and why.").format(number=parts)
        self.iface.messageBar().pushMessage(
            tr("Spadework"), words,
            Qgis.MessageLevel.Warning if parts else Qgis.MessageLevel.Success,
            0 if parts else 10)
        self.show_results()

    def _refused(self, why):
        self.task = None
        self.progress.setValue(0)
        self._say(why)
        self._refresh()
        self._complain(why)

    def _stopped(self):
        self.task = None
        self.progress.setValue(0)
        self._say(tr("Stopped; nothing was written."))
        self._refresh()

    # The results

    def show_results(self):
        """Add the layers of the output folder to the project; switch the record's layers off."""
        try:
            group = add_results(self.folder.filePath(), self._title())
        except InputProblem as problem:
            self._complain(str(problem))
            return
        rest_record(self.record.path)
        self._zoom_to(group)

    # What the widgets show

    def _title(self):
        return self.record.field.get("name") or Path(self.record.path).stem

    def _complain(self, words):
        self.iface.messageBar().pushMessage(
            tr("Spadework"), words, Qgis.MessageLevel.Critical, 0)

    def _zoom_to(self, group):
        canvas = self.iface.mapCanvas()
        layers = [node.layer() for node in group.findLayers()
                  if node.layer() is not None and node.layer().isSpatial()]
        if canvas is None or not layers:
            return
        extent = None
        for layer in layers:
            reach = canvas.mapSettings().layerExtentToOutputExtent(layer, layer.extent())
            if not reach.isEmpty() and reach.isFinite():
                extent = reach if extent is None else extent
                extent.combineExtentWith(reach)
        if extent is not None:
            extent.scale(1.1)
            canvas.setExtent(extent)
            canvas.refresh()

    def _show_counts(self):
        field = self.record.field
        words = [str(word) for word in (field.get("crop"), field.get("season")) if word]
        self.field_name.setText(", ".join([self._title(), " ".join(words)]) if words
                                else self._title())
        self.path.setText(str(self.record.path))
        self.path.setToolTip(str(self.record.path))
        self.path.setCursorPosition(0)
        self.counts.clear()
        for spec in LAYERS:
            if spec.name == "field":
                continue
            rows = self.record.counts[spec.name]
            item = QTreeWidgetItem([tr(spec.title), f"{rows:,}"])
            item.setTextAlignment(1, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
            item.setToolTip(0, tr(spec.title))
            item.setDisabled(rows == 0)
            self.counts.addTopLevelItem(item)
        fit_height(self.counts)

    def _refresh(self):
        opened, running = self.record is not None, self.task is not None
        free = not running and self.reading is None and self.flags.task is None
        self.open_button.setEnabled(free)
        self.new_button.setEnabled(free and not lacking())
        for widget in (self.show_record_button, self.count_button):
            widget.setEnabled(opened and free)
        self.place_button.setEnabled(opened and free and not lacking())
        self.flags.set_free(opened and free and not lacking())
        self.counts.setVisible(opened)
        for widget in (self.folder, self.page, self.cell, self.replace, self.units_checked):
            widget.setEnabled(not running)
        self.import_button.setEnabled(opened and free and not lacking())
        self.run_button.setEnabled(
            opened and free and bool(self.folder.filePath()) and not lacking())
        self.cancel_button.setEnabled(running)
        self.results.show_folder(None if running else self.folder.filePath(),
                                 with_record=opened)

    # Putting the widgets together

    def _build(self):
        page = QWidget()
        page.setObjectName("spadework_page")
        column = QVBoxLayout(page)
        if lacking():
            missing = words_label("spadework_lacking", lacking())
            column.addWidget(missing)
        column.addWidget(self._record_section())
        self.flags = FlagsSection()
        self.flags.asked.connect(self.show_flag)
        self.flags.refused.connect(self._complain)
        self.flags.busy.connect(self._refresh)
        column.addWidget(self.flags)
        column.addWidget(self._field_call_section())
        self.results = ResultsSection()
        self.results.on_map.connect(self.show_results)
        self.results.refused.connect(self._complain)
        column.addWidget(self.results)
        column.addStretch(1)
        scroll = QScrollArea()
        scroll.setObjectName("spadework_scroll")
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QFrame.Shape.NoFrame)
        scroll.setWidget(page)
        # wide enough that it never scrolls sideways; in height it may be as small as one likes
        scroll.setMinimumWidth(page.minimumSizeHint().width()
                               + scroll.verticalScrollBar().sizeHint().width())
        self.setWidget(scroll)

    def _record_section(self):
        box, column = section("spadework_record", tr("Field record"))
        self.open_button = button(
            "spadework_open", tr("Open…"), tr("Open the record of a field call (.gpkg)"),
            self.choose_record)
        self.new_button = button(
            "spadework_new", tr("New…"),
            tr("Make an empty record for a field whose boundary is a polygon layer"),
            self.make_record)
        column.addLayout(row_of(self.open_button, self.new_button))
        self.field_name = words_label("spadework_field_name", tr(
            "Open a record or make a new one: a file that keeps every reading of one field call."))
        column.addWidget(self.field_name)
        self.path = QLineEdit()
        self.path.setObjectName("spadework_path")
        self.path.setReadOnly(True)
        self.path.setPlaceholderText(tr("No record is open"))
        self.path.setToolTip(tr("Where the open record lies"))
        column.addWidget(self.path)
        self.counts = table("spadework_counts", [tr("Readings"), tr("Rows")])
        self.counts.setToolTip(tr("How many rows each layer of the record holds"))
        column.addWidget(self.counts)
        self.show_record_button = button(
            "spadework_show_record", tr("Show on map"),
            tr("Add the record's layers to the project, ready to edit"), self.show_record)
        self.count_button = button(
            "spadework_count", tr("Count again"),
            tr("Read the record again after readings were added"), self.count_again)
        column.addLayout(row_of(self.show_record_button, self.count_button))
        self.place_button = button(
            "spadework_place", tr("Place by paces…"),
            tr("Points for readings written down by row and paces: show the row on the map"),
            self.place_readings)
        column.addWidget(self.place_button)
        self.import_button = button(
            "spadework_import_open", tr("Import readings…"),
            tr("Bring readings from a table or a map file into the record"), self.import_readings)
        column.addWidget(self.import_button)
        return box

    def _field_call_section(self):
        box, column = section("spadework_field_call", tr("Field call"))
        self.folder = QgsFileWidget()
        self.folder.setObjectName("spadework_folder")
        self.folder.setStorageMode(QgsFileWidget.StorageMode.GetDirectory)
        self.folder.setDialogTitle(tr("Folder for the field call's results"))
        self.folder.setToolTip(tr("Surfaces, zones, rate files and the report are written here"))
        self.folder.fileChanged.connect(self._refresh)
        column.addWidget(label_of(tr("Output &folder"), self.folder))
        column.addWidget(self.folder)
        self.replace = QCheckBox(tr("Replace earlier results"))
        self.replace.setObjectName("spadework_replace")
        self.replace.setToolTip(tr("Without this, a folder that holds results is left alone"))
        column.addWidget(self.replace)
        self.units_checked = QCheckBox(tr("Units are checked"))
        self.units_checked.setObjectName("spadework_units_checked")
        self.units_checked.setToolTip(tr(
            "For pressures that look like another unit, psi or kPa, and are right all the same"))
        column.addWidget(self.units_checked)
        self.page = QComboBox()
        self.page.setObjectName("spadework_page_size")
        self.page.addItems(PAGES)
        self.page.setToolTip(tr("Paper size of the report"))
        self.cell = QgsDoubleSpinBox()
        self.cell.setObjectName("spadework_cell")
        self.cell.setRange(0.5, 100.0)
        self.cell.setDecimals(1)
        self.cell.setSuffix(tr(" m"))
        self.cell.setClearValue(5.0)
        self.cell.setValue(5.0)
        self.cell.setToolTip(tr("Side of a map cell, metres; half of it takes four times as long"))
        sizes = QHBoxLayout()
        for words, widget in ((tr("&Page"), self.page), (tr("&Cell"), self.cell)):
            sizes.addWidget(label_of(words, widget))
            sizes.addWidget(widget, 1)
        column.addLayout(sizes)
        self.run_button = button(
            "spadework_run", tr("Run field call"),
            tr("From the readings to surfaces, zones, plans, rate files and the report"), self.run)
        self.cancel_button = button(
            "spadework_cancel", tr("Cancel"), tr("Stop; nothing is then written"), self.cancel)
        column.addLayout(row_of(self.run_button, self.cancel_button))
        self.progress = QProgressBar()
        self.progress.setObjectName("spadework_progress")
        self.progress.setRange(0, 100)
        self.progress.setValue(0)
        column.addWidget(self.progress)
        self.log = words_label("spadework_log", "")
        column.addWidget(self.log)
        return box
