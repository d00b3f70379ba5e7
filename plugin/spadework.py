"""The plugin: what QGIS calls when Spadework is switched on and off."""
from qgis.core import Qgis, QgsApplication
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtGui import QIcon
from qgis.PyQt.QtWidgets import QAction

from .algorithms.base import tr
from .algorithms.provider import ICON, SpadeworkProvider, lacking


class Spadework:
    """Adds the Processing provider and, where there is a desktop, one action and one dock.

    `iface` is None on the command line; then only the provider is there.
    """

    def __init__(self, iface):
        self.iface = iface
        self.provider = None
        self.action = None
        self.dock = None

    def initProcessing(self):  # noqa: N802 - QGIS's name
        """Add the provider; QGIS calls this alone on the command line."""
        if self.provider is None:
            self.provider = SpadeworkProvider()
            QgsApplication.processingRegistry().addProvider(self.provider)

    def initGui(self):  # noqa: N802 - QGIS's name
        """Add the provider, the toolbar action and the dock."""
        self.initProcessing()
        if self.iface is None:
            return
        from .gui.dock import SpadeworkDock

        self.action = QAction(QIcon(str(ICON)), tr("Spadework"), self.iface.mainWindow())
        self.action.setObjectName("spadework_action")
        self.action.setCheckable(True)
        self.action.setToolTip(tr("Spadework: from a field record to zones, plans and a report"))
        self.iface.addToolBarIcon(self.action)
        self.dock = SpadeworkDock(self.iface, self.iface.mainWindow())
        self.dock.setToggleVisibilityAction(self.action)
        self.iface.addDockWidget(Qt.DockWidgetArea.RightDockWidgetArea, self.dock)
        if lacking():
            self.iface.messageBar().pushMessage(
                tr("Spadework"), lacking(), Qgis.MessageLevel.Warning, 0)

    def unload(self):
        """Take away the dock, the action and the provider, in this order."""
        if self.dock is not None:
            self.dock.leave()
            self.iface.removeDockWidget(self.dock)
            self.dock.deleteLater()
            self.dock = None
        if self.action is not None:
            self.iface.removeToolBarIcon(self.action)
            self.action.deleteLater()
            self.action = None
        if self.provider is not None:
            QgsApplication.processingRegistry().removeProvider(self.provider)
            self.provider = None
