from tests.algorithms.small_calls import make_call


def test_a_record_is_read_without_its_rows_and_handed_over(qgis_app, tmp_path):
    from plugin.gui.record_task import RecordTask
    handed = []
    task = RecordTask(make_call(tmp_path / "call.gpkg"), lambda *what: handed.append(what))
    assert task.run()
    task.finished(True)
    (record, why), = handed
    assert record.path == str(tmp_path / "call.gpkg") and record.tables == {} and why is None


def test_a_cancelled_reading_is_told_as_such(qgis_app, tmp_path):
    from plugin.gui.record_task import RecordTask
    handed = []
    task = RecordTask(make_call(tmp_path / "call.gpkg"), lambda *what: handed.append(what))
    task.cancel()
    assert not task.run()
    task.finished(False)
    assert handed == [(None, f"Reading {tmp_path / 'call.gpkg'} was cancelled.")]
