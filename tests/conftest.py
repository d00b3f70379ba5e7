"""Fixtures that several folders of tests share; QGIS is imported where it is used, not here."""
import gc

import pytest
from hypothesis import settings

# no test fails for being slow on a busy machine
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


@pytest.fixture(scope="session")
def qgis_app(qgis_app):
    """The application of pytest-qgis; what its objects still hold in cycles goes before it ends.

    A refusal that a test has caught holds the layers of its run. Freed after exitQgis, as pytest
    does at its very end, they crash the process although every test has passed.
    """
    yield qgis_app
    gc.collect()


@pytest.fixture(scope="module")
def provider(qgis_processing):
    """Register Spadework's provider for one module; QGIS deletes a second one of the same id."""
    from qgis.core import QgsApplication

    from plugin.algorithms.provider import SpadeworkProvider

    registry = QgsApplication.processingRegistry()
    added = SpadeworkProvider()
    registry.addProvider(added)
    yield added
    registry.removeProvider(added)


@pytest.fixture
def desktop(qgis_app):
    """Return a stand-in for iface: a real window and message bar, and what plugins ask of it."""
    from qgis.core import Qgis
    from qgis.gui import QgsMapCanvas, QgsMessageBar
    from qgis.PyQt.QtWidgets import QMainWindow, QToolBar

    class Desktop:
        def __init__(self):
            self.window = QMainWindow()
            self.tools = QToolBar(self.window)
            self.bar = QgsMessageBar(self.window)
            self.canvas = QgsMapCanvas(self.window)
            self.removed = []
            self.forms = []

        def mainWindow(self):
            return self.window

        def messageBar(self):
            return self.bar

        def mapCanvas(self):
            return self.canvas

        def openFeatureForm(self, layer, feature, update_only, modal):
            self.forms.append((layer.name(), feature.id()))

        def addToolBarIcon(self, action):
            self.tools.addAction(action)

        def removeToolBarIcon(self, action):
            self.tools.removeAction(action)

        def addDockWidget(self, area, dock):
            self.window.addDockWidget(area, dock)

        def removeDockWidget(self, dock):
            self.window.removeDockWidget(dock)

        def errors(self):
            """Return the texts of the errors in the message bar, the newest last."""
            return [item.text() for item in self.bar.items()
                    if item.level() == Qgis.MessageLevel.Critical]

    made = Desktop()
    yield made
    made.window.deleteLater()


@pytest.fixture
def until(qgis_app):
    """Return until(claim): let the event loop run until claim() is true; fail after 20 s."""
    from qgis.PyQt.QtCore import QElapsedTimer, QEventLoop, QTimer

    def wait(claim):
        clock = QElapsedTimer()
        clock.start()
        while not claim():
            assert clock.elapsed() < 20_000, "what was waited for did not come"
            loop = QEventLoop()
            QTimer.singleShot(10, loop.quit)
            loop.exec()
    return wait


@pytest.fixture
def empty_project(qgis_app):
    """Return the open project, emptied before and after."""
    from qgis.core import QgsProject

    project = QgsProject.instance()
    project.clear()
    yield project
    project.clear()
