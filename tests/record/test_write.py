import datetime
import hashlib
import math
import shutil
import sqlite3
from contextlib import closing

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from plugin.core.problems import InputProblem
from plugin.record import write
from plugin.record.read import open_record
from plugin.record.schema import LAYERS, layer_spec
from plugin.record.values import LARGEST_WHOLE, checked_row
from plugin.record.write import append_rows

STOP = {"x": 500010.25, "y": 4400020.5, "stop": 1, "plants": 27}


def content(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_rows_get_ids_and_defaults_and_come_back_as_given(record):
    taken = datetime.datetime(2026, 5, 20, 9, 30, 59, 999000)
    ids = append_rows(record, "stand_counts", [
        {**STOP, "taken_at": taken, "note": "O'Hara said \"wet\"; -- \u00e4\u6c34\U0001f33d"},
        {**STOP, "stop": 2, "reading_id": "mine", "method": "hoop", "rows": None}])
    table = open_record(record).table("stand_counts")
    assert table["reading_id"].tolist() == ids and ids[1] == "mine" and len(ids[0]) == 36
    assert table["x"].tolist() == [500010.25] * 2 and table["y"].tolist() == [4400020.5] * 2
    assert table["method"].tolist() == ["row_length", "hoop"]
    assert table["rows"][0] == 1 and math.isnan(table["rows"][1])  # default; given as empty
    assert table["taken_at"].tolist() == [taken, None]
    assert table["note"].tolist() == ["O'Hara said \"wet\"; -- \u00e4\u6c34\U0001f33d", None]


def test_children_find_their_parent_and_orphans_are_refused(record):
    stop, = append_rows(record, "stand_counts", [STOP])
    append_rows(record, "row_counts", [{"of_stop": stop, "row_unit": 3, "plants": 9}])
    before = content(record)
    with pytest.raises(InputProblem, match="row_counts, row 2, of_stop: stand_counts has no "
                                           "reading 'gone'. Add that one first"):
        append_rows(record, "row_counts", [{"of_stop": stop}, {"of_stop": "gone"}])
    assert content(record) == before
    assert open_record(record).table("row_counts")["of_stop"].tolist() == [stop]


@pytest.mark.parametrize("layer,row,words", [
    ("stand_counts", {"colour": 1}, "stand_counts, row 2: there is no column colour. Columns are"),
    ("stand_counts", {"method": "guess"},
     "stand_counts, row 2, method: 'guess' is not one of row_length, wheel, hoop"),
    ("stand_counts", {"method": None}, "row 2, method: it is empty. Enter method"),
    ("stand_counts", {"plants": 2.5}, "row 2, plants: 2.5 is not a whole number"),
    ("stand_counts", {"plants": True}, "row 2, plants: True is not a whole number"),
    ("stand_counts", {"plants": math.inf}, "row 2, plants: inf is not a whole number"),
    ("stand_counts", {"plants": "27"}, "row 2, plants: '27' is not a whole number"),
    ("stand_counts", {"plants": 2**31}, "2147483648 is beyond 2147483647, the largest"),
    ("stand_counts", {"plants": -1}, "row 2, plants: -1 is below 0, the least that can be"),
    ("stand_counts", {"growth_stage_bbch": 100}, "100 is above 99, the most that can be"),
    ("stand_counts", {"length": "ten"}, "row 2, length: 'ten' is not a number"),
    ("stand_counts", {"length": math.inf}, "row 2, length: inf is not a number"),
    ("stand_counts", {"note": 5}, "row 2, note: 5 is not text"),
    ("stand_counts", {"note": "a\0b"}, "row 2, note: .* cannot be stored. Take it out"),
    ("stand_counts", {"note": "\ud800"}, "row 2, note: .* cannot be stored. Take it out"),
    ("stand_counts", {"taken_at": datetime.date(2026, 5, 1)}, "is not a date with a time"),
    ("stand_counts", {"taken_at": datetime.datetime(2026, 5, 1, tzinfo=datetime.UTC)},
     "row 2, taken_at: .* has a time zone; give the clock time in the field"),
    ("stand_counts", {"x": None}, "row 2, x: None is no position. Give x and y in metres"),
    ("stand_counts", {"y": math.inf}, "row 2, y: inf is no position"),
    ("stand_counts", {"x": "5"}, "row 2, x: '5' is no position"),
    ("stand_counts", {"reading_id": "first"},
     "row 2, reading_id: 'first' is that of row 1 too. Give each row its own"),
    ("seed_depths", {"emerged": 1}, "seed_depths, row 2, emerged: 1 is neither true nor false"),
])
def test_one_wrong_row_is_named_and_no_row_is_written(record, layer, row, words):
    good = {"x": 500010.0, "y": 4400020.0, "reading_id": "first"}
    before = content(record)
    with pytest.raises(InputProblem, match=words):
        append_rows(record, layer, [good, {**good, "reading_id": "second", **row}])
    assert content(record) == before
    assert [entry.name for entry in record.parent.iterdir()] == ["call.gpkg"]


def test_a_date_column_takes_a_day_and_no_time():
    with pytest.raises(InputProblem, match="field, row 1, visit_date: .* is not a date"):
        checked_row(layer_spec("field"), {"units": "us", "visit_date": datetime.datetime.now()}, 1)


def test_a_table_without_places_takes_none(record):
    stop, = append_rows(record, "stand_counts", [STOP])
    with pytest.raises(InputProblem, match="row_counts, row 1: there is no column x"):
        append_rows(record, "row_counts", [{"of_stop": stop, "x": 1.0}])


def test_an_id_that_the_record_has_already_is_refused_and_nothing_is_written(record):
    append_rows(record, "stand_counts", [{**STOP, "reading_id": "mine"}])
    before = content(record)
    with pytest.raises(InputProblem, match="stand_counts, row 2: the record did not take it "
                                           ".*UNIQUE.*Nothing was added"):
        append_rows(record, "stand_counts", [STOP, {**STOP, "reading_id": "mine"}])
    assert content(record) == before
    assert open_record(record).counts["stand_counts"] == 1


@pytest.mark.parametrize("raised", [RuntimeError("broken"), KeyboardInterrupt()])
def test_a_stop_in_the_middle_leaves_the_old_content(record, monkeypatch, raised):
    append_rows(record, "stand_counts", [STOP])
    before = content(record)
    add, added = write._add, []

    def add_two_then_stop(*arguments):
        if len(added) == 2:
            raise raised
        add(*arguments)
        added.append(1)

    monkeypatch.setattr(write, "_add", add_two_then_stop)
    with pytest.raises(type(raised)):
        append_rows(record, "stand_counts", [STOP] * 5)
    assert len(added) == 2  # it did stop half way
    assert open_record(record).counts["stand_counts"] == 1
    assert content(record) == before
    assert [entry.name for entry in record.parent.iterdir()] == ["call.gpkg"]


def test_the_field_takes_no_second_row(record):
    with pytest.raises(InputProblem, match="field: a record holds one field"):
        append_rows(record, "field", [{"units": "us"}])


def test_what_is_no_record_is_not_written_to(record, tmp_path):
    with pytest.raises(InputProblem, match="There is no record at .*none.gpkg"):
        append_rows(tmp_path / "none.gpkg", "stand_counts", [STOP])
    other = tmp_path / "other.gpkg"
    other.write_text("not a database")
    with pytest.raises(InputProblem, match="other.gpkg cannot be written to"):
        append_rows(other, "stand_counts", [STOP])
    with closing(sqlite3.connect(record)) as database:
        database.execute("DELETE FROM gpkg_contents WHERE table_name = 'scout_notes'")
        database.execute("DELETE FROM gpkg_geometry_columns WHERE table_name = 'scout_notes'")
        database.execute("DROP TABLE scout_notes")
        database.commit()
    with pytest.raises(InputProblem, match="call.gpkg is no record: it has no layer scout_notes"):
        append_rows(record, "scout_notes", [{"x": 1.0, "y": 1.0}])


def test_a_record_that_another_program_is_writing_to_is_left_alone(record):
    with closing(sqlite3.connect(record)) as database:
        database.execute("BEGIN EXCLUSIVE")
        with pytest.raises(InputProblem, match="call.gpkg"):
            append_rows(record, "stand_counts", [STOP])
        database.rollback()
    assert open_record(record).counts["stand_counts"] == 0


def test_numbers_of_numpy_are_taken_and_nan_is_empty(record):
    append_rows(record, "stand_counts", [
        {"x": np.float64(500010), "y": np.int32(4400020), "plants": np.int64(5),
         "stop": np.float32(3), "length": np.nan},
    ])
    table = open_record(record).table("stand_counts")
    assert (table["plants"][0], table["stop"][0]) == (5, 3)
    assert math.isnan(table["length"][0])


def test_no_rows_are_no_change(record):
    before = content(record)
    assert append_rows(record, "stand_counts", []) == []
    assert content(record) == before


def test_harvest_records_keep_values_no_grain_could_have(record):
    append_rows(record, "yield_points", [{"x": 1.0, "y": 2.0, "flow": -3.0, "moisture": 140.0}])
    table = open_record(record).table("yield_points")
    assert (table["flow"][0], table["moisture"][0]) == (-3.0, 140.0)


def values_of(column):
    """Values that the column must take, empty among them where it may be."""
    low = -1e12 if column.low is None else column.low
    high = 1e12 if column.high is None else column.high
    kind = {
        "text": some.text(some.characters(exclude_categories=["Cs"], exclude_characters="\0"),
                          max_size=40),
        "int": some.integers(max(int(low), -LARGEST_WHOLE), min(int(high), LARGEST_WHOLE)),
        "real": some.floats(low, high),
        "bool": some.booleans(),
        "date": some.dates(datetime.date(1, 1, 1)),
        "datetime": some.datetimes(datetime.datetime(1000, 1, 1)).map(
            lambda moment: moment.replace(microsecond=moment.microsecond // 1000 * 1000)),
    }[column.kind]
    if column.values:
        kind = some.sampled_from(column.values)
    return kind if column.required else some.none() | kind


def rows_of(layer):
    left_out = {"reading_id"} | ({layer.parent[1]} if layer.parent else set())
    places = {"x": some.floats(-1e7, 1e7), "y": some.floats(-1e7, 1e7)} \
        if layer.geometry == "point" else {}
    return some.lists(some.fixed_dictionaries(
        {column.name: values_of(column) for column in layer.columns
         if column.name not in left_out} | places), max_size=4)


@pytest.mark.parametrize("layer", [layer for layer in LAYERS if layer.name != "field"],
                         ids=lambda layer: layer.name)
@settings(max_examples=15, derandomize=True,
          suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=some.data())
def test_whatever_is_appended_comes_back_unchanged(template, tmp_path, layer, data):
    rows = data.draw(rows_of(layer))
    path = shutil.copy(template, tmp_path / "again.gpkg")
    if layer.parent:
        parent = append_rows(path, layer.parent[0], [STOP if layer.parent[0] == "stand_counts"
                                                     else {"x": 1.0, "y": 1.0}])
        rows = [{**row, layer.parent[1]: parent[0]} for row in rows]
    append_rows(path, layer.name, rows)
    table = open_record(path).table(layer.name)
    assert len(table["fid"]) == len(rows)
    for number, row in enumerate(rows):
        for name, value in row.items():
            found = table[name][number]
            if value is None and isinstance(found, float):
                assert math.isnan(found)
            else:
                assert found == value and isinstance(found, type(value) if isinstance(
                    value, (str, bool, datetime.date)) or value is None else float)
