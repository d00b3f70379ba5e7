"""soilatprobes and scouting, through Processing, and what a field call makes of the notes."""
import json

import pytest
from osgeo import gdal

from plugin.record.probe_readings import QUANTITIES
from plugin.record.write import append_rows
from tests.algorithms.small_calls import SOUTH, WEST, make_call, sha256

PLACE = {"x": WEST + 50, "y": SOUTH + 50}


def samples(path):
    append_rows(path, "probe_points", [
        {**PLACE, "bottom_depth": 12.0, "nitrate_n_ppm": 15.0},
        {**PLACE, "bottom_depth": 7.0, "nitrate_n_ppm": 30.0, "ph": 6.1, "ph_method": "meter"}])
    return path


def notes(path):
    append_rows(path, "scout_notes", [
        {**PLACE, "stop": 3, "subject": "disease", "plants_checked": 20, "plants_affected": 5}])
    append_rows(path, "seed_depths", [{**PLACE, "stop": 3, "depth": 2.0, "emerged": True}])
    return path


@pytest.fixture
def record(qgis_app, tmp_path):
    return make_call(tmp_path / "a.gpkg")


@pytest.mark.parametrize("result,value,error,method,bottom", [
    ("nitrate_n_ppm", 15.0, 0.0, "laboratory", 12.0), ("ph", 6.1, 0.25, "meter", 7.0)])
def test_a_result_goes_out_as_points_with_its_error(
        run, provider, record, out, result, value, error, method, bottom):
    before = sha256(samples(record))
    found = run("soilatprobes", RECORD=record, RESULT=list(QUANTITIES).index(result),
                OBSERVATIONS=out / "o.gpkg", ACCOUNT=out / "o.json")
    assert set(found) == {one.name() for one in
                          provider.algorithm("soilatprobes").outputDefinitions()}
    assert (found["USED"], found["LEFT_OUT"]) == (1, 1 if result == "nitrate_n_ppm" else 0)
    assert len(run.warnings) == found["LEFT_OUT"] and sha256(record) == before
    data = gdal.OpenEx(str(out / "o.gpkg"), gdal.OF_VECTOR)
    row, = data.GetLayer(0)
    assert (row["value"], row["error"], row["method"]) == (value, error, method)
    assert row["bottom"] == pytest.approx(bottom, rel=1e-9)  # there and back in metres
    assert row.GetGeometryRef().GetX() == PLACE["x"]
    account = json.loads((out / "o.json").read_text(encoding="utf-8"))
    assert account["mean"]["value"] == value and account["methods"] == f"{method} 1"


def test_what_was_seen_goes_out_as_the_summary_has_it(run, provider, record, out):
    notes(record)
    found = run("scouting", RECORD=record, ACCOUNT=out / "seen.json")
    assert set(found) == {one.name() for one in provider.algorithm("scouting").outputDefinitions()}
    assert (found["NOTES"], found["SEEDS"], found["PHOTOS"]) == (1, 1, 0)
    account = json.loads((out / "seen.json").read_text(encoding="utf-8"))
    assert account["subjects"][0]["counted_incidence"]["text"] == "25 %"


@pytest.mark.parametrize("algorithm,output,words", [
    ("soilatprobes", "OBSERVATIONS", "probe_points holds no Nitrate nitrogen"),
    ("scouting", "ACCOUNT", "holds no scouting notes, no seeds dug")])
def test_an_empty_record_is_refused_and_nothing_is_written(
        refused, record, out, algorithm, output, words):
    refused(words, algorithm, RECORD=record, **{output: out / "o.gpkg"})
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("algorithm,output", [("soilatprobes", "OBSERVATIONS"),
                                              ("scouting", "ACCOUNT")])
def test_a_cancelled_run_leaves_nothing(run, record, out, cancelling, algorithm, output):
    notes(samples(record))
    found = run(algorithm, feedback=cancelling(10), RECORD=record, **{output: out / "o.gpkg"})
    assert not found.get("USED") and list(out.iterdir()) == []


def test_a_record_of_notes_alone_becomes_a_report(run, record, out):
    samples(notes(record))
    run("fieldcall", RECORD=record, OUTPUT_FOLDER=out / "results")
    summary = json.loads((out / "results" / "summary.json").read_text(encoding="utf-8"))
    assert summary["seen"]["seeds"]["mean"]["text"] == "2.0 in"
    assert summary["stand"] is None
    nitrate, ph = summary["soil"]
    assert (nitrate["mean"]["text"], nitrate["left_out"]["text"], nitrate["depth"]["text"]) == (
        "15.0 ppm", "1", "12.0 in")
    assert "only 7 in" in nitrate["warnings"][0] and ph["mean"]["text"] == "6.1"
    assert (out / "results" / "report.pdf").stat().st_size > 5000
