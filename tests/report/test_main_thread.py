"""Work handed to the main thread: done there, waited for, and its failures carried back."""
import threading

import pytest

from plugin.core.problems import InputProblem
from tests.report.field_call_folder import boundary_wkb, crs_wkt, summary
from tests.report.pdf_reading import pages_of


@pytest.fixture
def in_background(qgis_app):
    """Return in_background(job): run it in a thread while the main thread runs its event loop."""
    from qgis.PyQt.QtCore import QEventLoop, QThread, QTimer

    class Worker(QThread):
        def __init__(self, job):
            super().__init__()
            self.job, self.returned, self.raised = job, None, None

        def run(self):
            try:
                self.returned = self.job()
            except InputProblem as problem:
                self.raised = problem

    def go(job):
        worker, loop = Worker(job), QEventLoop()
        worker.finished.connect(loop.quit)
        QTimer.singleShot(0, worker.start)
        QTimer.singleShot(30_000, loop.quit)  # a deadlock fails instead of hanging
        loop.exec()
        assert worker.isFinished(), "the main thread never took up the work"
        return worker
    return go


def test_work_of_a_background_thread_is_done_on_the_main_thread(in_background):
    from plugin.report.main_thread import on_main_thread
    threads = []

    def job():
        threads.append(threading.get_ident())
        return on_main_thread(lambda: threads.append(threading.get_ident()) or "done")
    assert in_background(job).returned == "done"
    background, where = threads
    assert where == threading.get_ident() != background


def test_work_can_be_handed_over_again_and_again(in_background):
    from plugin.report.main_thread import on_main_thread
    found = in_background(lambda: [on_main_thread(lambda n=n: n * n) for n in range(50)])
    assert found.returned == [n * n for n in range(50)]


def test_a_failure_comes_back_to_the_thread_that_asked(in_background):
    from plugin.report.main_thread import on_main_thread

    def fail():
        raise InputProblem("no room on the disk")
    worker = in_background(lambda: on_main_thread(fail))
    assert worker.returned is None
    assert str(worker.raised) == "no room on the disk"


def test_on_the_main_thread_work_is_simply_done(qgis_app):
    from plugin.report.main_thread import on_main_thread
    assert on_main_thread(threading.get_ident) == threading.get_ident()
    with pytest.raises(InputProblem, match="as it is"):
        on_main_thread(lambda: (_ for _ in ()).throw(InputProblem("as it is")))


def test_without_an_event_loop_a_thread_does_its_work_itself_while_the_main_thread_waits(qgis_app):
    from plugin.report.main_thread import on_main_thread
    where = []
    thread = threading.Thread(target=lambda: where.append(on_main_thread(threading.get_ident)))
    thread.start()
    thread.join(30)
    assert where and where[0] != threading.get_ident()


def test_a_field_call_in_the_background_has_its_report_written_on_the_main_thread(
        in_background, qgis_processing, call_folder, tmp_path, monkeypatch):
    from qgis.core import QgsProcessingContext, QgsProcessingFeedback

    from plugin.algorithms import grower_report
    from plugin.record.create import create_record
    from tests.report.field_call_folder import write_summary
    record = tmp_path / "call.gpkg"
    create_record(record, bytes(boundary_wkb()), crs_wkt(), units="us", field={"name": "Home"})
    threads, write = [], grower_report.write_report

    def noted(*arguments, **options):
        threads.append(threading.get_ident())
        return write(*arguments, **options)
    monkeypatch.setattr(grower_report, "write_report", noted)
    algorithm = grower_report.GrowerReport().create()
    parameters = {"SUMMARY": str(write_summary(tmp_path / "summary.json", summary())),
                  "FOLDER": str(call_folder), "RECORD": str(record), "PAGE": 0,
                  "PDF": str(tmp_path / "report.pdf")}

    def job():
        found = algorithm.processAlgorithm(parameters, QgsProcessingContext(),
                                           QgsProcessingFeedback())
        return found["PAGES"], threading.get_ident()
    pages, background = in_background(job).returned
    assert threads == [threading.get_ident()]
    assert background != threading.get_ident()
    assert pages == len(pages_of(tmp_path / "report.pdf"))
