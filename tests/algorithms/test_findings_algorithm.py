"""findings, through Processing, and what a field call makes of them."""
import json

import pytest
from osgeo import gdal

from plugin.record.write import append_rows
from tests.algorithms.small_calls import make_call, sha256, stand_rows, stops

CAUSES = ["Planter row unit", "Seed depth", "Compaction", "Crusting or wet place", "Nitrogen",
          "Soil pH", "Insects", "Disease", "Wheel tracks and headland"]
COLUMNS = ["cause", "verdict", "for", "against", "test", "strength", "p", "adjusted_p",
           "not_looked", "next_step"]
NITRATE = 12.0, 20.0


@pytest.fixture
def record(qgis_app, tmp_path):
    """A stand that falls and rises with the nitrate, from stop to stop."""
    path = make_call(tmp_path / "a.gpkg", stands=[
        {**row, "plants": round(40 + 3 * (7 * number % 24) + number % 2)}
        for number, row in enumerate(stand_rows())])
    append_rows(path, "probe_points", [
        {"x": x, "y": y, "bottom_depth": 12.0, "nitrate_n_ppm": NITRATE[0] + 7 * number % 24}
        for number, (x, y) in enumerate(stops())])
    return path


def rows_of(path):
    data = gdal.OpenEx(str(path))
    layer = data.GetLayer(0)
    assert layer.GetGeomType() == 100  # ogr.wkbNone: a plain table
    return [feature.items() for feature in layer]


@pytest.mark.parametrize("extension", ["gpkg", "geojson"])
def test_each_cause_is_a_row_and_the_true_one_is_pointed_to(run, provider, record, out,
                                                            extension):
    before = sha256(record)
    found = run("findings", RECORD=record, FINDINGS=out / f"f.{extension}", ACCOUNT=out / "f.json")
    assert set(found) == {one.name() for one in
                          provider.algorithm("findings").outputDefinitions()}
    assert sha256(record) == before and run.warnings == []
    data = gdal.OpenEx(str(out / f"f.{extension}"))
    rows = [feature.items() for feature in data.GetLayer(0)]
    assert [row["cause"] for row in rows] == CAUSES
    assert all(list(row)[-len(COLUMNS):] == COLUMNS for row in rows)
    nitrogen = rows[4]
    assert nitrogen["verdict"] == "consistent" and nitrogen["adjusted_p"] < 0.05
    assert "The stand is lower where nitrate is lower" in nitrogen["for"]
    assert rows[5]["verdict"] == "not looked at" and rows[5]["p"] is None
    account = json.loads((out / "f.json").read_text(encoding="utf-8"))
    assert (found["TESTS"], found["CONSISTENT"], found["HEADLINE"]) == (
        account["tests"], 1, account["headline"])
    assert account["headline"] == "The readings are consistent with: nitrogen."
    assert found["NOT_LOOKED_AT"] == sum(row["verdict"] == "not looked at" for row in rows)


def test_an_empty_record_makes_a_table_of_what_to_look_at(run, qgis_app, tmp_path, out):
    found = run("findings", RECORD=make_call(tmp_path / "e.gpkg"), FINDINGS=out / "f.gpkg")
    rows = rows_of(out / "f.gpkg")
    assert len(rows) == found["NOT_LOOKED_AT"] == 9 and found["TESTS"] == 0
    assert all(row["not_looked"] and row["next_step"] and not row["for"] for row in rows)
    assert found["HEADLINE"] == "Nothing could be tested: too little was looked at."


def test_a_file_that_is_no_record_and_a_negative_headland_are_refused(refused, record, out):
    (out.parent / "no.gpkg").write_bytes(b"nothing")
    refused("not a GeoPackage", "findings", RECORD=out.parent / "no.gpkg", FINDINGS=out / "f.gpkg")
    refused("HEADLAND_WIDTH|Headland", "findings", RECORD=record, HEADLAND_WIDTH=-1.0,
            FINDINGS=out / "f.gpkg")
    refused("ends in .gpkg", "findings", RECORD=record, FINDINGS=out / "f.xyz")
    refused("shapefile has no room", "findings", RECORD=record, FINDINGS=out / "f.shp")
    assert not list(out.iterdir())


def test_a_cancelled_run_leaves_nothing(run, record, out, cancelling):
    assert run("findings", cancelling(10), RECORD=record, FINDINGS=out / "f.gpkg") == {}
    assert not list(out.iterdir())


def test_a_field_call_tells_the_findings_in_summary_and_report(run, record, out):
    run("fieldcall", RECORD=record, OUTPUT_FOLDER=out / "results")
    summary = json.loads((out / "results" / "summary.json").read_text(encoding="utf-8"))
    assert summary["findings"]["headline"] == "The readings are consistent with: nitrogen."
    assert [one["title"] for one in summary["findings"]["causes"]] == CAUSES
