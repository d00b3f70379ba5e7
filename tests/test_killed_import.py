"""An import killed at any moment: the record is sound and holds all of the batch or none of it."""
import shutil
import signal
import time

import pytest

from bench.importing import SAMPLE, rows_in, started, write_yields

ROWS = 6_000
MOMENTS = 10  # bench/importing.py --kills 50 takes more


@pytest.fixture(scope="module")
def import_of(tmp_path_factory):
    """Return the source, and how many seconds an import of it takes here."""
    folder = tmp_path_factory.mktemp("kill")
    source, record = folder / "yields.csv", shutil.copyfile(SAMPLE, folder / "whole.gpkg")
    write_yields(source, ROWS)
    process = started(record, source)
    begun = time.perf_counter()
    process.communicate()
    assert rows_in(record) == ROWS
    return source, time.perf_counter() - begun


@pytest.mark.parametrize("moment", range(MOMENTS))
def test_killed_it_leaves_all_or_nothing(import_of, tmp_path, moment):
    source, whole_s = import_of
    record = shutil.copyfile(SAMPLE, tmp_path / "call.gpkg")
    process = started(record, source)
    time.sleep(whole_s * (moment + 0.5) / MOMENTS)  # the moment of the kill, not a wait
    process.send_signal(signal.SIGKILL)
    process.communicate()
    assert rows_in(record) in (0, ROWS)
    assert process.returncode in (0, -signal.SIGKILL)
