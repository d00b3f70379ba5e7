"""A file of readings looked at in the background, before it is imported."""
from qgis.core import QgsTask

from ..algorithms.base import tr
from ..core.problems import InputProblem
from ..record.intake.importing import preview_source


class PreviewTask(QgsTask):
    """Looks at one source; when done it calls `then(preview, why)` in the desktop's thread.

    One of the two is None. Set `then` to None when nobody waits any more.
    """

    def __init__(self, record_path, source_path, wish, then):
        super().__init__(tr("Looking at the file of readings"))
        self.then = then
        self._given = (record_path, source_path, wish)
        self._preview = None
        self._why = None

    def run(self):
        """Look at the file, away from the desktop's thread."""
        try:
            self._preview = preview_source(*self._given)
        except InputProblem as problem:
            self._why = str(problem)
        return self._preview is not None

    def finished(self, successful):
        """Hand over what was seen."""
        if self.then is not None:
            self.then(self._preview, None if successful else self._why or tr(
                "{path} was not read; the message log holds the reason.").format(
                    path=self._given[1]))
