"""nextstops, through Processing."""
import os
import shutil
import subprocess
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import numpy as np
import pytest
import shapely
from osgeo import gdal, osr

from plugin.core.decide.linear_loss import LinearLoss, replant_loss
from plugin.core.decide.next_stops import next_stops
from plugin.core.decide.yield_response import load_table
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.estimate import estimate_surface
from plugin.core.observations import Observations
from plugin.layers.boundary import grid_over, inside_shares
from plugin.layers.rasters import read_surface, write_surface
from plugin.layers.strict_ogr import spatial_reference
from plugin.record.plan_settings import replant_settings
from plugin.record.read import open_record
from tests.algorithms.small_calls import FACTORS, FIELD_WKT, change_field, stops

OWN, REPLANT, PAN = 0, 1, 2
HECTARE, ACRE = 0, 1
OUTPUTS = {"STOPS", "GPX", "CHOSEN", "VALUE", "LOST_NOW", "LIMIT_USED", "LOSS_USED", "VERDICT"}
FIELD = shapely.from_wkt(FIELD_WKT)
GPX_NAMES = {"gpx": "http://www.topografix.com/GPX/1/1"}
THIN_M2, DENSE_M2 = 3.0, 8.5  # plants per m2 at the east and the west end of the field


def stand(x):
    """Plants per m2, falling from west to east."""
    return DENSE_M2 + (THIN_M2 - DENSE_M2) * (x - 500003) / 200


def written(path, values, model, *, unit, error=0.0, name="Stand", epsg=32615, cell_m=10.0):
    """A surface over the field of the small calls from readings at its stops."""
    grid = grid_over(shapely.to_wkb(FIELD), cell_m, spatial_reference(f"EPSG:{epsg}").ExportToWkt())
    observations = Observations.of(name, unit, stops(), values,
                                   error_variance=np.full(len(values), error**2))
    surface = estimate_surface(observations, grid, inside_shares(shapely.to_wkb(FIELD), grid),
                               model=model)
    write_surface(path, surface, {})
    return path


@pytest.fixture(scope="module")
def stands(tmp_path_factory):
    """A stand surface in plants/ac and one in plants/ha."""
    made, noise = {}, np.random.default_rng(3).normal(0, 0.5, 24)
    for units, one in FACTORS.items():
        per_area = one["area"]
        values = np.array([stand(x) for x, _ in stops()]) + noise
        model = CovarianceModel("exponential", 0.1 * per_area**2, 2.0 * per_area**2, 60.0)
        path = tmp_path_factory.mktemp("surfaces") / f"stand_{units}.tif"
        made[units] = written(path, values * per_area, model, error=0.4 * per_area,
                              unit="plants/ac" if units == "us" else "plants/ha")
    return made


@pytest.fixture(scope="module")
def mean_stand(tmp_path_factory):
    """A stand surface that is the mean of its readings, some 24,000 plants/ac."""
    values = 24_000 + np.random.default_rng(4).normal(0, 3000, 24)
    return written(tmp_path_factory.mktemp("surfaces") / "mean.tif", values,
                   CovarianceModel("nugget", 9e6), unit="plants/ac", error=1000.0)


@pytest.fixture(scope="module")
def pan_chance(tmp_path_factory):
    """The chance of a pan: met at the stops of the north, and at some between."""
    values = np.array([float(y > 4400100 or (x + y) % 3 < 1) for x, y in stops()])
    return written(tmp_path_factory.mktemp("surfaces") / "pan_chance.tif", values,
                   CovarianceModel("exponential", 0.05, 0.2, 50.0), unit="", name="Chance of a pan")


def rows_of(path):
    data = gdal.OpenEx(str(path), gdal.OF_VECTOR)
    layer = data.GetLayer(0)
    assert layer.GetSpatialRef().GetAuthorityCode(None) == "32615"
    return [{**row.items(), "x": row.GetGeometryRef().GetX(), "y": row.GetGeometryRef().GetY()}
            for row in layer]


def replant(stands, calls, out, units="us", **more):
    return {"SURFACE": stands[units], "DECISION": REPLANT, "RECORD": calls(units),
            "STOPS": out / "stops.gpkg", **more}


@pytest.mark.parametrize("units", ["us", "metric"])
def test_for_replanting_limit_and_loss_come_from_the_record(
        run, provider, stands, calls, out, units):
    found = run("nextstops", **replant(stands, calls, out, units, COUNT=4, GPX=out / "stops.gpx"))
    declared = {one.name() for one in provider.algorithm("nextstops").outputDefinitions()}
    assert set(found) == declared == OUTPUTS
    record = open_record(calls(units), only=())
    choice = replant_loss(load_table("corn_nafziger_1994", record.units.population),
                          replant_settings(record))
    assert (found["LIMIT_USED"], found["LOSS_USED"]) == (choice.limit, choice.loss)
    surface = read_surface(stands[units], lambda grid: inside_shares(record.boundary_wkb, grid))
    expected = next_stops(surface, choice, count=4)
    rows = rows_of(out / "stops.gpkg")
    assert [row["stop"] for row in rows] == [1, 2, 3, 4] and found["CHOSEN"] == 4
    assert [(row["x"], row["y"]) for row in rows] == [tuple(p) for p in expected.positions_m]
    assert [(row["easting"], row["northing"]) for row in rows] == [(r["x"], r["y"]) for r in rows]
    for column, values in (("value", expected.value), ("estimate", expected.estimate),
                           ("chance", expected.chance_wrong)):
        assert [row[column] for row in rows] == pytest.approx(values, rel=1e-12)  # rounding
    assert {row["currency"] for row in rows} == {"USD"}
    assert {row["unit"] for row in rows} == {surface.unit}
    assert found["VALUE"] == pytest.approx(sum(row["value"] for row in rows))
    assert 0 < found["VALUE"] < found["LOST_NOW"]
    assert all(FIELD.contains(shapely.Point(row["x"], row["y"])) for row in rows)
    for row in rows:
        kept = row["estimate"] > choice.limit
        assert row["note"].startswith("Now: keep (" if kept else "Now: replant (")
        assert f"wrong with chance {row['chance']:.0%}" in row["note"]
    assert "Stops chosen: 4." in found["VERDICT"] and " USD that deciding" in found["VERDICT"]


def test_both_unit_systems_name_the_same_stops_and_the_same_money(run, stands, calls, out):
    found = {units: run("nextstops", **replant(stands, calls, out, units,
                                               STOPS=out / f"{units}.gpkg"))
             for units in ("us", "metric")}
    us, metric = (rows_of(out / f"{units}.gpkg") for units in ("us", "metric"))
    assert [(row["x"], row["y"]) for row in us] == [(row["x"], row["y"]) for row in metric]
    # The same truth through other factors: bushels of 56 lb, acres; 6 digits.
    assert found["us"]["VALUE"] == pytest.approx(found["metric"]["VALUE"], rel=1e-5)


def test_a_limit_of_ones_own_needs_no_record(run, stands, out):
    # 0.02 per plant/ac and ha, and the same per acre: 0.40468564224 ha
    loss = 0.02 * 0.40468564224
    per_ha = run("nextstops", SURFACE=stands["us"], LIMIT=23_000, LOSS=0.02, COUNT=3,
                 STOPS=out / "ha.gpkg")
    per_acre = run("nextstops", SURFACE=stands["us"], LIMIT=23_000, LOSS=loss, COUNT=3,
                   AREA_UNIT=ACRE, STOPS=out / "ac.gpkg")
    assert per_ha["VALUE"] == pytest.approx(per_acre["VALUE"], rel=1e-9)
    expected = next_stops(read_surface(stands["us"]), LinearLoss(23_000, 0.02, "ha"), count=3)
    assert [row["value"] for row in rows_of(out / "ha.gpkg")] == pytest.approx(expected.value)
    assert {row["currency"] for row in rows_of(out / "ha.gpkg")} <= {"", None}
    notes = [row["note"] for row in rows_of(out / "ha.gpkg")]
    assert all("the limit (" in note and "against 23,000 plants/ac" in note for note in notes)


@pytest.mark.parametrize("given,limit,loss_ac", [
    # the record's pass costs 0.0058 USD/m2, or 0.0058 x 4046.8564224 = 23.4718 USD/ac
    ({}, 0.5, 46.9435), ({"LIMIT": 0.4}, 0.4, 58.6794),
    ({"LOSS": 145.0, "AREA_UNIT": HECTARE}, 0.4, 58.6794),
    ({"LOSS": 58.6794, "AREA_UNIT": ACRE}, 0.4, 58.6794)])
def test_for_a_pan_limit_and_loss_follow_from_the_cost_of_the_pass(
        run, pan_chance, calls, out, given, limit, loss_ac):
    found = run("nextstops", SURFACE=pan_chance, DECISION=PAN, RECORD=calls("us"), COUNT=2,
                STOPS=out / "stops.gpkg", **given)
    assert found["LIMIT_USED"] == pytest.approx(limit, rel=1e-5)  # six digits are written above
    assert found["LOSS_USED"] == pytest.approx(loss_ac, rel=1e-5)
    assert {row["note"].split(" (")[0] for row in rows_of(out / "stops.gpkg")} <= {
        "Now: till", "Now: leave"}
    assert found["CHOSEN"] == 2 and found["VALUE"] > 0


def test_the_gpx_file_holds_the_stops_in_order_for_other_readers(run, stands, calls, out):
    run("nextstops", **replant(stands, calls, out, COUNT=12, GPX=out / "stops.gpx"))
    rows = rows_of(out / "stops.gpkg")
    to_degrees = osr.CoordinateTransformation(*(spatial_reference(f"EPSG:{code}")
                                                for code in (32615, 4326)))
    places = [to_degrees.TransformPoint(row["x"], row["y"])[:2] for row in rows]
    # By the schema: version and creator, and in each wpt lat, lon, name before desc.
    root = ElementTree.parse(out / "stops.gpx").getroot()
    assert root.tag == f"{{{GPX_NAMES['gpx']}}}gpx"
    assert root.get("version") == "1.1" and root.get("creator")
    points = root.findall("gpx:wpt", GPX_NAMES)
    assert [child.tag for child in root if child.tag.endswith("}metadata")] == [root[0].tag]
    assert len(points) == 12 == len(root) - 1
    for number, (point, (longitude, latitude), row) in enumerate(zip(points, places, rows), 1):
        assert [child.tag.split("}")[1] for child in point] == ["name", "desc"]
        assert point[0].text == f"{number:02d}" and point[1].text == row["note"]
        # seven places of a degree are a centimetre
        assert float(point.get("lon")) == pytest.approx(longitude, abs=1e-7)
        assert float(point.get("lat")) == pytest.approx(latitude, abs=1e-7)
    # By QGIS's own reader, which is not OGR's.
    from qgis.core import QgsVectorLayer
    layer = QgsVectorLayer(f"{out / 'stops.gpx'}?type=waypoint", "stops", "gpx")
    assert layer.isValid() and layer.crs().authid() == "EPSG:4326"
    read = sorted((feature["name"], feature.geometry().asPoint().x(),
                   feature.geometry().asPoint().y()) for feature in layer.getFeatures())
    assert [name for name, _, _ in read] == [f"{number:02d}" for number in range(1, 13)]
    assert [(x, y) for _, x, y in read] == [pytest.approx(place, abs=1e-7) for place in places]


def test_where_the_surface_is_the_mean_it_is_said_and_the_stops_spread(run, mean_stand, out):
    found = run("nextstops", SURFACE=mean_stand, LIMIT=23_500, LOSS=0.05, COUNT=4, DISTANCE=0,
                STOPS=out / "stops.gpkg")
    assert "The surface is the mean" in found["VERDICT"]
    rows = rows_of(out / "stops.gpkg")
    assert len({row["estimate"] for row in rows}) == len({row["chance"] for row in rows}) == 1
    assert all("any place tells the same" in row["note"] for row in rows)
    places = np.array(stops() + [(row["x"], row["y"]) for row in rows])
    apart = np.linalg.norm(places[24:, None] - places, axis=-1)
    apart[np.arange(4), 24 + np.arange(4)] = np.inf
    assert apart.min() > 20  # the readings are 40 m apart, so 28 m is the middle of four


def test_a_reading_that_errs_more_is_worth_less(run, stands, calls, out):
    values = [run("nextstops", **replant(stands, calls, out, ERROR=error))["VALUE"]
              for error in (0, 2000, 8000)]
    assert values[0] > values[1] > values[2] > 0
    usual = run("nextstops", **replant(stands, calls, out))["VALUE"]
    error = 0.4 * FACTORS["us"]["area"]  # that of all readings of the surface
    own = run("nextstops", **replant(stands, calls, out, ERROR=error))["VALUE"]
    assert usual == pytest.approx(own, rel=1e-9)


def test_a_stop_that_does_not_pay_is_not_named_and_an_empty_answer_is_an_answer(
        run, stands, calls, out):
    free = run("nextstops", **replant(stands, calls, out, COUNT=6))
    values = [row["value"] for row in rows_of(out / "stops.gpkg")]
    some = run("nextstops", **replant(stands, calls, out, COUNT=6, COST=sorted(values)[3]))
    assert 0 < some["CHOSEN"] < free["CHOSEN"] == 6
    assert "less than a stop must be worth" in some["VERDICT"]
    none = run("nextstops", **replant(stands, calls, out, COST=1e6, GPX=out / "none.gpx"))
    assert none["CHOSEN"] == none["VALUE"] == 0 and none["LOST_NOW"] == free["LOST_NOW"]
    assert none["VERDICT"].startswith("No stop is chosen; deciding by the surface as it is")
    assert f"lose {none['LOST_NOW']:,.2f} USD" in none["VERDICT"]
    assert rows_of(out / "stops.gpkg") == []
    root = ElementTree.parse(out / "none.gpx").getroot()
    assert root.get("version") == "1.1" and not root.findall("gpx:wpt", GPX_NAMES)


def test_stops_keep_their_distance_and_end_where_there_is_no_room(run, stands, calls, out):
    found = run("nextstops", **replant(stands, calls, out, COUNT=50, DISTANCE=25))
    places = np.array(stops() + [(row["x"], row["y"]) for row in rows_of(out / "stops.gpkg")])
    apart = np.linalg.norm(places[24:, None] - places, axis=-1)
    apart[np.arange(len(apart)), 24 + np.arange(len(apart))] = np.inf
    assert apart.min() >= 25 and found["CHOSEN"] < 50
    assert "No place is left that is 25 m from every reading" in found["VERDICT"]


def test_a_boundary_keeps_the_stops_to_a_part_of_the_field(run, layer, stands, out):
    part = "POLYGON ((500003 4400002, 500091 4400002, 500133 4400143, 500003 4400143, " \
           "500003 4400002))"
    run("nextstops", SURFACE=stands["us"], LIMIT=23_000, LOSS=0.02, COUNT=20, DISTANCE=0,
        BOUNDARY=layer("Polygon", [(part,)]), STOPS=out / "stops.gpkg")
    rows = rows_of(out / "stops.gpkg")
    inside = shapely.from_wkt(part)
    assert len(rows) == 20
    assert all(inside.contains(shapely.Point(row["x"], row["y"])) for row in rows)


@pytest.mark.parametrize("changed,words", [
    ({"DECISION": OWN, "RECORD": None}, "A limit of your own needs LIMIT"),
    ({"DECISION": OWN, "LIMIT": 23_000}, "A limit of your own needs LIMIT"),
    ({"DECISION": OWN, "LIMIT": 23_000, "LOSS": 0.0}, "the loss is 0"),
    ({"LIMIT": 23_000}, "Leave LIMIT and LOSS empty"),
    ({"LOSS": 1.0}, "Leave LIMIT and LOSS empty"),
    ({"DECISION": PAN, "LIMIT": 0.4, "LOSS": 50.0}, "Leave LIMIT or LOSS empty"),
    ({"RECORD": None}, "rests on the prices and costs in RECORD"),
    ({"DECISION": PAN}, "Stand is in plants/ac; leaving or tilling rests on the chance"),
    ({"GPX": "stops.txt"}, "name that ends in .gpx"),
    ({"STOPS": "stops.csv"}, "ends in .gpkg, .shp or .geojson"),
    ({"COUNT": 0}, "COUNT|[Ss]tops wanted"), ({"COST": -1}, "COST|Cost"),
    ({"ERROR": -1}, "ERROR|Error"), ({"DISTANCE": -1}, "DISTANCE|distance"),
    ({"SURFACE": "gone.tif"}, "gone.tif|SURFACE|Surface")])
def test_what_cannot_be_answered_is_refused_in_words_and_leaves_nothing(
        refused, stands, calls, out, changed, words):
    for name in ("GPX", "STOPS"):
        if name in changed:
            changed = {**changed, name: out / changed[name]}
    refused(words, "nextstops", **{**replant(stands, calls, out), **changed})
    assert list(out.iterdir()) == []


def test_surfaces_that_do_not_fit_are_refused(
        refused, run, stands, pan_chance, calls, out, tmp_path):
    refused("Stand is in plants/ha; keeping or replanting rests on the stand in plants/ac",
            "nextstops", **replant(stands, calls, out, SURFACE=stands["metric"]))
    refused("Chance of a pan is in no unit; keeping", "nextstops",
            **replant(stands, calls, out, SURFACE=pan_chance))
    chance = run("chancemap", SURFACE=stands["us"], LIMIT=20_000, SIDE=0,
                 CHANCE=tmp_path / "chance.tif")["CHANCE"]
    refused("does not carry its readings", "nextstops", SURFACE=chance, LIMIT=0.5, LOSS=10,
            STOPS=out / "stops.gpkg")
    plain = tmp_path / "plain.tif"
    raster = gdal.GetDriverByName("GTiff").Create(str(plain), 4, 4)
    raster.SetProjection(spatial_reference("EPSG:32615").ExportToWkt())
    raster.SetGeoTransform((500000, 10, 0, 4400100, 0, -10))
    raster = None
    refused("plain.tif is no surface made by Spadework", "nextstops", SURFACE=plain, LIMIT=0.5,
            LOSS=10, STOPS=out / "stops.gpkg")
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("epsg", [4326, 26852])  # degrees; US survey feet
def test_a_surface_or_boundary_in_other_units_than_metres_is_refused(
        refused, layer, stands, out, tmp_path, epsg):
    elsewhere = written(tmp_path / "elsewhere.tif", np.arange(24.0),
                        CovarianceModel("exponential", 1.0, 9.0, 50.0), unit="", epsg=epsg)
    refused(f"EPSG:{epsg}", "nextstops", SURFACE=elsewhere, LIMIT=10, LOSS=1,
            STOPS=out / "stops.gpkg")
    refused(f"EPSG:{epsg}, the surface in EPSG:32615", "nextstops", SURFACE=stands["us"], LIMIT=10,
            LOSS=1, BOUNDARY=layer("Polygon", [(FIELD_WKT,)], crs=f"EPSG:{epsg}"),
            STOPS=out / "stops.gpkg")
    assert list(out.iterdir()) == []


def test_an_empty_boundary_and_one_beside_the_surface_are_refused(refused, layer, stands, out):
    given = {"SURFACE": stands["us"], "LIMIT": 23_000, "LOSS": 0.02, "STOPS": out / "stops.gpkg"}
    refused("holds no polygon with an area", "nextstops", **given, BOUNDARY=layer("Polygon", []))
    beside = "POLYGON ((510000 4400000, 510100 4400000, 510100 4400100, 510000 4400000))"
    refused("do not meet", "nextstops", **given, BOUNDARY=layer("Polygon", [(beside,)]))
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("column,value,words", [
    ("crop_price", None, "crop_price"), ("crop_price", 0.0, "crop_price is 0"),
    ("replanting_cost", 1e5, "Replanting gains at no stand"),
    ("insurance_payment", 1e5, "Replanting gains at every stand")])
def test_a_record_that_decides_nothing_is_refused(refused, stands, calls, out, tmp_path, column,
                                                  value, words):
    record = tmp_path / "call.gpkg"
    shutil.copyfile(calls("us"), record)
    change_field(record, **{column: value})
    refused(words, "nextstops", **replant(stands, calls, out, RECORD=record))
    assert list(out.iterdir()) == []


def test_a_pass_that_costs_more_than_a_pan_left_is_refused(refused, pan_chance, calls, out):
    refused("loses 20 and the pass costs 23.4718 USD/ac", "nextstops", SURFACE=pan_chance,
            DECISION=PAN, RECORD=calls("us"), LOSS=20, AREA_UNIT=ACRE, STOPS=out / "stops.gpkg")
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("percent", [0, 40, 80])
def test_a_cancelled_run_returns_nothing_and_leaves_nothing(run, cancelling, stands, calls, out,
                                                            percent):
    assert run("nextstops", feedback=cancelling(percent), **replant(
        stands, calls, out, COUNT=10, GPX=out / "stops.gpx")).get("CHOSEN") is None
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("end,driver", [(".shp", "ESRI Shapefile"), (".geojson", "GeoJSON")])
def test_other_formats_hold_the_same_rows(run, stands, calls, out, end, driver):
    for name in ("stops.gpkg", f"stops{end}"):
        run("nextstops", **replant(stands, calls, out, STOPS=out / name))
    data = gdal.OpenEx(str(out / f"stops{end}"), gdal.OF_VECTOR)
    assert data.GetDriver().ShortName == driver
    expected = rows_of(out / "stops.gpkg")
    found = [row.items() for row in data.GetLayer(0)]
    assert [row["note"] for row in found] == [row["note"] for row in expected]
    assert [row["value"] for row in found] == pytest.approx([row["value"] for row in expected],
                                                            rel=1e-6)  # digits of a shapefile


def test_it_runs_from_the_command_line(stands, calls, out, tmp_path):
    # Debian 12 puts a wrapper of the same name before the program that cannot work.
    program = shutil.which("qgis_process.bin") or shutil.which("qgis_process")
    assert program, "qgis_process comes with QGIS; it was not found on the PATH"
    plugins, settings = tmp_path / "plugins", tmp_path / "profile/profiles/default/QGIS"
    for folder in (plugins, settings, tmp_path / "runtime"):
        folder.mkdir(parents=True, mode=0o700)
    (plugins / "spadework").symlink_to(Path(__file__).resolve().parents[2])
    (settings / "QGIS3.ini").write_text("[PythonPlugins]\nspadework=true\n")
    given = {**replant(stands, calls, out, COUNT=2), "GPX": out / "stops.gpx", "ERROR": 1500.5}
    done = subprocess.run(
        [program, "run", "spadework:nextstops",
         *(f"--{name}={value}" for name, value in given.items())],
        capture_output=True, text=True, timeout=120, env={
            "PATH": os.environ["PATH"], "HOME": str(tmp_path), "LC_ALL": "C.UTF-8",
            "QT_QPA_PLATFORM": "offscreen", "XDG_RUNTIME_DIR": str(tmp_path / "runtime"),
            "QGIS_PLUGINPATH": str(plugins), "QGIS_CUSTOM_CONFIG_PATH": str(tmp_path / "profile"),
            "PYTHONDONTWRITEBYTECODE": "1"})
    assert done.returncode == 0, done.stdout + done.stderr
    assert "CHOSEN:\t2" in done.stdout and "VERDICT:\tStops chosen: 2." in done.stdout
    assert len(rows_of(out / "stops.gpkg")) == 2
    assert {path.name for path in out.iterdir()} == {"stops.gpkg", "stops.gpx"}
