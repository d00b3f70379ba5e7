"""An import into a record that another program reads from or writes to meanwhile."""
import sqlite3
from contextlib import closing

import numpy as np
import pytest

from plugin.core.problems import InputProblem, Stopped
from plugin.record.intake import batch
from plugin.record.intake.importing import Wish, import_readings
from tests.record.intake.conftest import rows_of, sha

COUNT = 6000  # yield records: some 2 MB of pages, ten times the cache below
MODES = ("delete", "wal")


@pytest.fixture
def yields(tmp_path):
    path = tmp_path / "yields.csv"
    lines = [f"{500_010 + n % 100},{4_400_010 + n // 100},15.5,{150 + n % 60},2025,corn"
             for n in range(COUNT)]
    path.write_text("\n".join(["Easting,Northing,Moisture (%),Yield (bu/ac),Season,Crop", *lines]))
    return path


@pytest.fixture(autouse=True)
def small_cache(monkeypatch):
    for name in ("CACHE", "CACHE_WITH_LOG"):
        monkeypatch.setattr(batch, name, (getattr(batch, name)[0], "PRAGMA cache_size = -200"))


def in_mode(record, mode):
    with closing(sqlite3.connect(record)) as database:
        assert database.execute(f"PRAGMA journal_mode = {mode}").fetchone() == (mode,)
    return record


def brought(record, source, tick=None):
    return import_readings(record, source, Wish(kind="yield_points", crs="EPSG:32615"), tick)


@pytest.mark.parametrize("mode", MODES)
def test_readers_see_the_record_as_it_was_until_all_is_written(empty, yields, mode):
    record, seen = in_mode(empty(), mode), []
    with closing(sqlite3.connect(record, timeout=0)) as reader:
        brought(record, yields, lambda _: seen.append(
            reader.execute("SELECT count(*) FROM yield_points").fetchone()[0]))
    assert set(seen) == {0} and len(seen) > COUNT // batch.AT_ONCE
    assert rows_of(record, "SELECT count(*) FROM yield_points") == [(COUNT,)]


def test_a_reader_that_does_not_end_is_waited_for_and_then_the_import_refused(
        empty, yields, monkeypatch):
    monkeypatch.setattr(batch, "WAIT_S", 0.3)
    record, told = in_mode(empty(), "delete"), []
    before = sha(record)
    with closing(sqlite3.connect(record)) as reader:
        unfinished = reader.execute("SELECT srs_id FROM gpkg_spatial_ref_sys")
        unfinished.fetchone()
        with pytest.raises(InputProblem, match="by another program.*Nothing was added"):
            brought(record, yields, told.append)
        unfinished.close()
    assert told[-2:] == [1.0, 1.0]  # it looks while it waits
    assert sha(record) == before
    assert brought(record, yields).readings == {"yield_points": COUNT}


@pytest.mark.parametrize("holds", ["a reader", "a writer"])
def test_an_import_that_waits_can_be_cancelled(empty, yields, monkeypatch, holds):
    monkeypatch.setattr(batch, "WAIT_S", np.inf)
    record, last = in_mode(empty(), "delete"), {"a reader": 1.0, "a writer": 0.6}[holds]
    before, waited = sha(record), []

    def tick(fraction):
        if fraction == pytest.approx(last):
            waited.append(fraction)
        if len(waited) == 4:
            raise Stopped

    with closing(sqlite3.connect(record, isolation_level=None)) as other:
        if holds == "a writer":
            other.execute("BEGIN IMMEDIATE")
        unfinished = other.execute("SELECT srs_id FROM gpkg_spatial_ref_sys")
        unfinished.fetchone()
        with pytest.raises(Stopped):
            brought(record, yields, tick)
        unfinished.close()
    assert sha(record) == before
