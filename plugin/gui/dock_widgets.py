"""The few kinds of widget that the dock is made of, each with its object name."""
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtWidgets import (
    QGroupBox,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QSizePolicy,
    QTreeWidget,
    QVBoxLayout,
)


def section(name, title):
    """Return a titled box and the column its widgets go into."""
    box = QGroupBox(title)
    box.setObjectName(name)
    return box, QVBoxLayout(box)


def button(name, words, tip, slot):
    """Return a button that calls `slot` without arguments."""
    button = QPushButton(words)
    button.setObjectName(name)
    button.setToolTip(tip)
    button.clicked.connect(lambda _checked=False: slot())
    return button


def row_of(*widgets):
    """Return widgets side by side."""
    row = QHBoxLayout()
    for widget in widgets:
        row.addWidget(widget)
    return row


def words_label(name, words):
    """Return a label of plain words that wrap and can be copied."""
    label = QLabel(words)
    label.setObjectName(name)
    label.setWordWrap(True)
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
    return label


def label_of(words, widget):
    """Return the label of a widget; its underlined letter leads there."""
    label = QLabel(words)
    label.setObjectName(f"{widget.objectName()}_label")
    label.setBuddy(widget)
    return label


def table(name, titles):
    """Return an empty table of two columns that the dock scrolls with the rest."""
    table = QTreeWidget()
    table.setObjectName(name)
    table.setHeaderLabels(titles)
    table.setRootIsDecorated(False)
    table.setUniformRowHeights(True)
    table.setAlternatingRowColors(True)
    table.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    table.header().setStretchLastSection(False)
    table.header().setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
    table.header().setSectionResizeMode(1, QHeaderView.ResizeMode.ResizeToContents)
    return table


def fit_height(table):
    """Give the table the height of its rows; the dock scrolls as a whole."""
    rows = table.topLevelItemCount() * max(table.sizeHintForRow(0), 0)
    table.setFixedHeight(table.header().sizeHint().height() + rows + 2 * table.frameWidth() + 2)
