"""replantplan, tillageplan and ratefile, through Processing."""
import datetime
import json

import pytest
import shapely
from osgeo import gdal, ogr
from shapely.affinity import translate

from plugin.layers.json_files import DOMAIN
from tests.algorithms.small_calls import (
    AREA_M2,
    FACTORS,
    SOUTH,
    field_of,
    make_call,
)
from tests.algorithms.small_surfaces import FIELD, write_by_hand

UNITS = {"us": ("ac", "in", "plants/ac"), "metric": ("ha", "cm", "plants/ha")}


def rows_in(path):
    data = gdal.OpenEx(str(path))
    return [(row.items(), shapely.from_wkb(bytes(row.GetGeometryRef().ExportToWkb())))
            for row in data.GetLayer(0)]


def stand_in(folder, units, west=8.0, east=2.0, error=0.1):
    """A stand of so many plants per m2 in the west and the east, in the record's unit."""
    area = FACTORS[units]["area"]
    model = {"family": "exponential", "nugget": 0.0, "partial_sill": area**2, "range_m": 200.0}
    return write_by_hand(folder / f"stand_{units}.tif", unit=UNITS[units][2], error=error * area,
                         model=model,
                         value=lambda x, y: (west if x < 500_100 else east) * area)


def pan_in(folder, units, bottom_m=lambda x, y: 0.325):
    """Bottom of the pan with 1 cm of error, and a chance of 1 in the north and 0 in the south."""
    depth = FACTORS[units]["depth"]
    return {
        "BOTTOM": write_by_hand(folder / f"bottom_{units}.tif", unit=UNITS[units][1],
                                error=0.01 / depth, name="Bottom of the pan",
                                value=lambda x, y: bottom_m(x, y) / depth),
        "CHANCE": write_by_hand(folder / f"chance_{units}.tif", unit="", name="Chance of a pan",
                                value=lambda x, y: float(y > 4_400_100))}


@pytest.fixture
def record(tmp_path):
    """Return record(units, **changes): a record with that field row and nothing else."""
    def made(units="us", **changes):
        return make_call(tmp_path / f"{units}.gpkg", units, field=changes)
    return made


def test_a_thin_half_is_replanted_and_a_full_one_kept(run, provider, record, tmp_path, out):
    found = run("replantplan", RECORD=record(), STAND=stand_in(tmp_path, "us"), PLAN=out / "p.gpkg",
                ACCOUNT=out / "p.json")
    assert set(found) == {one.name() for one in provider.algorithm("replantplan")
                          .outputDefinitions()}
    rows = rows_in(out / "p.gpkg")
    assert sorted(row["action"] for row, _ in rows) == ["keep", "replant"]
    (keep, west), (replant, east) = sorted(rows, key=lambda pair: pair[0]["action"])
    acre = FACTORS["us"]["area"]
    assert west.area == pytest.approx(97 * 200, rel=1e-9)  # the field west of 500100
    assert east.area == pytest.approx(AREA_M2 - 97 * 200, rel=1e-9)
    assert shapely.union(west, east).symmetric_difference(FIELD).area < 1e-5  # rounding
    assert (keep["rate"], keep["gain"], keep["rate_unit"]) == (0, 0, "seeds/ac")
    # 8 plants per m2 wanted, of which 95 % come up.
    assert replant["rate"] == pytest.approx(8 / 0.95 * acre, rel=1e-6)
    assert replant["area"] == pytest.approx(east.area / acre, rel=1e-9)
    assert replant["gain"] == pytest.approx(replant["gain_area"] * replant["area"], rel=1e-9)
    assert replant["gain_low"] < replant["gain"] < replant["gain_high"]
    assert replant["chance"] > 0.99 and keep["chance"] < 0.01
    assert found["REPLANTED"] == pytest.approx(replant["area"]) and found["GAIN"] == replant["gain"]
    account = json.loads((out / "p.json").read_text())
    assert account["headline"].startswith("Replant 4.8 ac of 9.6 ac: expected gain USD ")
    assert account["sources"] and account["cautions"]
    assert 2 < account["break_even"]["value"] / acre < 8
    settings = {one["name"]: one["figure"]["text"] for one in account["settings"]}
    # As the field's form calls them; the record leaves the payment empty, and the seeds per unit
    # have a default.
    assert settings["Cost of planting again"].startswith("USD ")
    assert (settings["Insurance payment"], settings["Seeds per unit"]) == (
        "not entered", "80,000 seeds/seed unit")
    assert settings["Yield table"] == "Corn yield by planting date and stand, Illinois"


def test_the_money_does_not_depend_on_the_units(run, record, tmp_path, out):
    gains = {}
    for units, (area, _, _) in UNITS.items():
        run("replantplan", RECORD=record(units), STAND=stand_in(tmp_path, units),
            PLAN=out / f"{units}.gpkg")
        run("tillageplan", RECORD=record(units), **pan_in(tmp_path, units),
            PLAN=out / f"{units}_t.gpkg")
        rows = [row for name in (units, f"{units}_t") for row, _ in sorted(
            rows_in(out / f"{name}.gpkg"), key=lambda pair: pair[0]["action"])]
        assert {row["area_unit"] for row in rows} == {area}
        gains[units] = [row[name] for row in rows
                        for name in ("gain", "gain_low", "gain_high", "chance")]
    # Rounding alone: the same seed draws the same stands.
    assert gains["us"] == pytest.approx(gains["metric"], rel=1e-6, abs=1e-6)
    assert max(gains["us"]) > 100


def test_a_pan_in_the_north_is_broken_from_below_and_the_south_left(
        run, provider, record, tmp_path, out):
    found = run("tillageplan", RECORD=record("metric"), **pan_in(tmp_path, "metric"),
                PLAN=out / "p.gpkg", ACCOUNT=out / "p.json")
    assert set(found) == {one.name() for one in provider.algorithm("tillageplan")
                          .outputDefinitions()}
    rows = rows_in(out / "p.gpkg")
    (leave, south), (till, north) = sorted(rows, key=lambda pair: pair[0]["action"])
    assert (leave["action"], till["action"]) == ("leave", "till")
    # 32.5 cm and 2 cm below it, up to the next 5 cm.
    assert (leave["rate"], till["rate"], till["rate_unit"]) == (0, 35, "cm")
    assert south.area == pytest.approx(98 * 200, rel=1e-9)  # the field south of 4400100
    assert north.area == pytest.approx(AREA_M2 - 98 * 200, rel=1e-9)
    # 58 a hectare not spent in the south.
    assert leave["gain"] == pytest.approx(58 * south.area / 1e4, rel=1e-9)
    assert till["gain"] == 0 and (leave["chance"], till["chance"]) == (0, 1)
    assert (found["TILLED"], found["LEFT"]) == pytest.approx((north.area / 1e4, south.area / 1e4))
    # 2.5 cm below the bottom at 1 cm of error: the normal table gives 0.9938.
    assert till["chance_that_the_depth_clears_the_bottom"] == pytest.approx(99.38, abs=0.005)
    account = json.loads((out / "p.json").read_text())
    assert any("utilities" in caution for caution in account["cautions"])


def test_the_chance_from_which_ground_is_tilled_can_be_set(run, record, tmp_path, out):
    given = dict(RECORD=record(), **pan_in(tmp_path, "us"), PLAN=out / "p.gpkg")
    whole = AREA_M2 / FACTORS["us"]["area"]
    assert run("tillageplan", CHANCE_LIMIT=0.0, **given)["TILLED"] == pytest.approx(whole)
    assert run("tillageplan", CHANCE_LIMIT=1.0, **given)["LEFT"] == pytest.approx(
        98 * 200 / FACTORS["us"]["area"])


def test_what_the_tool_cannot_reach_is_said(run, record, tmp_path, out):
    deep = pan_in(tmp_path, "us", lambda x, y: 0.6 if x > 500_100 else 0.325)
    run("tillageplan", RECORD=record(), **deep, PLAN=out / "p.gpkg", ACCOUNT=out / "p.json")
    assert {row["action"]: row["rate"] > 0 for row, _ in rows_in(out / "p.gpkg")} == {
        "leave": False, "till": True, "cannot reach": False}
    assert any("deeper than the tool reaches" in caution for caution in
               json.loads((out / "p.json").read_text())["cautions"])


REPLANT_REFUSALS = {
    "no price": ({"crop_price": None}, "field, crop_price: Crop price is empty. Enter it"),
    "price 0": ({"crop_price": 0.0}, "crop_price is 0"),
    "price negative": ({"crop_price": -4.5}, r"crop_price is -4\.5 USD/bu\. Enter a number"),
    "cost negative": ({"replanting_cost": -25.0}, "replanting_cost is -25 USD/ac"),
    "several empty": ({"termination_cost": None, "replanting_cost": None},
                      "these are empty: Cost of ending the stand, Cost of planting again"),
    "population in thousands": ({"target_stand": 32.0}, "target_stand is 32 plants/ac, which looks "
                                "like a count or a figure in thousands. Enter it in full"),
    "population of a hectare": ({"target_stand": 79_000.0},
                                "A stand of 79,000 plants/ac is outside the table"),
    "no cost": ({"seed_unit_cost": None}, "field, seed_unit_cost: Seed cost is empty"),
    "dates reversed": ({"replant_date": datetime.date(2026, 4, 1)}, "replant_date"),
    "another year": ({"replant_date": datetime.date(2027, 5, 20)}, "another year"),
    "beyond the table": ({"replant_date": datetime.date(2026, 9, 1)}, "table|reach"),
    "sorghum": ({"crop": "sorghum", "crop_price": None},
                "There is no yield table for sorghum yet, so no replant"),
    "no crop": ({"crop": None}, "field, crop: Crop is empty"),
    "emergence 0": ({"expected_emergence": 0.0}, "expected_emergence is 0")}


@pytest.mark.parametrize("changes,words", REPLANT_REFUSALS.values(), ids=REPLANT_REFUSALS)
def test_a_record_that_gives_no_replant_decision_is_refused(refused, record, tmp_path, out, changes,
                                                            words):
    path = record(**changes)
    before = path.read_bytes()
    refused(words, "replantplan", RECORD=path, STAND=stand_in(tmp_path, "us"), PLAN=out / "p.gpkg",
            ACCOUNT=out / "p.json")
    assert list(out.iterdir()) == [] and path.read_bytes() == before


def test_unlikely_figures_of_a_replant_decision_are_asked_about_once(run, record, tmp_path, out):
    path = record(seeds_planted=100_000.0)  # 8 plants per m2 are 32,375 an acre, below 40 %
    run("replantplan", RECORD=path, STAND=stand_in(tmp_path, "us"), PLAN=out / "p.gpkg")
    assert [one for one in run.warnings if "target_stand" in one] == [
        "field, target_stand: 32,375 plants/ac are wanted, but 100,000 seeds/ac were planted. "
        "Check both figures and their unit. Used as they are."]


TILLAGE_REFUSALS = {
    "least below greatest": ({"tillage_least": 20.0, "tillage_greatest": 12.0},
                             r"tillage_least \(20 in\) is deeper than tillage_greatest \(12 in\)"),
    "no step": ({"tillage_step": None}, "field, tillage_step: Tillage step is empty"),
    "step 0": ({"tillage_step": 0.0}, "tillage_step is 0 in"),
    "cost negative": ({"tillage_cost": -1.0}, "tillage_cost is -1"),
    "no cost": ({"tillage_cost": None}, "field, tillage_cost: Tillage cost is empty")}


@pytest.mark.parametrize("changes,words", TILLAGE_REFUSALS.values(), ids=TILLAGE_REFUSALS)
def test_a_record_that_gives_no_tillage_plan_is_refused(
        refused, record, tmp_path, out, changes, words):
    path = record(**changes)
    before = path.read_bytes()
    refused(words, "tillageplan", RECORD=path, **pan_in(tmp_path, "us"), PLAN=out / "p.gpkg",
            ACCOUNT=out / "p.json")
    assert list(out.iterdir()) == [] and path.read_bytes() == before


def test_surfaces_in_another_unit_or_on_another_grid_are_refused(refused, record, tmp_path, out):
    refused("plants/ha", "replantplan", RECORD=record("us"), STAND=stand_in(tmp_path, "metric"),
            PLAN=out / "p.gpkg")
    refused("cm", "tillageplan", RECORD=record("us"), **pan_in(tmp_path, "metric"),
            PLAN=out / "p.gpkg")
    fine = write_by_hand(tmp_path / "fine.tif", lambda x, y: 1.0, unit="", cell_m=10.0)
    refused("not on the same grid", "tillageplan", RECORD=record("us"), PLAN=out / "p.gpkg",
            **{**pan_in(tmp_path, "us"), "CHANCE": fine})
    without = write_by_hand(tmp_path / "many.tif", lambda x, y: 3e4, unit="plants/ac", sites=False)
    refused("Stand does not carry its readings", "replantplan", RECORD=record("us"), STAND=without,
            PLAN=out / "p.gpkg")
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("percent", [-1, 30, 70])
def test_plans_cancelled_half_way_leave_nothing(run, cancelling, record, tmp_path, out, percent):
    for name, given in (("replantplan", {"STAND": stand_in(tmp_path, "us")}),
                        ("tillageplan", pan_in(tmp_path, "us"))):
        assert run(name, cancelling(percent), RECORD=record(), PLAN=out / "p.gpkg",
                   ACCOUNT=out / "p.json", **given) == {}
    assert list(out.iterdir()) == []


def test_a_second_run_replaces_the_first(run, record, tmp_path, out):
    for _ in range(2):
        run("tillageplan", RECORD=record(), **pan_in(tmp_path, "us"), PLAN=out / "p.gpkg")
        run("replantplan", RECORD=record(), STAND=stand_in(tmp_path, "us"), PLAN=out / "r.gpkg")
    assert sorted(path.name for path in out.iterdir()) == ["p.gpkg", "r.gpkg"]


PLAN_FIELDS = "&field=zone:int&field=action:string&field=rate:double&field=rate_unit:string"
SQUARE = f"Polygon ((500010 {SOUTH + 8}, 500110 {SOUTH + 8}, 500110 {SOUTH + 108}, " \
         f"500010 {SOUTH + 108}, 500010 {SOUTH + 8}))"


@pytest.fixture
def plan(layer):
    """Return plan(*rows, crs=...): a plan of zones, squares beside each other."""
    def made(*rows, crs="EPSG:32615", shape=SQUARE, fields=PLAN_FIELDS):
        shapes = [shapely.to_wkt(translate(shapely.from_wkt(shape), 150 * number, 0))
                  if shape and number else shape for number in range(len(rows))]
        return layer("MultiPolygon", [(one, *row) for one, row in zip(shapes, rows)], crs, fields)
    return made


@pytest.mark.parametrize("number,end,names", [
    (0, "gpkg", ["zone", "action", "rate", "unit"]), (1, "shp", ["ZONE", "ACTION", "RATE", "UNIT"]),
    (2, "geojson", ["zone", "action", "rate", "unit"])])
def test_a_plan_becomes_a_rate_file(run, provider, plan, out, number, end, names):
    found = run("ratefile", PLAN=plan((1, "till", 12.0, "in"), (2, "leave", 0.0, "in")),
                FORMAT=number, FILE=out / f"r.{end}")
    assert set(found) == {one.name() for one in provider.algorithm("ratefile").outputDefinitions()}
    assert found["POLYGONS"] == 2
    data = ogr.Open(str(out / f"r.{end}"))
    rows = [[feature.GetField(name) for name in names] for feature in data.GetLayer(0)]
    assert rows == [[1, "till", 12.0, "in"], [2, "leave", 0.0, "in"]]
    assert data.GetLayer(0).GetExtent()[0] == pytest.approx(-93 + 10 / 85_600, abs=1e-6)


def test_a_plan_in_degrees_stays_where_it_is(run, plan, out):
    here = "Polygon ((-93 39.7, -92.99 39.7, -92.99 39.71, -93 39.71, -93 39.7))"
    run("ratefile", PLAN=plan((1, "till", 12.0, "in"), crs="EPSG:4326", shape=here), FORMAT=0,
        FILE=out / "r.gpkg")
    data = ogr.Open(str(out / "r.gpkg"))
    assert data.GetLayer(0).GetExtent() == pytest.approx((-93, -92.99, 39.7, 39.71), abs=1e-9)


def test_more_polygons_than_old_controllers_read_are_told(run, plan, out):
    run("ratefile", PLAN=plan(*[(number, "till", 1.0, "in") for number in range(101)]), FORMAT=0,
        FILE=out / "r.gpkg")
    assert run.warnings[0].startswith("101 polygons: older controllers may give up")


CROSSING = "Polygon ((0 0, 5 5, 5 0, 0 5, 0 0))"
RATE_REFUSALS = {
    "NaN": (dict(rows=[(1, "till", float("nan"), "in")]), "row 1, rate: nan is no rate"),
    "infinite": (dict(rows=[(1, "till", float("inf"), "in")]), "row 1, rate: inf is no rate"),
    "empty": (dict(rows=[(1, "till", 1.0, "in"), (2, "till", None, "in")]),
              "row 2, rate: None is no rate. Enter 0"),
    "negative": (dict(rows=[(1, "till", -3.0, "in")]), "row 1, rate: -3.0 is no rate"),
    "no zone": (dict(rows=[(None, "till", 3.0, "in")]), "row 1, zone: it is empty"),
    "two units": (dict(rows=[(1, "a", 1.0, "in"), (2, "b", 1.0, "cm")]), "rates in cm and in"),
    "no row": (dict(rows=[]), "readings has no zone to write a rate for"),
    "no polygon": (dict(rows=[(1, "till", 3.0, "in")], shape=""), "Zone 1 has no polygon"),
    "crossing": (dict(rows=[(1, "till", 3.0, "in")], shape=CROSSING),
                 "Zone 1: its polygon crosses"),
    "no column": (dict(rows=[(1,)], fields="&field=zone:int"), "readings has no column rate"),
    "no CRS": (dict(rows=[(1, "till", 3.0, "in")], crs=""), "readings has no CRS, so where its")}


@pytest.mark.parametrize("given,words", RATE_REFUSALS.values(), ids=RATE_REFUSALS)
def test_a_plan_that_gives_no_rates_is_refused_and_qgis_lives_on(refused, plan, out, given, words):
    for number, end in enumerate(("gpkg", "shp", "geojson")):
        options = {name: value for name, value in given.items() if name != "rows"}
        refused(words, "ratefile", PLAN=plan(*given["rows"], **options), FORMAT=number,
                FILE=out / f"r.{end}")
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("number,name,words", [
    (0, "r.shp", r"r\.shp does not end in \.gpkg, as a GeoPackage does"),
    (1, "r.geojson", r"r\.geojson does not end in \.shp, as a Shapefile does"),
    (2, "r.json", r"r\.json does not end in \.geojson, as a GeoJSON does"),
    (0, "gone/r.gpkg", r"r\.gpkg cannot be written to .*gone")])
def test_a_file_name_that_does_not_fit_is_refused(refused, plan, out, number, name, words):
    refused(words, "ratefile", PLAN=plan((1, "till", 3.0, "in")), FORMAT=number, FILE=out / name)
    assert list(out.iterdir()) == []


def test_a_cancelled_rate_file_is_not_written_and_a_second_replaces_the_first(
        run, cancelling, plan, out):
    feedback = cancelling(-1)
    feedback.cancel()
    given = dict(PLAN=plan((1, "till", 3.0, "in")), FORMAT=1, FILE=out / "r.shp")
    assert run("ratefile", feedback, **given) == {} and list(out.iterdir()) == []
    for _ in range(2):
        assert run("ratefile", **given)["POLYGONS"] == 1
    assert {path.suffix for path in out.iterdir()} == {".shp", ".shx", ".dbf", ".prj", ".cpg"}


def test_the_fields_truth_is_one_in_both_unit_systems():
    # A price of 0.18 a kg and costs of 0.3 cents a m2, whatever the record counts in.
    us, metric = field_of("us"), field_of("metric")
    assert us["crop_price"] / (56 * 0.45359237) == pytest.approx(metric["crop_price"] / 1000)
    assert us["termination_cost"] / 4046.8564224 == pytest.approx(metric["termination_cost"] / 1e4)


OWN_TABLE = """# title: Our valley
# source: own strips
# year: 2025
# region: the valley
# crop: {crop}
# stand_unit: plants/ha
planted,20000,80000
04-01,90,90
06-30,{late},{late}
"""


@pytest.mark.parametrize(("late", "action"), [(90, {"keep"}), (120, {"keep", "replant"})])
def test_a_yield_table_of_the_users_own_decides_instead(run, record, tmp_path, out, late, action):
    # by it the stand does not matter: replanting pays only where late planting yields more
    table = tmp_path / "valley.csv"
    table.write_text(OWN_TABLE.format(crop="corn", late=late))
    run("replantplan", RECORD=record(), STAND=stand_in(tmp_path, "us"), OWN_TABLE=table,
        PLAN=out / "p.gpkg", ACCOUNT=out / "p.json")
    account = json.loads((out / "p.json").read_text())
    assert any("Our valley (2025)" in source and "entered by the user" in source
               for source in account["sources"])
    assert {row["action"] for row, _ in rows_in(out / "p.gpkg")} <= action


@pytest.mark.parametrize(("text", "words"), [
    (OWN_TABLE.format(crop="soybean", late=90), "The field grows corn"),
    (OWN_TABLE.format(crop="corn", late="x"), "valley.csv, row 2 of the table, column 20000"),
    ("", "valley.csv holds no table"), ("\udcff", "cannot be read as a table")])
def test_an_own_table_that_does_not_do_is_refused(refused, record, tmp_path, out, text, words):
    (tmp_path / "valley.csv").write_bytes(text.encode("utf-8", "surrogateescape"))
    refused(words, "replantplan", RECORD=record(), STAND=stand_in(tmp_path, "us"),
            OWN_TABLE=tmp_path / "valley.csv", PLAN=out / "p.gpkg")
    assert list(out.iterdir()) == []


def test_soybean_is_judged_by_the_table_of_its_row_width(run, refused, record, tmp_path, out):
    path = record(crop="soybean", row_width=30.0, target_stand=120_000.0, seeds_planted=140_000.0)
    given = {"RECORD": path, "STAND": stand_in(tmp_path, "us", west=30.0, east=5.0),
             "PLAN": out / "p.gpkg", "ACCOUNT": out / "p.json"}
    refused("24 April is outside the table", "replantplan", **given)
    run("replantplan", **given, OUTER_DATES=1)
    account = json.loads((out / "p.json").read_text())
    assert "dates beyond count as these" in account["cautions"][0]
    assert "rows of 30 in" in account["sources"][0] and "second-hand" in account["sources"][0]


def account_of(path):
    return json.loads(path.read_text())


def test_where_it_is_in_doubt_the_ground_is_looked_at_again_and_limits_can_switch_that_off(
        run, record, tmp_path, out):
    # The break-even is at 3.05 plants per m2: worth 73.7 % (90.8 % replanted less 17.1 % of cost).
    stand = stand_in(tmp_path, "us", east=3.05)
    given = dict(RECORD=record(), STAND=stand, PLAN=out / "p.gpkg", ACCOUNT=out / "p.json")
    found = run("replantplan", CHANCE_KEEP=0.0, CHANCE_REPLANT=1.0, **given)
    again = [row for row, _ in rows_in(out / "p.gpkg") if row["action"] == "look again"]
    assert found["DOUBTFUL"] == pytest.approx(sum(row["area"] for row in again)) and again
    assert all(row["rate"] == row["gain"] == row["seed_units"] == 0 for row in again)
    account = account_of(out / "p.json")
    assert "ook again" in account["headline"]
    assert account["figures"]["most that a further look is worth"]["value"] > 0
    names = {one["name"]: one["figure"]["text"] for one in account["settings"]}
    assert names["Chance from which to replant"] == "1"
    found = run("replantplan", CHANCE_KEEP=0.5, CHANCE_REPLANT=0.5, **given)
    assert found["DOUBTFUL"] == 0
    assert {row["action"] for row, _ in rows_in(out / "p.gpkg")} <= {"keep", "replant"}


def test_chances_the_wrong_way_round_are_refused(refused, record, tmp_path, out):
    refused(r"CHANCE_KEEP \(0.8\) is above CHANCE_REPLANT \(0.3\)", "replantplan", RECORD=record(),
            STAND=stand_in(tmp_path, "us"), CHANCE_KEEP=0.8, CHANCE_REPLANT=0.3,
            PLAN=out / "p.gpkg")
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("units", UNITS)
def test_gain_and_chance_of_each_cell_are_written_as_a_raster(run, record, tmp_path, out, units):
    run("replantplan", RECORD=record(units), STAND=stand_in(tmp_path, units), PLAN=out / "p.gpkg",
        CELL_GAIN=out / "g.tif")
    raster = gdal.Open(str(out / "g.tif"))
    names = [raster.GetRasterBand(number).GetDescription() for number in (1, 2)]
    assert names == [f"expected gain, USD/{UNITS[units][0]}", "chance that it is above 0"]
    gain, chance = raster.ReadAsArray()
    rows = {row["action"]: row for row, _ in rows_in(out / "p.gpkg")}
    # the cells of either half are all alike, so each is as its zone
    assert gain[1, 8] == pytest.approx(rows["replant"]["gain_area"])
    assert gain[8, 1] == pytest.approx(rows["keep"]["gain_per_area_if_replanted"])
    assert chance[1, 8] > 0.99 and chance[8, 1] < 0.01
    assert json.loads(raster.GetMetadata(DOMAIN)["MADE"])["algorithm"] == "replantplan"
    assert sorted(path.name for path in out.iterdir()) == ["g.tif", "p.gpkg"]


@pytest.mark.parametrize("units", UNITS)
def test_the_replant_account_tells_break_even_and_what_turns_the_decision(
        run, record, tmp_path, out, units):
    run("replantplan", RECORD=record(units), STAND=stand_in(tmp_path, units), PLAN=out / "p.gpkg",
        ACCOUNT=out / "p.json")
    account, area = account_of(out / "p.json"), FACTORS[units]["area"]
    by_date = {one["date"]["value"]: one["stand"]["value"]
               for one in account["break_even_curve"]["by_date"]}
    assert by_date["2026-05-20"] == pytest.approx(account["break_even"]["value"])
    assert by_date["2026-05-30"] < by_date["2026-05-20"]
    turns = {row["setting"]: row for row in account["sensitivity"]["rows"]}
    price = turns["crop_price"]
    assert price["name"] == "Crop price" and price["worked"]["text"].startswith("below USD ")
    # A m2 costs 0.0385 to replant and goes from 54.88 % (8,094 plants/ac, 24 April) to 90.81 %
    # (32,375, 20 May) of 1.25 kg: 0.449 kg, which pays from 0.0857 a kg on, whatever the units.
    assert price["worked"]["value"] / FACTORS[units]["grain"] == pytest.approx(0.0857, abs=2e-4)
    cost = turns["extra_weed_cost"]["worked"]["value"]
    gain = next(row["gain_area"] for row, _ in rows_in(out / "p.gpkg") if row["gain_area"] > 0)
    assert cost == pytest.approx(gain, rel=1e-6) and 0 < cost / area
    assert turns["replant_date"]["worked"]["text"].endswith("or later")


RIG = {"tillage_tool": "subsoiler_narrow", "tillage_shanks": 5, "field_efficiency": 85.0,
       "soil_texture": "medium", "tractor": "front_wheel_assist", "tractor_surface": "tilled"}


def rig_of(units):
    """5 shanks over 3.8 m at 6.5 km/h behind 130 kW, diesel at 0.9 a litre."""
    us = {"tillage_width": 3.8 / 0.3048, "tillage_speed": 6.5 / 1.609344,
          "tractor_power": 130 / 0.745699872, "fuel_price": 0.9 * 3.785411784}
    metric = {"tillage_width": 3.8, "tillage_speed": 6.5, "tractor_power": 130.0, "fuel_price": 0.9}
    return {**RIG, **{"us": us, "metric": metric}[units]}


def two_depths(x, y):
    """Bottom of the pan: 32.5 cm in the west, 22.5 cm in the east."""
    return 0.325 if x < 500_100 else 0.225


def test_fuel_and_hours_are_told_against_the_deepest_depth_alike_in_both_units(
        run, record, tmp_path, out):
    litres, hours, gains = {}, {}, {}
    for units, fuel in (("us", 3.785411784), ("metric", 1.0)):
        run("tillageplan", RECORD=record(units, **rig_of(units)),
            **pan_in(tmp_path, units, two_depths), PLAN=out / f"{units}.gpkg",
            ACCOUNT=out / f"{units}.json")
        account = account_of(out / f"{units}.json")
        figures, ends = account["figures"], account["ranges"]["fuel saved"]
        litres[units] = [figures[name]["value"] * fuel for name in (
            "fuel by this plan", "fuel at one depth", "fuel saved")]
        litres[units] += [ends[end]["value"] * fuel for end in ("low", "high")]
        hours[units] = figures["hours by this plan"]["value"]
        rows = [row for row, _ in rows_in(out / f"{units}.gpkg")]
        gains[units] = sorted(row["gain"] for row in rows)
        assert all(row["share_of_the_tractor_s_power"] < 100 for row in rows
                   if row["action"] == "till")
    # the same depths in either unit, to rounding
    assert litres["us"] == pytest.approx(litres["metric"], rel=1e-6)
    assert hours["us"] == pytest.approx(hours["metric"], rel=1e-9)
    assert gains["us"] == pytest.approx(gains["metric"], rel=1e-6, abs=1e-9)
    # 35 cm takes 15.5 L/ha by the formula and was asked of all 3.875 ha
    assert litres["metric"][1] == pytest.approx(3.875 * 15.54, rel=1e-3)


def test_without_tool_and_tractor_no_energy_is_told_but_what_to_enter(run, record, tmp_path, out):
    run("tillageplan", RECORD=record(**{**rig_of("us"), "tractor": None}), **pan_in(tmp_path, "us"),
        PLAN=out / "p.gpkg", ACCOUNT=out / "p.json")
    account = account_of(out / "p.json")
    assert account["figures"] == {} and "fuel" not in rows_in(out / "p.gpkg")[0][0]
    assert account["cautions"][0].endswith("empty: Tractor. Enter them to compare the plan with "
                                           "one depth all over.")


def test_a_tractor_too_weak_is_said_and_the_plan_made(run, record, tmp_path, out):
    run("tillageplan", RECORD=record(**{**rig_of("us"), "tractor_power": 60.0}),
        **pan_in(tmp_path, "us"), PLAN=out / "p.gpkg", ACCOUNT=out / "p.json")
    assert any("cannot pull the depth" in caution
               for caution in account_of(out / "p.json")["cautions"])


def test_the_tillage_account_holds_rating_moisture_and_what_turns_it(run, calls, tmp_path, out):
    run("tillageplan", RECORD=calls("us"), **pan_in(tmp_path, "us"), PLAN=out / "p.gpkg",
        ACCOUNT=out / "p.json")
    account = account_of(out / "p.json")
    assert account["rating"]["rating"] == "moderate"
    assert "Agronomy Facts 63" in account["rating"]["text"]
    assert any("visit_date is empty" in caution for caution in account["cautions"])
    rows = {row["setting"]: row for row in account["sensitivity"]["rows"]}
    # the north holds a pan for sure, the south for sure none
    assert rows["chance_limit"]["worked"]["value"] == pytest.approx(100)
    assert rows["tillage_cost"]["name"] == "Tillage cost"
    assert rows["loss_by_a_pan_left"]["spared"] == {"text": "none from USD 0.00/ac to any value"}


NO_PLAN = {
    "population per ha in an acre record": (
        "replantplan", {"target_stand": 8.0 * 10_000}, "A stand of 80,000 plants/ac is outside"),
    "population per m2": ("replantplan", {"target_stand": 8.0}, "target_stand is 8 plants/ac"),
    "price below 0": ("replantplan", {"crop_price": -4.0}, "crop_price is -4"),
    "cost below 0": ("replantplan", {"extra_weed_cost": -1.0}, "extra_weed_cost is -1"),
    "tillage cost below 0": ("tillageplan", {"tillage_cost": -1.0}, "tillage_cost is -1"),
    "speed 0": ("tillageplan", {**RIG, "tillage_speed": 0.0}, "field, tillage_speed is 0 mph")}


@pytest.mark.parametrize("name,changes,words", NO_PLAN.values(), ids=NO_PLAN)
def test_bad_input_is_named_and_no_plan_made(refused, record, tmp_path, out, name, changes, words):
    surfaces = (pan_in(tmp_path, "us") if name == "tillageplan"
                else {"STAND": stand_in(tmp_path, "us")})
    path = record(**changes)
    before = path.read_bytes()
    refused(words, name, RECORD=path, **surfaces, PLAN=out / "p.gpkg", ACCOUNT=out / "p.json")
    assert list(out.iterdir()) == [] and path.read_bytes() == before


def test_no_pan_anywhere_gives_no_plan_and_pan_everywhere_is_asked_about(
        run, refused, record, tmp_path, out):
    pan = pan_in(tmp_path, "us")
    none, all_of_it = (write_by_hand(tmp_path / f"{value}.tif", lambda x, y, value=value: value,
                                     unit="", name="Chance of a pan") for value in (0.0, 1.0))
    refused("Chance of a pan is 0 everywhere: no stop met a pan", "tillageplan", RECORD=record(),
            **{**pan, "CHANCE": none}, PLAN=out / "p.gpkg")
    assert list(out.iterdir()) == []
    run("tillageplan", RECORD=record(), **{**pan, "CHANCE": all_of_it}, PLAN=out / "p.gpkg",
        ACCOUNT=out / "p.json")
    assert any("Every stop met a pan" in caution
               for caution in account_of(out / "p.json")["cautions"])
