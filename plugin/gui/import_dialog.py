"""The dialog that brings a file of readings into the open record: look, correct, import."""
from pathlib import Path

from qgis.core import QgsApplication, QgsCoordinateReferenceSystem
from qgis.gui import QgsFileWidget, QgsProjectionSelectionWidget
from qgis.PyQt.QtCore import pyqtSignal
from qgis.PyQt.QtWidgets import (
    QComboBox,
    QDialog,
    QFormLayout,
    QHBoxLayout,
    QLineEdit,
    QProgressBar,
    QVBoxLayout,
)

from ..algorithms.base import tr
from ..core.intake.mapping import mapping_to_json
from ..core.problems import InputProblem
from ..record.intake.importing import Wish
from ..record.intake.kinds import KINDS
from ..record.intake.saved_mappings import mapping_given, saved_mappings
from ..record.intake.sources import EXTENSIONS
from .dock_widgets import button, label_of, words_label
from .field_call_task import FieldCallTask
from .mapping_table import MappingTable
from .preview_task import PreviewTask

IMPORT = "spadework:importreadings"
AXES = (("ask", "ask"), ("as_written", "as written"), ("swapped", "swapped"))
ANGLES = (("ask", "ask"), ("decimal", "decimal degrees"), ("parts", "degrees, minutes, seconds"))
DECIMALS = (("ask", "ask"), ("point", "point"), ("comma", "comma"))
DATES = (("ask", "ask"), ("day_first", "day first"), ("month_first", "month first"),
         ("year_first", "year first"))


class ImportDialog(QDialog):
    """Looks at a file, shows what its columns are read as, and runs the import.

    imported  readings were added to the record
    """
    imported = pyqtSignal()

    def __init__(self, record_path, parent=None):
        super().__init__(parent)
        self.setObjectName("spadework_import")
        self.setWindowTitle(tr("Import readings"))
        self.resize(900, 640)
        self.record_path = str(record_path)
        self.looking = None
        self.task = None
        self._build()
        self._refresh()

    # Looking at the file

    def look(self):
        """Look at the file as it is chosen; show the columns and what they seem to be."""
        if not self.source.filePath() or self.task is not None:
            return
        if self.looking is not None:
            self.looking.then = None
        self.looking = PreviewTask(
            self.record_path, self.source.filePath(),
            Wish(self.kind.currentData(), table=self.sheet.currentText(),
                 mapping=self._saved(), crs=self._crs()), self._seen)
        QgsApplication.taskManager().addTask(self.looking)
        self._say(tr("Looking at the file."))
        self._refresh()

    def _look_anew(self):
        self.sheet.clear()
        self.look()

    def _seen(self, preview, why):
        self.looking = None
        if preview is None:
            self.table.setRowCount(0)
            self._say(why)
        else:
            self.sheet.blockSignals(True)
            self.sheet.clear()
            self.sheet.addItems(preview.tables)
            self.sheet.setCurrentText(preview.table)
            self.sheet.blockSignals(False)
            self.table.show_preview(preview)
            self._say("\n".join(preview.questions) or tr(
                "Check what each column is read as, and its unit; then import."))
        self._refresh()

    def _saved(self):
        name = self.saved.currentData()
        if not name:
            return None
        try:
            return mapping_given(name)
        except InputProblem as problem:
            self._say(str(problem))
            return None

    # The import

    def run(self):
        """Import the file with what the dialog shows."""
        given = {
            "RECORD": self.record_path, "SOURCE": self.source.filePath(),
            "KIND": self.kind.currentData(), "SHEET": self.sheet.currentText(),
            "MAPPING": mapping_to_json(self.table.mapping()), "SOURCE_CRS": self.crs.crs(),
            "PHOTOS": self.photos.filePath(), "AXES": self.axes.currentData(),
            "ANGLES": self.angles.currentData(), "DECIMAL": self.decimal.currentData(),
            "DATE_ORDER": self.date_order.currentData(), "SAVE_AS": self.save_as.text().strip()}
        if self.utc_offset.text().strip():
            given["UTC_OFFSET"] = self.utc_offset.text().strip().replace(",", ".")
        if self.aside.filePath():
            given["ASIDE"] = self.aside.filePath()
        self.task = FieldCallTask(IMPORT, given)
        self.task.progress.connect(lambda percent: self.progress.setValue(round(percent)))
        self.task.finished.connect(self._finished)
        self.task.refused.connect(self._refused)
        self.task.stopped.connect(lambda: self._refused(tr("Stopped; nothing was added.")))
        self._say(tr("Importing."))
        self._refresh()
        self.task.start()

    def cancel(self):
        """Stop the import; nothing is then added."""
        if self.task is not None:
            self.task.cancel()

    def leave(self):
        """Let go of what is under way, and close."""
        if self.looking is not None:
            self.looking.then = None
            self.looking = None
        if self.task is not None:
            for signal in (self.task.progress, self.task.finished, self.task.refused,
                           self.task.stopped):
                signal.disconnect()
            self.task.cancel()
            self.task = None
        self.close()

    def _finished(self, results):
        self.task = None
        words = tr("{imported} of {rows} rows imported, {aside} set aside.").format(
            imported=results["IMPORTED"], rows=results["ROWS"], aside=results["SET_ASIDE"])
        self._say("\n".join(filter(None, (words, results["REASONS"]))))
        self.progress.setValue(100)
        self._list_saved()
        self._refresh()
        if results["IMPORTED"]:
            self.imported.emit()

    def _refused(self, why):
        self.task = None
        self.progress.setValue(0)
        self._say(why)
        self._refresh()

    # What the widgets show

    def _crs(self):
        crs = self.crs.crs()
        return (crs.authid() or crs.toWkt()) if crs.isValid() else ""

    def _say(self, words):
        self.words.setText(words)

    def _list_saved(self):
        chosen = self.saved.currentData()
        self.saved.blockSignals(True)
        self.saved.clear()
        self.saved.addItem(tr("from the headers"), "")
        for name in saved_mappings():
            self.saved.addItem(name, name)
        self.saved.setCurrentIndex(max(self.saved.findData(chosen), 0))
        self.saved.blockSignals(False)

    def _refresh(self):
        running = self.task is not None
        for widget in (self.source, self.kind, self.sheet, self.saved, self.table, self.crs,
                       self.photos, self.aside, self.axes, self.angles, self.decimal,
                       self.date_order, self.utc_offset, self.save_as):
            widget.setEnabled(not running)
        self.import_button.setEnabled(not running and self.looking is None
                                      and self.table.rowCount() > 0)
        self.cancel_button.setEnabled(running)
        self.close_button.setEnabled(not running)

    # Putting the widgets together

    def _build(self):
        column = QVBoxLayout(self)
        column.addLayout(self._top())
        self.table = MappingTable(self)
        column.addWidget(self.table, 1)
        column.addLayout(self._answers())
        self.words = words_label("spadework_import_words",
                                 tr("Choose the file and what it holds."))
        column.addWidget(self.words)
        self.progress = QProgressBar()
        self.progress.setObjectName("spadework_import_progress")
        self.progress.setValue(0)
        column.addWidget(self.progress)
        self.import_button = button("spadework_import_run", tr("Import"), tr(
            "Add the readings to the record, all of them or none"), self.run)
        self.cancel_button = button("spadework_import_cancel", tr("Cancel"), tr(
            "Stop; nothing is then added"), self.cancel)
        self.close_button = button("spadework_import_close", tr("Close"), tr(
            "Close this window"), self.leave)
        buttons = QHBoxLayout()
        buttons.addStretch(1)
        for one in (self.import_button, self.cancel_button, self.close_button):
            buttons.addWidget(one)
        column.addLayout(buttons)

    def _top(self):
        form = QFormLayout()
        patterns = " ".join(f"*{ending}" for ending in EXTENSIONS)
        self.source = self._file("source", tr("The file that the readings are in; it is only "
                                              "read"))
        self.source.setFilter(tr("Readings ({patterns})").format(patterns=patterns))
        self.source.setDefaultRoot(str(Path(self.record_path).parent))
        self.kind = self._combo("kind", [(kind.name, kind.title) for kind in KINDS],
                                tr("Which readings the file holds"))
        self.sheet = self._combo("sheet", [], tr("Sheet or layer of a file that has several"))
        self.saved = self._combo("saved", [], tr("What the columns are read as: proposed from "
                                                 "the headers, or a mapping saved before"))
        self._list_saved()
        for words, widget in ((tr("&File"), self.source), (tr("&Kind of readings"), self.kind),
                              (tr("&Sheet or layer"), self.sheet), (tr("&Mapping"), self.saved)):
            form.addRow(label_of(words, widget), widget)
        self.source.fileChanged.connect(lambda _path: self._look_anew())
        for box in (self.kind, self.sheet, self.saved):
            box.currentIndexChanged.connect(lambda _index: self.look())
        return form

    def _answers(self):
        left, right, both = QFormLayout(), QFormLayout(), QHBoxLayout()
        self.crs = QgsProjectionSelectionWidget()
        self.crs.setObjectName("spadework_import_crs")
        self.crs.setOptionVisible(QgsProjectionSelectionWidget.CrsOption.CrsNotSet, True)
        self.crs.setCrs(QgsCoordinateReferenceSystem())
        self.crs.setToolTip(tr("Where not set: that of the map file, or WGS 84 degrees"))
        self.axes = self._combo("axes", AXES, tr("Whether longitude and latitude are swapped"))
        self.angles = self._combo("angles", ANGLES, tr("How positions are written"))
        self.photos = self._file("photos", tr("Photos, found by name or geotag"))
        self.photos.setStorageMode(QgsFileWidget.StorageMode.GetDirectory)
        self.decimal = self._combo("decimal", DECIMALS, tr("Where 1,234 could be a thousand"))
        self.date_order = self._combo("date_order", DATES, tr("Where 4/5/2026 could be either"))
        self.utc_offset = self._line("utc_offset", tr(
            "Hours from universal time to the field's clock, such as -5"))
        self.save_as = self._line("save_as", tr("Name to keep this mapping by, for other files"))
        self.aside = self._file("aside", tr("Table of the rows set aside (.gpkg), on wish"))
        self.aside.setStorageMode(QgsFileWidget.StorageMode.SaveFile)
        self.aside.setFilter("GeoPackage (*.gpkg)")
        for form, rows in ((left, (
                (tr("C&RS of positions"), self.crs), (tr("A&xes"), self.axes),
                (tr("An&gles"), self.angles), (tr("&Photos"), self.photos))), (right, (
                    (tr("&Decimal mark"), self.decimal), (tr("&Order of dates"), self.date_order),
                    (tr("&UTC offset (h)"), self.utc_offset), (tr("Sa&ve mapping as"),
                                                              self.save_as),
                    (tr("Rows set &aside"), self.aside)))):
            for words, widget in rows:
                form.addRow(label_of(words, widget), widget)
            both.addLayout(form, 1)
        return both

    def _combo(self, name, choices, tip):
        box = QComboBox()
        box.setObjectName(f"spadework_import_{name}")
        for value, title in choices:
            box.addItem(tr(title), value)
        box.setToolTip(tip)
        return box

    def _file(self, name, tip):
        widget = QgsFileWidget()
        widget.setObjectName(f"spadework_import_{name}")
        widget.setToolTip(tip)
        return widget

    def _line(self, name, tip):
        line = QLineEdit()
        line.setObjectName(f"spadework_import_{name}")
        line.setToolTip(tip)
        return line
