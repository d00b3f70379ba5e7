"""A field record read in the background: on a slow disk copying it takes a while."""
from qgis.core import QgsTask

from ..algorithms.base import tr
from ..core.problems import InputProblem, Stopped
from ..record.read import open_record


class RecordTask(QgsTask):
    """Reads one record; when done it calls `then(record, why)` in the desktop's thread.

    One of the two is None: `record` where it could not be read, `why` where it was. The record
    comes without its rows, of which the desktop shows but the numbers. Set `then` to None when
    nobody waits any more.
    """

    def __init__(self, path, then):
        super().__init__(tr("Reading the field record"))
        self.then = then
        self._path = str(path)
        self._record = None
        self._why = None

    def run(self):
        """Read the record, away from the desktop's thread."""
        try:
            self._record = open_record(self._path, only=(), tick=self._tick)
        except Stopped:
            self._why = tr("Reading {path} was cancelled.").format(path=self._path)
        except InputProblem as problem:
            self._why = str(problem)
        return self._record is not None

    def _tick(self, fraction):
        self.setProgress(100.0 * fraction)
        if self.isCanceled():
            raise Stopped

    def finished(self, successful):
        """Hand over what was read."""
        if self.then is not None:
            self.then(self._record, None if successful else self._why or tr(
                "{path} was not read; the message log holds the reason.").format(path=self._path))
