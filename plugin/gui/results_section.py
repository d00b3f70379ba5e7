"""The dock's list of what a field call made, and the ways to open it."""
from pathlib import Path

from qgis.PyQt.QtCore import Qt, QUrl, pyqtSignal
from qgis.PyQt.QtGui import QDesktopServices
from qgis.PyQt.QtWidgets import QTreeWidgetItem, QVBoxLayout, QWidget

from ..algorithms.base import tr
from .dock_widgets import button, fit_height, row_of, section, table, words_label
from .results import outputs_in

PATH_ROLE = Qt.ItemDataRole.UserRole


class ResultsSection(QWidget):
    """The results in the output folder, and buttons that open them.

    on_map   the user wants the layers of the results in the project
    refused  why something could not be opened
    """
    on_map = pyqtSignal()
    refused = pyqtSignal(str)

    def __init__(self):
        super().__init__()
        self._folder = None
        self._build()

    def show_folder(self, folder, *, with_record):
        """List what is in an output folder, None for nothing; layers are shown with a record."""
        self._folder = folder
        found = outputs_in(folder) if folder else []
        self.list.clear()
        for output in found:
            item = QTreeWidgetItem([output.title, output.path.name])
            item.setData(0, PATH_ROLE, str(output.path))
            for column in (0, 1):
                item.setToolTip(column, str(output.path))
            self.list.addTopLevelItem(item)
        self.list.setVisible(bool(found))
        self.none.setVisible(not found)
        fit_height(self.list)
        self.report_button.setEnabled("report.pdf" in {output.path.name for output in found})
        self.map_button.setEnabled(bool(found) and with_record)
        self.folder_button.setEnabled(bool(found))

    def open_report(self):
        """Open the report with the program that shows PDF files."""
        self._open(Path(self._folder) / "report.pdf")

    def open_folder(self):
        """Open the output folder in the file manager."""
        self._open(Path(self._folder))

    def _open_output(self, item, _column=0):
        self._open(Path(item.data(0, PATH_ROLE)))

    def _open(self, path):
        if not QDesktopServices.openUrl(QUrl.fromLocalFile(str(path))):
            self.refused.emit(tr("No program opened {path}.").format(path=path))

    def _build(self):
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        box, column = section("spadework_results_section", tr("Results"))
        self.none = words_label("spadework_no_results", tr("No results in the output folder yet."))
        column.addWidget(self.none)
        self.list = table("spadework_results", [tr("Result"), tr("File")])
        self.list.itemActivated.connect(self._open_output)
        column.addWidget(self.list)
        self.report_button = button(
            "spadework_open_report", tr("Open report"), tr("Open the grower's report (PDF)"),
            self.open_report)
        self.map_button = button(
            "spadework_show_results", tr("Show on map"),
            tr("Add the surfaces, zones and plans to the project"), self.on_map.emit)
        column.addLayout(row_of(self.report_button, self.map_button))
        self.folder_button = button(
            "spadework_show_folder", tr("Show folder"), tr("Open the output folder"),
            self.open_folder)
        column.addWidget(self.folder_button)
        whole.addWidget(box)
