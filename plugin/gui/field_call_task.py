"""A Processing algorithm run in the background, with its words brought to the desktop's thread."""
from qgis.core import (
    QgsApplication,
    QgsProcessingAlgRunnerTask,
    QgsProcessingContext,
    QgsProcessingFeedback,
    QgsProject,
)
from qgis.PyQt.QtCore import QObject, QTimer, pyqtSignal

from ..algorithms.base import tr

FIELD_CALL = "spadework:fieldcall"
DEFECT = "Traceback (most recent call last)"  # how Processing reports an error nobody foresaw

# The task works with the context and feedback of its run, so they outlive the dock if need be.
_under_way = set()


class _Listener(QgsProcessingFeedback):
    """Hands on each step, warning and error, and keeps the last error.

    Plain notes, which Processing mixes with its own accounts of every step, go to its log alone.
    """
    said = pyqtSignal(str)

    def __init__(self):
        super().__init__()
        self.error = ""

    def setProgressText(self, text):
        super().setProgressText(text)
        self.said.emit(text)

    def pushWarning(self, warning):
        super().pushWarning(warning)
        self.said.emit(warning)

    def reportError(self, error, fatalError=False):
        super().reportError(error, fatalError)
        self.error = error
        self.said.emit(_in_short(error))


class FieldCallTask(QObject):
    """One run of an algorithm; exactly one of `finished`, `refused`, `stopped` ends it.

    progress  0 to 100
    said      the step it is at, a warning or an error
    finished  the algorithm's results
    refused   why it could not be done, in the algorithm's own words
    stopped   the user cancelled
    """
    progress = pyqtSignal(float)
    said = pyqtSignal(str)
    finished = pyqtSignal(dict)
    refused = pyqtSignal(str)
    stopped = pyqtSignal()

    def __init__(self, algorithm_id, parameters):
        super().__init__()
        self._parameters = parameters
        self._algorithm_id = algorithm_id
        self._task = None
        self._wish_to_stop = False

    def start(self):
        """Check the parameters and hand the run to the task manager.

        What the algorithm refuses before it runs ends in `refused` at once, before this returns.
        """
        algorithm = QgsApplication.processingRegistry().createAlgorithmById(self._algorithm_id)
        if algorithm is None:
            self.refused.emit(tr("The algorithm {id} is not there. Switch Spadework off and on "
                                 "in the plugin manager.").format(id=self._algorithm_id))
            return
        able, why = algorithm.canExecute()
        if not able:
            self.refused.emit(why)
            return
        self._context = QgsProcessingContext()
        self._context.setProject(QgsProject.instance())
        self._listener = _Listener()
        self._context.setFeedback(self._listener)
        sound, why = algorithm.checkParameterValues(self._parameters, self._context)
        if not sound:
            self.refused.emit(why)
            return
        self._algorithm = algorithm
        self._listener.said.connect(self.said)
        self._listener.progressChanged.connect(self.progress)
        _under_way.add(self)
        self._task = QgsProcessingAlgRunnerTask(
            algorithm, self._parameters, self._context, self._listener)
        if self._task.isCanceled():  # preparing failed; the task manager would never start it
            self._end(None)
            return
        self._task.executed.connect(self._executed)
        self._task.taskTerminated.connect(self._terminated)
        QgsApplication.taskManager().addTask(self._task)

    def cancel(self):
        """Ask the algorithm to stop at its next step; `stopped` follows when it has."""
        if self._task is not None:
            self._wish_to_stop = True
            self._task.cancel()

    def _executed(self, successful, results):
        self._end_soon(results if successful else None)

    def _terminated(self):
        self._end_soon(None)

    def _end_soon(self, results):
        # QGIS tells of a failed task in general words; ours come after them, and so lie on top.
        QTimer.singleShot(0, lambda: self._end(results))

    def _end(self, results):
        if self not in _under_way:
            return
        _under_way.discard(self)
        self._task = None
        if results is not None:
            self.finished.emit(results)
        elif self._wish_to_stop:
            self.stopped.emit()
        else:
            self.refused.emit(_in_short(self._listener.error))


def _in_short(error):
    """Return the algorithm's words as they are, or of a defect in it the line that names it."""
    if not error.strip():
        return tr("It ended without a result; the message log, under Processing, holds the reason.")
    if DEFECT in error:
        return tr("Spadework has a defect here: {line}. The message log, under Processing, holds "
                  "the whole account.").format(line=error.strip().splitlines()[-1].strip())
    return error.strip()
