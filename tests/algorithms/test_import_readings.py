"""importreadings through the door: what comes out, what is asked, what a refusal leaves."""
import json

import pytest
from osgeo import ogr

from tests.algorithms.small_calls import make_call, sha256

# The middle of the field of the small calls, and a place 20 m east of it.
A, B = "-92.998810,39.749500", "-92.998577,39.749500"
SEEDS = f"Stop,Lon,Lat,Depth (in),Emerged\n1,{A},2,yes\n2,{B},1.75,no\n"


@pytest.fixture
def record(qgis_app, out):
    """An empty record in a folder of its own."""
    return make_call(out / "call.gpkg")


@pytest.fixture
def source(tmp_path):
    """Return source(text, name): a file of that text."""
    def made(text, name="seeds.csv"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path
    return made


@pytest.fixture(autouse=True)
def profile(qgis_app, tmp_path, monkeypatch):
    """A profile folder of the test's own."""
    from plugin.record.intake import saved_mappings
    monkeypatch.setattr(saved_mappings, "_folder", lambda: tmp_path / "profile")


def depths(path):
    data = ogr.Open(str(path))
    return [(row["stop"], row["depth"], row["emerged"]) for row in data.GetLayer("seed_depths")]


def test_every_row_is_counted_and_every_output_is_told(run, record, source, out):
    found = run("importreadings", RECORD=record, KIND="seed_depths", ASIDE=out / "aside.gpkg",
                SOURCE=source(SEEDS + f"3,{A},deep,yes\nTotal,,,,\n"))
    assert (found["ROWS"], found["IMPORTED"], found["SET_ASIDE"], found["READINGS"]) == (4, 2, 2, 2)
    assert depths(record) == [(1, 2.0, True), (2, 1.75, False)]
    used = json.loads(found["MAPPING_USED"])
    assert {"header": "Depth (in)", "target": "depth", "unit": "in"} in used["columns"]
    table = ogr.Open(str(out / "aside.gpkg"))
    assert [(row["row"], row["reason"], row["content"])
            for row in table.GetLayer("set_aside")] == [
        (4, "Depth (in): 'deep' is no number. Correct or empty it.", f"3 | {A.replace(',', ' | ')}"
         " | deep | yes"), (5, "it is a line of totals, not a reading.", "Total |  |  |  | ")]
    assert "row 4: Depth (in): 'deep' is no number. Correct or empty it." in run.warnings
    assert "row 5: it is a line of totals, not a reading." in found["REASONS"]


def test_the_same_file_twice_and_a_longer_one_add_only_what_is_new(run, record, source):
    first = source(SEEDS)
    run("importreadings", RECORD=record, KIND="seed_depths", SOURCE=first)
    before = sha256(record)
    again = run("importreadings", RECORD=record, KIND="seed_depths", SOURCE=first)
    assert (again["IMPORTED"], again["SET_ASIDE"]) == (0, 2) and sha256(record) == before
    longer = run("importreadings", RECORD=record, KIND="seed_depths",
                 SOURCE=source(SEEDS + f"2,{B},1.75,no\n", "longer.csv"))
    assert (longer["IMPORTED"], longer["SET_ASIDE"]) == (1, 2)
    assert depths(record) == [(1, 2.0, True), (2, 1.75, False), (2, 1.75, False)]


@pytest.mark.parametrize("answer,text,first", [
    ({"DATE_ORDER": "month_first"}, f"Stop,Lon,Lat,Date,Depth (in)\n1,{A},4/5/2026,2\n", 2.0),
    ({"AXES": "swapped"}, f"Stop,Lat,Lon,Depth (in)\n1,{A},2\n", 2.0),
    ({"ANGLES": "parts"}, "Stop,Lat,Lon,Depth (in)\n1,39 44.97,-92 59.9286,2\n", 2.0),
    ({"DECIMAL": "comma"}, "Stop;Lon;Lat;Depth (in)\n1;-92.99881;39.7495;1,234\n", 1.234),
    ({"DECIMAL": "point"}, "Stop;Lon;Lat;Depth (in)\n1;-92.99881;39.7495;1,234\n", 1234.0),
    ({"UTC_OFFSET": -5}, f"Stop,Lon,Lat,Date,Depth (in)\n1,{A},2026-05-04T14:00:00Z,2\n", 2.0)])
def test_what_can_be_read_in_two_ways_is_asked_and_the_answer_is_taken(
        run, refused, record, source, answer, text, first):
    path, before = source(text), sha256(record)
    name, = answer
    refused(name, "importreadings", RECORD=record, KIND="seed_depths", SOURCE=path)
    assert sha256(record) == before
    found = run("importreadings", RECORD=record, KIND="seed_depths", SOURCE=path, **answer)
    assert found["IMPORTED"] == 1 and depths(record)[0][1] == first


def test_a_question_calls_the_parameter_that_answers_it_as_forms_show_it(
        refused, provider, record, source):
    title = provider.algorithm("importreadings").parameterDefinition("DATE_ORDER").description()
    refused(f"“{title}” .DATE_ORDER.", "importreadings", RECORD=record, KIND="seed_depths",
            SOURCE=source("Stop,Lon,Lat,Depth (in),Date\n1,500050,4400050,2,4/5/2026\n"),
            SOURCE_CRS="EPSG:32615")


def test_a_mapping_is_text_a_file_or_a_saved_name(run, refused, record, source, tmp_path):
    odd = f"A1,L1,L2,D\n1,{A},50\n"
    told = json.dumps({"columns": [
        {"header": "A1", "target": "stop"}, {"header": "L1", "target": "x"},
        {"header": "L2", "target": "y"}, {"header": "D", "target": "depth", "unit": "mm"}]})
    refused("none of its columns", "importreadings", RECORD=record, KIND="seed_depths",
            SOURCE=source(odd))
    run("importreadings", RECORD=record, KIND="seed_depths", SOURCE=source(odd), MAPPING=told,
        SAVE_AS="my probe")
    for number, mapping in enumerate(("my probe", source(told, "map.json")), 1):
        found = run("importreadings", RECORD=record, KIND="seed_depths",
                    SOURCE=source(odd.replace("50", str(50 + number)), f"{number}.csv"),
                    MAPPING=mapping)
        assert found["IMPORTED"] == 1
    assert [round(depth * 25.4, 9) for _, depth, _ in depths(record)] == [50, 51, 52]
    refused("saved are my probe", "importreadings", RECORD=record, KIND="seed_depths",
            SOURCE=source(odd), MAPPING="your probe")
    refused("cannot be the name", "importreadings", RECORD=record, KIND="seed_depths",
            SOURCE=source(SEEDS), SAVE_AS="../evil")
    refused("no JSON", "importreadings", RECORD=record, KIND="seed_depths", SOURCE=source(odd),
            MAPPING="{")


def test_the_same_file_read_in_other_units_is_refused_while_its_readings_are_there(
        run, refused, record, source):
    path = source(f"Stop,Lon,Lat,Depth\n1,{A},5\n")

    def told(unit):
        return json.dumps({"columns": [
            {"header": "Stop", "target": "stop"}, {"header": "Lon", "target": "x"},
            {"header": "Lat", "target": "y"}, {"header": "Depth", "target": "depth",
                                               "unit": unit}]})
    run("importreadings", RECORD=record, KIND="seed_depths", SOURCE=path, MAPPING=told("in"))
    refused("was imported before, as seeds.csv on .* with other columns, units or answers",
            "importreadings", RECORD=record, KIND="seed_depths", SOURCE=path, MAPPING=told("cm"))
    data = ogr.Open(str(record), 1)
    data.GetLayer("seed_depths").DeleteFeature(1)
    data = None
    found = run("importreadings", RECORD=record, KIND="seed_depths", SOURCE=path,
                MAPPING=told("cm"))
    assert found["IMPORTED"] == 1 and depths(record)[0][1] == pytest.approx(5 / 2.54, rel=1e-12)


def test_the_same_columns_in_another_order_are_the_same_way_to_read(run, record, source):
    path = source(SEEDS)
    first = run("importreadings", RECORD=record, KIND="seed_depths", SOURCE=path)
    told = json.loads(first["MAPPING_USED"])
    told["columns"].reverse()
    path.write_text(SEEDS, encoding="utf-8")
    again = run("importreadings", RECORD=record, KIND="seed_depths", SOURCE=path,
                MAPPING=json.dumps(told))
    assert (again["IMPORTED"], again["SET_ASIDE"]) == (0, 2)
    one = ogr.Open(str(record), 1)
    one.GetLayer("seed_depths").DeleteFeature(2)
    one = None
    back = run("importreadings", RECORD=record, KIND="seed_depths", SOURCE=path,
               MAPPING=json.dumps(told))
    assert (back["IMPORTED"], back["SET_ASIDE"]) == (1, 1)


def test_a_column_without_a_unit_is_taken_in_the_records_and_said_so(run, record, source):
    run("importreadings", RECORD=record, KIND="seed_depths",
        SOURCE=source(f"Stop,Lon,Lat,Depth\n1,{A},2\n"))
    assert any("no unit is given for Depth (in); the record's was taken" in one
               for one in run.warnings)


def test_cancelled_half_way_nothing_is_there(run, record, source, cancelling):
    many = source("Stop,Lon,Lat,Depth (in)\n" + "".join(
        f"{n},{A},{1 + n % 7 / 4}\n" for n in range(30_000)))
    for percent in (5, 45, 70):
        before = sha256(record)
        found = run("importreadings", feedback=cancelling(percent), RECORD=record,
                    KIND="seed_depths", SOURCE=many)
        assert "IMPORTED" not in found and sha256(record) == before
        assert [path.name for path in record.parent.iterdir()] == ["call.gpkg"]


def test_a_record_that_another_program_writes_is_left_alone(refused, record, source):
    import sqlite3
    from contextlib import closing
    from unittest.mock import patch

    from plugin.record.intake import batch
    with closing(sqlite3.connect(record, isolation_level=None)) as other, \
            patch.object(batch, "WAIT_S", 0.1):
        other.execute("BEGIN IMMEDIATE")
        refused("is being written to or read by another program. Save or end the edits in QGIS",
                "importreadings", RECORD=record, KIND="seed_depths", SOURCE=source(SEEDS))
        other.execute("ROLLBACK")
    assert depths(record) == []
