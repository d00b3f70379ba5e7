"""A field call killed at any moment: the record stays as it was, no half-made results appear."""
import hashlib
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SAMPLE = ROOT / "sample_project" / "sample_field.gpkg"
WORK = """
import sys
from pathlib import Path
from sample_project.headless_qgis import headless_qgis
with headless_qgis():
    from qgis.core import QgsApplication
    sys.path.append(str(Path(QgsApplication.pkgDataPath()) / "python" / "plugins"))
    import processing
    from processing.core.Processing import Processing
    from plugin.algorithms.provider import SpadeworkProvider
    Processing.initialize()
    provider = SpadeworkProvider()
    QgsApplication.processingRegistry().addProvider(provider)
    print("ready", flush=True)
    processing.run("spadework:fieldcall", {
        "RECORD": sys.argv[1], "OUTPUT_FOLDER": sys.argv[2], "CELL": 15})
    print("done", flush=True)
    QgsApplication.processingRegistry().removeProvider(provider)
"""


def started(record, folder):
    """A process of its own that has QGIS up and is about to run the field call."""
    process = subprocess.Popen(
        [sys.executable, "-W", "ignore", "-c", WORK, str(record), str(folder)], cwd=ROOT,
        env={**os.environ, "QT_QPA_PLATFORM": "offscreen"}, stdout=subprocess.PIPE, text=True)
    assert process.stdout.readline() == "ready\n"
    return process


@pytest.fixture
def record(tmp_path):
    path = tmp_path / "call.gpkg"
    shutil.copyfile(SAMPLE, path)
    return path


@pytest.mark.parametrize("after_s", [0.2, 1.0, 2.0, 3.5])
def test_killed_it_leaves_the_record_whole_and_no_results(record, tmp_path, after_s):
    before = hashlib.sha256(record.read_bytes()).hexdigest()
    process = started(record, tmp_path / "results")
    time.sleep(after_s)  # the moment of the kill, not a wait for anything
    process.send_signal(signal.SIGKILL)
    process.communicate()
    assert hashlib.sha256(record.read_bytes()).hexdigest() == before
    with closing(sqlite3.connect(record)) as database:
        assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    results = tmp_path / "results"
    assert not results.exists() or (results / "project.qgz").is_file()  # none, or all of them


def test_the_next_run_clears_away_what_a_killed_one_left(record, tmp_path):
    process = started(record, tmp_path / "results")
    time.sleep(1.0)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    process = started(record, tmp_path / "results")
    assert process.communicate()[0] == "done\n"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["call.gpkg", "results"]
