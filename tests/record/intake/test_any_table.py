"""Whatever a table holds: readings survive export and import, and every row is accounted for."""
import csv
import datetime
import math
import sqlite3
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some
from osgeo import ogr

from plugin.core.problems import InputProblem
from plugin.record.intake.importing import Wish, import_readings
from plugin.record.read import open_record
from tests.record.intake.conftest import sha
from tests.record.intake.small_files import write_vector

QUICK = settings(max_examples=25,
                 suppress_health_check=[HealthCheck.function_scoped_fixture])
REAL = some.floats(allow_nan=False, allow_infinity=False, width=64)
TEXT = some.text(some.sampled_from("aZ09 .,;|\"'<>&=+-@%#\t\n\u00e4\u00df\u20ac\u6c34\U0001f33d"),
                 max_size=30)
MOMENT = some.datetimes(datetime.datetime(1960, 1, 1), datetime.datetime(2090, 1, 1)).map(
    lambda moment: moment.replace(microsecond=moment.microsecond // 1000 * 1000))
READING = some.fixed_dictionaries({
    "x": some.integers(499_000_000, 501_000_000).map(lambda mm: mm / 1000),
    "y": some.integers(4_399_000_000, 4_401_000_000).map(lambda mm: mm / 1000),
    "stop": some.none() | some.integers(-2**31 + 1, 2**31 - 1), "depth": some.none() | REAL,
    "taken_at": some.none() | MOMENT, "emerged": some.none() | some.booleans(),
    "row_unit": some.none() | some.integers(0, 99), "note": some.none() | TEXT})
HEADER = {"x": "Easting", "y": "Northing", "stop": "Stop", "depth": "Depth (in)",
          "taken_at": "Taken at", "emerged": "Emerged", "row_unit": "Row unit", "note": "Note"}


def in_words(value):
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else value.isoformat(" ") if hasattr(value, "year") else \
        value if isinstance(value, str) else repr(value)


@QUICK
@given(rows=some.lists(READING, min_size=1, max_size=6),
       separator=some.sampled_from(",;\t|"), encoding=some.sampled_from(["utf-8", "utf-16"]))
def test_a_table_of_readings_survives_export_and_import(empty_records, rows, separator, encoding):
    with TemporaryDirectory() as folder:
        record, source = Path(folder) / "r.gpkg", Path(folder) / "a.csv"
        record.write_bytes(empty_records["us"].read_bytes())
        with open(source, "w", newline="", encoding=encoding) as file:
            writer = csv.writer(file, delimiter=separator)
            writer.writerow(HEADER.values())
            writer.writerows([in_words(row[name]) for name in HEADER] for row in rows)
        done = import_readings(record, source, Wish(
            "seed_depths", crs="EPSG:32615", axes="as_written"))
        assert done.imported == len(rows) and not done.set_aside
        table = open_record(record).table("seed_depths")
        for place, row in enumerate(rows):
            for name, value in row.items():
                found = table[name][place]
                if value is None or value == "":
                    assert found is None or math.isnan(found)
                else:
                    assert found == value, name


CELL = some.sampled_from(["", "1", "2.5", "x", "nan", "inf", "-92.9994160", "39.7492550", "=1+1",
                          "2026-05-20", "Total", "1,5", "yes", "\u0000", "'", "5/5/26"]) | TEXT


@QUICK
@given(rows=some.lists(some.lists(CELL, max_size=7), min_size=1, max_size=8))
def test_every_row_is_imported_or_set_aside_and_a_refusal_changes_nothing(empty_records, rows):
    with TemporaryDirectory() as folder:
        record, source = Path(folder) / "r.gpkg", Path(folder) / "a.csv"
        record.write_bytes(empty_records["us"].read_bytes())
        before = sha(record)
        with open(source, "w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file)
            writer.writerow(["Stop", "Lon", "Lat", "Depth (in)", "Taken at", "Note"])
            writer.writerow(["9", "-92.9994160", "39.7492550", "2", "2026-05-20", ""])
            writer.writerows(rows)
        try:
            done = import_readings(record, source, Wish("seed_depths"))
        except InputProblem:
            assert sha(record) == before
            return
        assert done.imported + len(done.set_aside) == done.rows == len(rows) + 1
        assert len({one.row for one in done.set_aside}) == len(done.set_aside)
        with closing(sqlite3.connect(record)) as database:
            assert database.execute("SELECT count(*) FROM seed_depths").fetchone() == (
                done.imported,)


def test_rows_of_other_sheets_that_are_not_read_are_told_of(empty, tmp_path):
    record, source = empty(), tmp_path / "two.gpkg"
    write_vector(source, "GPKG", [(-92.999416, 39.749255, {"depth": 2.0})], name="first")
    second = ogr.GetDriverByName("GPKG").Open(str(source), 1)
    layer = second.CreateLayer("second", None, ogr.wkbNone)
    layer.CreateFeature(ogr.Feature(layer.GetLayerDefn()))
    layer = second = None
    done = import_readings(record, source, Wish("seed_depths"))
    assert done.rows == 1
    assert any("first was read; second too holds rows, which were not" in one
               for one in done.warnings)
    again = import_readings(empty("metric"), source, Wish("seed_depths", table="first"))
    assert again.rows == 1 and not any("holds rows" in one for one in again.warnings)
