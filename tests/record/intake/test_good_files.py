"""Files as they come arrive with every value right, and a second time they change nothing."""
import pytest
from osgeo import osr

from plugin.record.intake.importing import import_readings
from tests.record.intake.conftest import rows_of, sha
from tests.record.intake.good_files import GOOD

ROWS = {
    "stand_counts": "SELECT * FROM stand_counts ORDER BY fid",
    "row_counts": "SELECT * FROM row_counts ORDER BY fid",
    "seed_depths": "SELECT * FROM seed_depths ORDER BY fid",
    "compaction_readings": "SELECT * FROM compaction_readings ORDER BY fid",
    "compaction_profile": "SELECT * FROM compaction_profile ORDER BY fid",
    "probe_points": "SELECT * FROM probe_points ORDER BY fid",
    "scout_notes": "SELECT * FROM scout_notes ORDER BY fid",
    "yield_points": "SELECT * FROM yield_points ORDER BY fid",
}


def test_there_are_forty_of_them_and_more():
    assert len({good.name for good in GOOD}) == len(GOOD) >= 40


@pytest.mark.parametrize("good", GOOD, ids=lambda good: good.name)
def test_every_reading_arrives_as_it_was_taken(good, empty, tmp_path):
    record, source = empty(good.units), good.write(tmp_path)
    before = sha(source)
    done = import_readings(record, source, good.wished())
    assert {one.row: one.reason for one in done.set_aside}.keys() == good.aside.keys()
    for one in done.set_aside:
        assert good.aside[one.row] in one.reason
    assert done.imported + len(done.set_aside) == done.rows and done.imported
    for layer, expected in good.rows.items():
        found = _readings(record, layer)
        assert len(found) == len(expected) == done.readings.get(layer, 0)
        for row, wanted in zip(found, expected):
            for name, value in wanted.items():
                # 1e-12: a factor of units; a position is kept to the millimetre
                near = 0.0006 if name in ("x", "y") else 1e-7 if name in ("lon", "lat") else None
                assert row[name] == (value if isinstance(value, str) else pytest.approx(
                    value, rel=1e-12 if near is None else 0, abs=near)), name
    (number, name, digest), = rows_of(
        record, "SELECT number, source_name, source_sha256 FROM imports")
    assert (number, name, digest) == (done.number, source.name, before) and sha(source) == before
    traced = rows_of(record, "SELECT DISTINCT import_number, source_row FROM imported_rows")
    assert len(traced) >= 1 and {one for one, _ in traced} == {number}
    after = sha(record)
    again = import_readings(record, source, good.wished())
    assert again.imported == 0 and again.number is None and sha(record) == after
    assert sum("in the record already" in one.reason for one in again.set_aside) == done.imported
    assert sorted(path.name for path in record.parent.iterdir()) == [record.name]


def _readings(record, layer):
    """The rows of a layer as dicts, with x and y, and longitude and latitude, of their points."""
    from plugin.record.read import open_record
    table = open_record(record).table(layer)
    turn = osr.CoordinateTransformation(_reference(32615), _reference(4326))
    rows = []
    stored = rows_of(record, ROWS[layer])
    for place in range(len(stored)):
        row = {name: values[place] for name, values in table.items()}
        if row.get("taken_at") is not None:
            row["taken_at"] = row["taken_at"].isoformat(timespec="milliseconds")
        if "x" in row:
            row["lon"], row["lat"], _ = turn.TransformPoint(row["x"], row["y"])
        rows.append(row)
    return rows


def _reference(code):
    reference = osr.SpatialReference()
    reference.ImportFromEPSG(code)
    reference.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    return reference
