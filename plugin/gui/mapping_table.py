"""The table in which a user sees what each column of a file is read as, and changes it."""
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtWidgets import QComboBox, QHeaderView, QLineEdit, QTableWidget, QTableWidgetItem

from ..algorithms.base import tr
from ..core.intake.mapping import ColumnUse, Mapping
from ..core.intake.unit_words import known_units

HEADER, VALUES, TARGET, UNIT, AT, AT_UNIT = range(6)
SHOWN = 3  # values of a column
DEPTH_UNITS = ("", "in", "cm", "mm", "ft", "m")


class MappingTable(QTableWidget):
    """One row a column of the source: its header, some values, what it is read as, its unit."""

    def __init__(self, parent=None):
        super().__init__(0, 6, parent)
        self.setObjectName("spadework_mapping")
        self.setHorizontalHeaderLabels([tr("Column"), tr("Values"), tr("Read as"), tr("Unit"),
                                        tr("At"), tr("Unit of At")])
        self.verticalHeader().setVisible(False)
        self.setAlternatingRowColors(True)
        self.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        self.horizontalHeader().setSectionResizeMode(VALUES, QHeaderView.ResizeMode.Stretch)
        self.setToolTip(tr("What each column is read as. Unit: that of the numbers in it, empty "
                           "for the record's. At: depth or row unit that a column of its own "
                           "stands for."))
        self._mapping = Mapping(())

    def show_preview(self, preview):
        """Fill the table with what was seen of a source."""
        self._mapping = preview.mapping
        uses = {use.header: use for use in preview.mapping.columns}
        self.setRowCount(len(preview.names))
        for row, name in enumerate(preview.names):
            use = uses.get(name, ColumnUse(name, ""))
            values = [line[row] for line in preview.sample if row < len(line) and line[row]]
            self._put_words(row, HEADER, name)
            self._put_words(row, VALUES, ", ".join(values[:SHOWN]))
            self.setCellWidget(row, TARGET, self._targets(row, preview.targets, use.target))
            self.setCellWidget(row, UNIT, self._choice(
                row, "unit", ("", *known_units()), use.unit))
            at = QLineEdit("" if use.at is None else f"{use.at:g}")
            at.setObjectName(f"spadework_mapping_at_{row}")
            self.setCellWidget(row, AT, at)
            self.setCellWidget(row, AT_UNIT, self._choice(row, "at_unit", DEPTH_UNITS,
                                                          use.at_unit))

    def mapping(self):
        """Return the Mapping that the table shows; an `At` that is no number is left out."""
        uses, before = [], {use.header: use for use in self._mapping.columns}
        for row in range(self.rowCount()):
            target = self.cellWidget(row, TARGET).currentData()
            if not target:
                continue
            header = self.item(row, HEADER).data(Qt.ItemDataRole.UserRole)
            try:
                at = float(self.cellWidget(row, AT).text().replace(",", "."))
            except ValueError:
                at = None
            uses.append(ColumnUse(
                header, target, unit=self.cellWidget(row, UNIT).currentText(), at=at,
                at_unit=self.cellWidget(row, AT_UNIT).currentText(),
                decimal=before[header].decimal if header in before else ""))
        return Mapping(tuple(uses), self._mapping.values, self._mapping.cone_area,
                       self._mapping.cone_area_unit)

    def _put_words(self, row, column, words):
        item = QTableWidgetItem(words)
        item.setData(Qt.ItemDataRole.UserRole, words)
        item.setFlags(Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable)
        item.setToolTip(words.replace("<", "&lt;"))
        self.setItem(row, column, item)

    def _targets(self, row, targets, chosen):
        box = QComboBox()
        box.setObjectName(f"spadework_mapping_target_{row}")
        box.addItem(tr("(not read)"), "")
        for name, target in targets.items():
            box.addItem(f"{tr(target.title)} [{name}]", name)
        box.setCurrentIndex(max(box.findData(chosen), 0))
        return box

    def _choice(self, row, name, choices, chosen):
        box = QComboBox()
        box.setObjectName(f"spadework_mapping_{name}_{row}")
        box.addItems(choices)
        box.setCurrentIndex(max(box.findText(chosen), 0))
        return box
