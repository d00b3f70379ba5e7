"""standatstops, panatinsertions and cleanyield, through Processing."""
import json
import math
import shutil

import pytest
from osgeo import gdal, ogr

from plugin.record.write import append_rows
from tests.algorithms.small_calls import (
    FACTORS,
    GROUND_M2,
    SOUTH,
    WEST,
    change_rows,
    insertion_rows,
    make_call,
    profile_of,
    sha256,
    stand_rows,
    stops,
)

OUTPUTS = {"standatstops": {"OBSERVATIONS", "ACCOUNT", "STOPS", "LEFT_OUT"},
           "panatinsertions": {"OBSERVATIONS", "ACCOUNT", "STOPS", "WITH_PAN", "LEFT_OUT"},
           "cleanyield": {"CLEANED", "REMOVED", "ACCOUNT", "KEPT", "LEFT_OUT"}}
POINTS = {"standatstops": "OBSERVATIONS", "panatinsertions": "OBSERVATIONS",
          "cleanyield": "CLEANED"}


def rows_of(path):
    """Rows of the only layer, by OGR alone, with x and y."""
    data = gdal.OpenEx(str(path), gdal.OF_VECTOR)
    layer = data.GetLayer(0)
    assert layer.GetSpatialRef().GetAuthorityCode(None) == "32615"
    return [{**feature.items(), "x": feature.GetGeometryRef().GetX(),
             "y": feature.GetGeometryRef().GetY()} for feature in layer]


def declared(provider, name):
    return {one.name() for one in provider.algorithm(name).outputDefinitions()}


@pytest.mark.parametrize("units,unit", [("us", "plants/ac"), ("metric", "plants/ha")])
def test_stand_at_the_stops(run, provider, calls, out, units, unit):
    found = run("standatstops", RECORD=calls(units), OBSERVATIONS=out / "s.gpkg",
                ACCOUNT=out / "s.json")
    assert set(found) == declared(provider, "standatstops") == OUTPUTS["standatstops"]
    assert (found["STOPS"], found["LEFT_OUT"]) == (24, 0) and run.warnings == []
    rows = rows_of(out / "s.gpkg")
    assert [(row["x"], row["y"]) for row in rows] == stops()
    plants = [round((7 if x < 500103 else 3.5) * GROUND_M2) for x, _ in stops()]
    assert [row["plants"] for row in rows] == plants
    # Converted there and back: rounding alone.
    assert [row["population"] for row in rows] == pytest.approx(
        [count / GROUND_M2 * FACTORS[units]["area"] for count in plants], rel=1e-9)
    assert {row["unit"] for row in rows} == {unit} and {row["counts"] for row in rows} == {1}
    share = sum(plants) / (24 * GROUND_M2) / 8.4  # of 8.4 seeds per m2 came up
    mean = sum(plants) / 24  # the error of every count is that of the mean one
    assert [row["error"] for row in rows] == pytest.approx(
        [math.sqrt(mean * (1 - share)) / GROUND_M2 * FACTORS[units]["area"]] * 24, rel=1e-9)
    account = json.loads((out / "s.json").read_text())
    assert account["stops"] == 24 and account["plants"] == sum(plants)
    assert account["error_source"] == "seeds dropped" and account["unit"] == unit


@pytest.mark.parametrize("units,depth,pressure", [("us", "in", "psi"), ("metric", "cm", "kPa")])
def test_pan_at_the_insertions(run, provider, calls, out, units, depth, pressure):
    found = run("panatinsertions", RECORD=calls(units), OBSERVATIONS=out / "p.gpkg",
                ACCOUNT=out / "p.json")
    assert set(found) == declared(provider, "panatinsertions") == OUTPUTS["panatinsertions"]
    assert (found["STOPS"], found["WITH_PAN"], found["LEFT_OUT"]) == (24, 14, 0)
    one = FACTORS[units]
    for row, (_, y) in zip(rows_of(out / "p.gpkg"), stops()):
        assert (row["unit"], row["peak_unit"], row["insertions"]) == (depth, pressure, 1)
        if y > SOUTH + 90:
            assert (row["pan"], row["kind"]) == (1.0, "pan")
            assert [row[name] for name in ("top", "bottom", "thickness", "peak")] == pytest.approx(
                [0.225 / one["depth"], 0.325 / one["depth"], 0.1 / one["depth"],
                 3200 / one["pressure"]], rel=1e-9)
            assert not row["top_censor"] and not row["bottom_censor"]
        else:
            # To 50 cm nothing was met, and the tool goes to 45: there is none within its reach.
            assert (row["pan"], row["kind"], row["top_censor"]) == (0.0, "none", "above")
            assert row["top"] == pytest.approx(0.5 / one["depth"], rel=1e-9)
            assert row["bottom"] is None and row["thickness"] is None and row["peak"] is None
    account = json.loads((out / "p.json").read_text())
    assert (account["insertions"], account["with_pan"], account["none"]) == (24, 14, 10)
    assert account["pressure_unit"] == pressure
    assert account["limit"] == pytest.approx(2000 / one["pressure"])


def test_limit_and_reach_are_in_the_records_units(run, calls, out):
    # At 3000 kPa: 800 to 3200 over 5 cm passes it at 2200 / 2400 of the step.
    run("panatinsertions", RECORD=calls("metric"), LIMIT=3000.0, REACH=23.0,
        OBSERVATIONS=out / "p.gpkg")
    north = [row for row in rows_of(out / "p.gpkg") if row["y"] > SOUTH + 90]
    assert {round(row["top"], 9) for row in north} == {round(20 + 5 * 2200 / 2400, 9)}  # 24.6
    assert {row["pan"] for row in north} == {0.0}  # it lies deeper than 23 cm
    assert run("panatinsertions", RECORD=calls("metric"), LIMIT=3300.0,
               OBSERVATIONS=out / "none.gpkg")["WITH_PAN"] == 0


def test_pressures_that_look_like_another_unit_pass_once_they_are_checked(
        run, refused, tmp_path, out):
    soft = make_call(tmp_path / "soft.gpkg", "metric", insertions=insertion_rows(),
                     profiles=[profile_of(None, None, soft=300.0)] * 24)
    refused("profiles peak at 300 kPa or more", "panatinsertions", RECORD=soft,
            OBSERVATIONS=out / "p.gpkg")
    assert list(out.iterdir()) == []
    found = run("panatinsertions", RECORD=soft, UNITS_CHECKED=True, OBSERVATIONS=out / "p.gpkg")
    assert (found["STOPS"], found["WITH_PAN"]) == (24, 0)


def yield_call(path, units="us", rows=None):
    """A record of 6 passes of 30 records each, 3 t of wet maize an hour and hectare apart."""
    make_call(path, units)
    one = FACTORS[units]
    made = [{"x": WEST + 15 + 5 * step, "y": SOUTH + 20 + 12 * number, "season": 2025,
             "crop": "corn", "flow": (11.0 + 0.02 * step) / one["mass"], "moisture": 18.0,
             "interval_s": 2.0, "distance": 5.0 / one["length"], "swath": 6.0 / one["length"],
             "pass_number": number} for number in range(6) for step in range(30)]
    for number, change in (rows or {}).items():
        made[number].update(change)
    append_rows(path, "yield_points", made)
    return path


def test_yield_records_are_cleaned_and_none_is_lost(run, provider, tmp_path, out):
    lb_s = 1 / FACTORS["us"]["mass"]
    path = yield_call(tmp_path / "y.gpkg", rows={
        40: {"flow": 0.0}, 70: {"swath": 2.0 / 0.3048}, 100: {"moisture": 60.0},
        130: {"flow": 90.0 * lb_s}, 160: {"x": WEST - 30}})
    found = run("cleanyield", RECORD=path, SEASON=2025, CLEANED=out / "y.gpkg",
                REMOVED=out / "r.gpkg", ACCOUNT=out / "y.json")
    assert set(found) == declared(provider, "cleanyield") == OUTPUTS["cleanyield"]
    kept, removed = rows_of(out / "y.gpkg"), rows_of(out / "r.gpkg")
    assert found["KEPT"] == len(kept) and found["LEFT_OUT"] == len(removed)
    assert len(kept) + len(removed) == 180
    reasons = [row["reason"] for row in removed]
    # 4 s at either end of 6 passes are two records each.
    assert reasons.count("start or end of a pass") == 24
    for reason in ("no yield", "narrow swath", "moisture out of range", "yield out of range",
                   "outside the field"):
        assert reasons.count(reason) == 1, reason
    account = json.loads((out / "y.json").read_text())
    assert account["records"] == 180 and account["kept"] == len(kept)
    assert sum(account["left_out"].values()) == len(removed)
    # 22.6 kg in 2 s, half way along, on 30 m2; 82 % dry to 84.5 %; 25.4 kg a bushel.
    dry = (11.0 + 0.02 * 15) * 2 / 30 * 82 / 84.5 * FACTORS["us"]["area"] / FACTORS["us"]["grain"]
    at = [row for row in kept if row["x"] == WEST + 15 + 5 * 15]
    assert [row["yield"] for row in at] == pytest.approx([dry] * len(at), rel=1e-9) and at
    assert {(row["unit"], row["reason"]) for row in kept} == {("bu/ac", "kept")}


def test_a_season_that_is_not_there_is_refused(refused, tmp_path, out):
    path = yield_call(tmp_path / "y.gpkg")
    refused("yield_points holds no record of 2020; it holds 2025", "cleanyield", RECORD=path,
            SEASON=2020, CLEANED=out / "y.gpkg", REMOVED=out / "r.gpkg")
    assert list(out.iterdir()) == []


@pytest.fixture(scope="module")
def yields(qgis_app, tmp_path_factory):
    return yield_call(tmp_path_factory.mktemp("yields") / "y.gpkg")


def inputs(name, calls, yields):
    return {"RECORD": yields, "SEASON": 2025} if name == "cleanyield" else {"RECORD": calls("us")}


@pytest.mark.parametrize("name", OUTPUTS)
def test_a_cancelled_run_returns_nothing_and_leaves_nothing(
        run, cancelling, calls, yields, out, name):
    feedback = cancelling(-1)
    feedback.cancel()
    given = {**inputs(name, calls, yields), POINTS[name]: out / "o.gpkg"}
    assert run(name, feedback, **given) == {}
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("name", OUTPUTS)
def test_a_second_run_replaces_the_first(run, calls, yields, out, name):
    for _ in range(2):
        run(name, **inputs(name, calls, yields), **{POINTS[name]: out / "o.gpkg"})
    assert [path.name for path in out.iterdir()] == ["o.gpkg"]
    assert len(rows_of(out / "o.gpkg")) > 0


@pytest.mark.parametrize("name", OUTPUTS)
@pytest.mark.parametrize("end,driver", [("shp", "ESRI Shapefile"), ("geojson", "GeoJSON")])
def test_other_formats_hold_the_same_rows(run, calls, yields, out, name, end, driver):
    run(name, **inputs(name, calls, yields), **{POINTS[name]: out / "a.gpkg"})
    run(name, **inputs(name, calls, yields), **{POINTS[name]: out / f"b.{end}"})
    data = ogr.Open(str(out / f"b.{end}"))
    assert data.GetDriver().GetName() == driver
    assert [(row["x"], row["y"]) for row in rows_of(out / f"b.{end}")] == [
        (row["x"], row["y"]) for row in rows_of(out / "a.gpkg")]


@pytest.mark.parametrize("name", OUTPUTS)
@pytest.mark.parametrize("target,words", [
    ("o.csv", r"o\.csv: give the output a file name that ends in \.gpkg"),
    ("o", "give the output a file name that ends in|not supported|Incorrect"),
    ("gone/o.gpkg", r"o\.gpkg cannot be written to .*gone: No such file")])
def test_an_output_that_cannot_be_written_is_refused(
        refused, calls, yields, out, name, target, words):
    refused(words, name, **inputs(name, calls, yields), **{POINTS[name]: out / target})
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("name,words", [
    ("standatstops", "stand_counts holds no reading"),
    ("panatinsertions", "compaction_readings holds no reading"),
    ("cleanyield", "yield_points holds no record of 2025; it holds none")])
def test_an_empty_record_is_refused(refused, tmp_path, out, name, words):
    path = make_call(tmp_path / "e.gpkg")
    before = path.read_bytes()
    extra = {"SEASON": 2025} if name == "cleanyield" else {}
    refused(words, name, RECORD=path, **extra, **{POINTS[name]: out / "o.gpkg"})
    assert list(out.iterdir()) == [] and path.read_bytes() == before
    assert [one.name for one in tmp_path.iterdir() if one != out] == ["e.gpkg"]


@pytest.mark.parametrize("name", OUTPUTS)
def test_a_record_in_degrees_or_feet_and_what_is_no_record_are_refused(
        refused, calls, tmp_path, out, name):
    extra = {"SEASON": 2025} if name == "cleanyield" else {}
    for epsg, words in ((4326, "WGS 84, which does not count in metres"),
                        (2236, r"Florida East \(ftUS\), which does not count in metres")):
        path = tmp_path / f"{epsg}.gpkg"
        with_crs(calls("us"), path, epsg)
        refused(words, name, RECORD=path, **extra, **{POINTS[name]: out / "o.gpkg"})
    (tmp_path / "words.gpkg").write_text("no record")
    refused("words.gpkg is not a GeoPackage that can be read", name, RECORD=tmp_path / "words.gpkg",
            **extra, **{POINTS[name]: out / "o.gpkg"})
    assert list(out.iterdir()) == []


def with_crs(source, path, epsg):
    """Copy a record and write another CRS over its own, as a wrong tool would."""
    import sqlite3
    from contextlib import closing

    from osgeo import osr
    shutil.copyfile(source, path)
    reference = osr.SpatialReference()
    reference.ImportFromEPSG(epsg)
    with closing(sqlite3.connect(path)) as database:
        database.execute("UPDATE gpkg_spatial_ref_sys SET definition = ?, srs_name = ?, "
                         "organization_coordsys_id = ? WHERE srs_id = 32615",
                         (reference.ExportToWkt(), reference.GetName(), epsg))
        database.commit()


def test_one_stop_is_enough_for_an_observation(run, tmp_path, out):
    one = stops()[:1]
    path = make_call(tmp_path / "one.gpkg", stands=stand_rows(places=one),
                     insertions=insertion_rows(one), profiles=[profile_of(0.225, 0.325)])
    assert run("standatstops", RECORD=path, OBSERVATIONS=out / "s.gpkg")["STOPS"] == 1
    assert run("panatinsertions", RECORD=path, OBSERVATIONS=out / "p.gpkg")["WITH_PAN"] == 1


def test_what_is_left_out_is_counted_and_told(run, calls, tmp_path, out):
    path = tmp_path / "null.gpkg"
    shutil.copyfile(calls("us"), path)
    change_rows(path, "stand_counts", lambda row: {"plants": None} if row.GetFID() < 4 else None)
    found = run("standatstops", RECORD=path, OBSERVATIONS=out / "s.gpkg")
    assert (found["STOPS"], found["LEFT_OUT"]) == (21, 3)
    assert run.warnings == ["stand_counts, rows 1, 2, 3: there is no count of plants. Enter "
                            "plants, or the rows in row_counts. Left out."]


def test_no_output_takes_the_place_of_the_record_or_of_another_output(refused, tmp_path, out):
    path = make_call(tmp_path / "call.gpkg", stands=stand_rows())
    before = sha256(path)
    refused("call.gpkg is what Field record names", "standatstops", RECORD=path,
            OBSERVATIONS=path)
    refused("o.gpkg is what .* names", "standatstops", RECORD=path,
            OBSERVATIONS=out / "o.gpkg", ACCOUNT=out / "o.gpkg")
    other = make_call(tmp_path / "other.gpkg")
    kept = sha256(other)
    refused("other.gpkg is a field record, and a record is never overwritten", "standatstops",
            RECORD=path, OBSERVATIONS=other)
    assert (sha256(path), sha256(other)) == (before, kept) and list(out.iterdir()) == []
