"""Running a piece of work on the main thread, where Qt wants its scenes made."""
from qgis.PyQt.QtCore import QCoreApplication, QObject, Qt, QThread, pyqtSignal, pyqtSlot


def on_main_thread(work):
    """Run `work()` on the main thread, wait for it, and return what it returns.

    A print layout is a graphics scene, and Qt keeps one list of all scenes that no lock guards; a
    desktop that opens a layout at the same moment could meet it half changed. Work runs where it
    is called if that is the main thread, if there is no application, or if the main thread runs no
    event loop: nobody would take the work up, and nobody opens layouts meanwhile.

    The caller waits until the main thread comes round. So the main thread must not wait for the
    caller in turn, as by QgsTask.waitForFinished() or by joining the thread inside a slot: each
    would then wait for the other for ever. A main thread that waits in a loop which processes
    events, as a QEventLoop does, is fine.

    Parameters
        work  function without arguments; must not hand out what only its own thread may use
    Raises    whatever `work` raises
    """
    application = QCoreApplication.instance()
    if (application is None or QThread.currentThread() == application.thread()
            or application.thread().loopLevel() == 0):
        return work()
    desk = _Desk(work)
    desk.moveToThread(application.thread())
    desk.asked.connect(desk.answer, Qt.ConnectionType.BlockingQueuedConnection)
    desk.asked.emit()
    if desk.raised is not None:
        raise desk.raised
    return desk.returned


class _Desk(QObject):
    """Lives on the main thread, does one piece of work when asked, and goes."""
    asked = pyqtSignal()

    def __init__(self, work):
        super().__init__()
        self._work, self.returned, self.raised = work, None, None

    @pyqtSlot()
    def answer(self):
        """Do the work and keep what came of it for the thread that waits."""
        try:
            self.returned = self._work()
        except BaseException as error:  # noqa: BLE001 - carried over to the thread that asked
            self.raised = error
        self.deleteLater()  # here: an object goes where it lives
