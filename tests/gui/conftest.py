"""A small record, and algorithms that end in each way a run can end."""
import shutil

import pytest


@pytest.fixture(scope="session")
def made_record(qgis_app, tmp_path_factory):
    """Make a record of one field with three stops, once; `record_path` copies it."""
    from qgis.core import QgsGeometry, QgsRectangle

    from plugin.record.create import create_record
    from plugin.record.write import append_rows

    path = tmp_path_factory.mktemp("made") / "hollow.gpkg"
    field = QgsGeometry.fromRect(QgsRectangle(500_000, 4_500_000, 500_400, 4_500_200))
    create_record(path, bytes(field.asWkb()), "EPSG:32615", units="us",
                  field={"name": "Hollow", "crop": "corn", "season": 2026})
    append_rows(path, "stand_counts", [
        {"stop": stop, "method": "row_length", "plants": 27, "length": 17.4,
         "x": 500_100 + 50 * stop, "y": 4_500_100} for stop in (1, 2, 3)])
    return path


@pytest.fixture
def record_path(made_record, tmp_path):
    """Return the path of a record that the test may change."""
    return shutil.copyfile(made_record, tmp_path / "hollow.gpkg")


@pytest.fixture(scope="module")
def endings(qgis_processing):
    """Register a provider `endings` whose algorithms answer, refuse, wait, forbid or cannot."""
    from qgis.core import (
        QgsApplication,
        QgsProcessingAlgorithm,
        QgsProcessingException,
        QgsProcessingProvider,
    )
    from qgis.PyQt.QtCore import QThread

    class Ending(QgsProcessingAlgorithm):
        def createInstance(self):
            return type(self)()

        def name(self):
            return type(self).__name__.lower()

        displayName = name

        def initAlgorithm(self, configuration=None):
            pass

    class Answers(Ending):
        def processAlgorithm(self, parameters, context, feedback):
            feedback.setProgressText("Stand at the stops")
            feedback.pushWarning("2 stops left out")
            feedback.pushInfo("{'ROWS': 24}")
            feedback.setProgress(40)
            in_main = QThread.currentThread() == QgsApplication.instance().thread()
            return {"GIVEN": dict(parameters), "IN_MAIN": in_main}

    class Refuses(Ending):
        def processAlgorithm(self, parameters, context, feedback):
            raise QgsProcessingException("stand_counts, row 14: length is 0 ft.")

    class Breaks(Ending):
        def processAlgorithm(self, parameters, context, feedback):
            return {"SHARE": 1 / 0}

    class Waits(Ending):
        def processAlgorithm(self, parameters, context, feedback):
            feedback.setProgressText("waiting")
            while not feedback.isCanceled():
                QThread.msleep(5)
            return {}

    class Forbids(Ending):
        def checkParameterValues(self, parameters, context):
            return False, "The folder holds results already."

        def processAlgorithm(self, parameters, context, feedback):
            return {}

    class Cannot(Ending):
        def canExecute(self):
            return False, "A part is missing."

        def processAlgorithm(self, parameters, context, feedback):
            return {}

    class Unprepared(Ending):
        def prepareAlgorithm(self, parameters, context, feedback):
            raise QgsProcessingException("The project has no field.")

        def processAlgorithm(self, parameters, context, feedback):
            return {}

    class Endings(QgsProcessingProvider):
        def id(self):
            return "endings"

        def name(self):
            return "Endings"

        def loadAlgorithms(self):
            for kind in (Answers, Refuses, Breaks, Waits, Forbids, Cannot, Unprepared):
                self.addAlgorithm(kind())

    registry = QgsApplication.processingRegistry()
    added = Endings()
    registry.addProvider(added)
    yield added
    registry.removeProvider(added)
