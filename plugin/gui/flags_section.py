"""The dock's list of what is doubtful in a record: checked by an algorithm, shown on the map."""
from dataclasses import dataclass
from pathlib import Path

from qgis.core import QgsPointXY, QgsVectorLayer
from qgis.PyQt.QtCore import Qt, pyqtSignal
from qgis.PyQt.QtWidgets import QTreeWidgetItem, QVBoxLayout, QWidget

from ..algorithms.base import tr
from ..core.problems import InputProblem
from ..qt_compat import is_null
from ..record.schema import layer_spec
from .dock_widgets import button, section, table, words_label
from .field_call_task import FieldCallTask

CHECK_RECORD = "spadework:checkrecord"
MOST_SHOWN = 14  # rows at once; more are scrolled to
FLAG_ROLE = Qt.ItemDataRole.UserRole


@dataclass(frozen=True)
class ShownFlag:
    """A flag as the list and the map show it; row and point are None where there is none."""
    title: str
    layer: str
    row: int
    what: str
    why: str
    remedy: str
    point: QgsPointXY

    @property
    def where(self):
        """The layer, as people call it, and the row."""
        title = tr(layer_spec(self.layer).title)
        return title if self.row is None else tr("{layer}, row {row}").format(layer=title,
                                                                             row=self.row)


def flags_file(record_path):
    """Return where the flags of a record are kept: beside it."""
    path = Path(record_path)
    return path.with_name(f"{path.stem}-flags.gpkg")


def read_flags(path):
    """Return the ShownFlags of a file that checkrecord wrote, and the CRS of their points.

    Raises   InputProblem: it cannot be opened
    """
    layer = QgsVectorLayer(f"{path}|layername=flags", "flags", "ogr")
    if not layer.isValid():
        raise InputProblem(tr("{path}: the flags cannot be opened.").format(path=path))
    found = []
    for feature in layer.getFeatures():
        geometry = feature.geometry()
        found.append(ShownFlag(
            feature["title"], feature["layer"],
            None if is_null(feature["row"]) else int(feature["row"]), feature["what"],
            feature["why"], feature["remedy"],
            None if geometry.isNull() or geometry.isEmpty() else geometry.asPoint()))
    return found, layer.crs()


class FlagsSection(QWidget):
    """A button that checks the record, and the list of its flags.

    asked    the user wants to see a flag: the ShownFlag and the CRS of its point
    refused  why the record could not be checked
    busy     a check has begun or ended
    """
    asked = pyqtSignal(object, object)
    refused = pyqtSignal(str)
    busy = pyqtSignal()

    def __init__(self):
        super().__init__()
        self.task = None
        self._record = self._crs = None
        self._build()

    def take(self, record_path):
        """Look at this record from now on; flags of another one are no longer shown."""
        self._record = str(record_path)
        self._show([], tr("Not checked yet."))

    def check(self):
        """Run the checks in the background."""
        self.task = FieldCallTask(CHECK_RECORD, {
            "RECORD": self._record, "FLAGS": str(flags_file(self._record))})
        self.task.finished.connect(self._finished)
        self.task.refused.connect(self._refused)
        self.task.stopped.connect(self._stopped)
        self.said.setText(tr("Checking."))
        self.busy.emit()
        self.task.start()

    def set_free(self, free):
        """Let the user start a check, or not."""
        self.check_button.setEnabled(free and self._record is not None)

    def leave(self):
        """Let go of a check under way, before the plugin is unloaded."""
        if self.task is not None:
            for signal in (self.task.finished, self.task.refused, self.task.stopped):
                signal.disconnect()
            self.task.cancel()
            self.task = None

    def _finished(self, results):
        self.task = None
        try:
            flags, self._crs = read_flags(results["FLAGS"])
        except InputProblem as problem:
            self._refused(str(problem))
            return
        self._show(flags, tr("{count} flags. Double click one to see it on the map and open its "
                             "form.").format(count=len(flags)) if flags
                   else tr("Nothing doubtful was found."))
        self.busy.emit()

    def _refused(self, why):
        self.task = None
        self._show([], tr("Not checked."))
        self.busy.emit()
        self.refused.emit(why)

    def _stopped(self):
        self.task = None
        self._show([], tr("Not checked."))
        self.busy.emit()

    def _show(self, flags, said):
        self.said.setText(said)
        self.list.clear()
        kinds = {}
        for flag in flags:
            if flag.title not in kinds:
                kinds[flag.title] = QTreeWidgetItem(self.list, [tr(flag.title)])
                kinds[flag.title].setToolTip(0, tr(flag.title))
            item = QTreeWidgetItem(kinds[flag.title], [flag.where])
            item.setFirstColumnSpanned(True)
            item.setData(0, FLAG_ROLE, flag)
            item.setToolTip(0, f"{flag.what}\n{flag.why}\n{flag.remedy}")
        for kind in kinds.values():
            kind.setText(1, f"{kind.childCount():,}")
        self.list.expandAll()
        self.list.setVisible(bool(flags))
        self.details.setVisible(False)
        rows = min(len(kinds) + len(flags), MOST_SHOWN) * max(self.list.sizeHintForRow(0), 0)
        self.list.setFixedHeight(self.list.header().sizeHint().height() + rows
                                 + 2 * self.list.frameWidth() + 2)

    def _tell(self):
        chosen = [item.data(0, FLAG_ROLE) for item in self.list.selectedItems()]
        flag = chosen[0] if chosen else None  # None too where a kind is chosen
        self.details.setVisible(flag is not None)
        if flag is not None:
            self.details.setText(f"{flag.what} {flag.why} {flag.remedy}")

    def _ask(self, item, _column=0):
        flag = item.data(0, FLAG_ROLE)
        if flag is not None:
            self.asked.emit(flag, self._crs)

    def _build(self):
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        box, column = section("spadework_flags_section", tr("What is doubtful"))
        self.check_button = button(
            "spadework_check", tr("Check readings"),
            tr("Look for what is doubtful in the record; nothing in it is changed"), self.check)
        column.addWidget(self.check_button)
        self.said = words_label("spadework_flags_said", tr("Not checked yet."))
        column.addWidget(self.said)
        self.list = table("spadework_flags", [tr("Flag"), tr("Count")])
        self.list.setRootIsDecorated(True)
        self.list.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAsNeeded)
        self.list.itemActivated.connect(self._ask)
        self.list.itemSelectionChanged.connect(self._tell)
        self.list.setVisible(False)
        column.addWidget(self.list)
        self.details = words_label("spadework_flag_details", "")
        self.details.setVisible(False)
        column.addWidget(self.details)
        outer.addWidget(box)
