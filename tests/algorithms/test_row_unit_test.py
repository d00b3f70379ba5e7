"""rowunittest, through Processing."""
import json

import pytest
from osgeo import gdal

from plugin.record.write import append_rows
from tests.algorithms.small_calls import FACTORS, change_rows, make_call, sha256, stops

UNITS, FAULTY, LENGTH_M = 8, 5, 5.31
POSITIONS_M = (0.0, 0.17, 0.34, 0.37, 0.51, 0.85, 1.02)  # one double, one skip at 0.156 m


@pytest.fixture
def rows_call(tmp_path):
    """Return rows_call(units): 24 stops with all rows of an 8-row planter, unit 5 a sixth short."""
    def made(units="us", taped=True):
        one = FACTORS[units]
        path = make_call(tmp_path / f"{units}.gpkg", units)
        ids = append_rows(path, "stand_counts", [
            {"x": x, "y": y, "stop": number, "method": "row_length", "rows": UNITS,
             "length": LENGTH_M / one["length"]} for number, (x, y) in enumerate(stops(), 1)])
        append_rows(path, "row_counts", [
            {"of_stop": stop, "row_unit": unit,
             "plants": (25 if unit == FAULTY else 30) + (number + 3 * unit) % 4}
            for number, stop in enumerate(ids) for unit in range(1, UNITS + 1)])
        if taped:
            append_rows(path, "plant_positions", [
                {"of_stop": ids[0], "row_unit": FAULTY, "position": at / one["depth"]}
                for at in POSITIONS_M])
        return path
    return made


def table_of(path):
    data = gdal.OpenEx(str(path))
    layer = data.GetLayer(0)
    assert layer.GetGeomType() == 100  # ogr.wkbNone: a plain table
    return {feature["row_unit"]: feature.items() for feature in layer}


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_short_unit_is_found_and_the_spacings_are_in_the_records_unit(
        run, provider, rows_call, out, units):
    record = rows_call(units)
    before = sha256(record)
    found = run("rowunittest", RECORD=record, ROW_UNITS=out / "u.gpkg", ACCOUNT=out / "u.json")
    assert set(found) == {one.name() for one in
                          provider.algorithm("rowunittest").outputDefinitions()}
    assert found["P"] <= 0.001 and found["LEFT_OUT"] == 0 and sha256(record) == before
    rows = table_of(out / "u.gpkg")
    assert sorted(rows) == list(range(1, UNITS + 1)) and {r["rows"] for r in rows.values()} == {24}
    # 5 plants of a mean of 30 + 1.5 - 5 / 8
    assert rows[FAULTY]["difference"] == pytest.approx(-100 * 5 / 30.875, abs=0.01)
    assert rows[FAULTY]["high"] < 0 and all(
        row["low"] < 0 < row["high"] for unit, row in rows.items() if unit != FAULTY)
    account = json.loads((out / "u.json").read_text())
    assert f"Row unit {FAULTY} stands 16 % below" in account["verdict"] == found["VERDICT"]
    taped = rows[FAULTY]
    # set to 1 / (8.4 x 0.762) = 0.15623 m; spacings .17 .17 .03 .14 .34 .17
    assert taped["spacings"] == 6 and taped["multiples"] == pytest.approx(100 / 6)
    assert taped["misses"] == pytest.approx(100 / 6) and taped["quality"] == pytest.approx(400 / 6)
    assert taped["deviation"] * FACTORS[units]["depth"] == pytest.approx(
        (0.0494 / 5)**0.5)  # squares of 0.14, 0.03 and 0.17 over 5
    assert rows[1]["spacings"] is None
    assert {row["compared_in"] for row in rows.values()} == {1}
    assert {row["unit"] for row in account["spacings"]} == {{"us": "in", "metric": "cm"}[units]}


def test_rows_that_cannot_be_used_are_named_and_counted(run, rows_call, out):
    record = rows_call(taped=False)
    change_rows(record, "row_counts", lambda row: {
        3: {"row_unit": None}, 9: {"plants": None}, 12: {"of_stop": "gone"}}.get(row.GetFID()))
    found = run("rowunittest", RECORD=record, ROW_UNITS=out / "u.gpkg")
    assert found["LEFT_OUT"] == 3
    assert [(f"row {fid}" in words, what in words) for words, fid, what in zip(
        run.warnings, (12, 3, 9), ("of_stop", "row unit", "count of plants"))] == [(True, True)] * 3


def test_a_length_of_the_stop_stands_in_for_one_of_the_row(run, rows_call, out):
    record = rows_call(taped=False)
    one = FACTORS["us"]
    change_rows(record, "row_counts", lambda row: {"length": 2 * LENGTH_M / one["length"]}
                if row["row_unit"] == 1 else None)
    run("rowunittest", RECORD=record, ROW_UNITS=out / "u.gpkg")
    assert table_of(out / "u.gpkg")[1]["difference"] < -30  # the same plants on twice the row


@pytest.mark.parametrize(("change", "words"), [
    (lambda row: {"row_unit": None}, "None of 192 counted rows can be used"),
    (lambda row: {"row_unit": 1}, "No stop has rows of two row units"),
    (lambda row: {"plants": 0}, "No plant was counted")])
def test_what_cannot_be_compared_is_refused_and_nothing_is_left(refused, rows_call, out, change,
                                                                words):
    record = rows_call(taped=False)
    change_rows(record, "row_counts", change)
    refused(words, "rowunittest", RECORD=record, ROW_UNITS=out / "u.gpkg", ACCOUNT=out / "u.json")
    assert not list(out.iterdir())


def test_a_record_without_single_rows_is_refused(refused, calls, out):
    refused("row_counts holds no row", "rowunittest", RECORD=calls(), ROW_UNITS=out / "u.gpkg")
    assert not list(out.iterdir())


def test_taped_plants_without_the_seeds_planted_are_refused_in_words(refused, rows_call, out):
    record = rows_call()
    change_rows(record, "field", lambda row: {"seeds_planted": None})
    refused("Seeds planted is empty", "rowunittest", RECORD=record, ROW_UNITS=out / "u.gpkg")


def test_a_cancelled_test_leaves_nothing(run, rows_call, out, cancelling):
    assert run("rowunittest", cancelling(10), RECORD=rows_call(), ROW_UNITS=out / "u.gpkg") == {}
    assert not list(out.iterdir())
