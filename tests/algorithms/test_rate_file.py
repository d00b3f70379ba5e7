"""ratefile through Processing: units, limits, formats, work order, and what it refuses."""
import json
import subprocess
import zipfile

import pytest
from osgeo import ogr

from plugin.layers.task_files import read_task_file
from tests.algorithms.small_calls import SOUTH

FIELDS = "&field=zone:int&field=action:string&field=rate:double&field=rate_unit:string"
FILES = {0: "r.gpkg", 1: "r.shp", 2: "r.geojson", 3: "r.zip", 4: "r_grid.zip", 5: "r_codes.zip"}


def square(number=0, size=100):
    west, south = 500_010 + 150 * number, SOUTH + 8
    return (f"Polygon (({west} {south}, {west + size} {south}, {west + size} {south + size}, "
            f"{west} {south + size}, {west} {south}))")


@pytest.fixture
def plan(layer):
    """Return plan(*rows): a plan of squares of 1 ha beside each other, in the rows' order."""
    def made(*rows, crs="EPSG:32615", fields=FIELDS, shapes=None, size=100):
        shapes = shapes or [square(number, size) for number in range(len(rows))]
        return layer("MultiPolygon", [(shape, *row) for shape, row in zip(shapes, rows)], crs,
                     fields)
    return made


SEEDS = [(1, "replant", 32_000.0, "seeds/ac"), (2, "keep", 0.0, "seeds/ac")]


def elements(path, tag):
    return [one.attributes for one in read_task_file(path)[0].walk() if one.tag == tag]


def values(path):
    return [int(one["B"]) for one in elements(path, "PDV")]


@pytest.mark.parametrize("number", FILES)
def test_each_format_alone_bears_the_name_given(run, plan, out, number):
    name = "any" + {0: ".gpkg", 1: ".shp", 2: ".geojson"}.get(number, ".zip")
    found = run("ratefile", PLAN=plan(*SEEDS), FORMAT=number, FILE=out / name, CELL=10)
    assert (out / name).is_file() and found["FILES"] == str(out / name)
    # two squares of 100 m, 50 m apart, in cells of 10 m: 100 each, a few more or less at the edges
    assert found["POLYGONS"] == 2 if number < 4 else 190 <= found["POLYGONS"] <= 210


def test_several_formats_and_the_work_order_come_together(run, plan, out):
    found = run("ratefile", PLAN=plan(*SEEDS), FORMAT=list(FILES), FILE=out / "r.gpkg", CELL=10,
                WORK_ORDER=out / "w.pdf", FIELD_NAME="Quarry Flat")
    assert found["FILES"].splitlines() == [str(out / name) for name in (*FILES.values(), "w.pdf")]
    assert {path.name for path in out.iterdir()} == {
        *FILES.values(), "w.pdf", "r.shx", "r.dbf", "r.prj", "r.cpg"}
    text = subprocess.run(["pdftotext", "-layout", str(out / "w.pdf"), "-"], check=True,
                          capture_output=True, text=True).stdout
    # 32,000 x 2.4710538 ac
    for words in ("Work order: Quarry Flat", "79,074 seeds", "2.47 ac of 4.94 ac", "r_codes.zip",
                  "TASKDATA to the root", "Page 1 of 1", "4.05 seeds/ac", "Outside the field"):
        assert words in text, words
    assert text.count("\f") == 1


def test_rates_come_in_the_controllers_unit(run, plan, out):
    given = plan((1, "till", 14.0, "in"), (2, "leave", 0.0, "in"))
    run("ratefile", PLAN=given, FORMAT=[2, 3], FILE=out / "r.zip", CONTROLLER_UNIT=4, VERSION=1,
        OUTSIDE_RATE=2.0, LOST_RATE=25.0)
    rows = json.loads((out / "r.geojson").read_text("utf-8"))["features"]
    assert [(row["properties"]["rate"], row["properties"]["unit"]) for row in rows] == [
        (35.56, "cm"), (0.0, "cm")]
    # outside, lost, then the zones: 355.6 mm is 356 raw
    assert values(out / "r.zip") == [20, 250, 356, 0]
    assert {one["A"] for one in elements(out / "r.zip", "PDV")} == {"0033"}
    assert elements(out / "r.zip", "ISO11783_TaskData")[0]["VersionMajor"] == "4"


def test_other_polygons_with_a_rate_and_a_unit_are_taken(run, plan, out):
    given = plan((150.0,), (0.0,), fields="&field=npk:double")
    run("ratefile", PLAN=given, RATE_FIELD="npk", RATE_UNIT="kg/ha", FORMAT=[0, 3],
        FILE=out / "r.gpkg", FARM="Home", CUSTOMER="Hollis")
    data = ogr.Open(str(out / "r.gpkg"))
    assert [feature.GetField("zone") for feature in data.GetLayer(0)] == [1, 2]
    assert values(out / "r.zip") == [0, 0, 15_000, 0]
    assert [one["B"] for tag in ("CTR", "FRM") for one in elements(out / "r.zip", tag)] == [
        "Hollis", "Home"]
    assert elements(out / "r.zip", "PFD")[0]["C"] == "readings"  # the layer's name


def test_a_planned_nutrient_is_written_as_product(run, plan, out):
    run("ratefile", PLAN=plan((1, "apply", 120.0, "lb/ac"), (2, "none", 0.0, "lb/ac")),
        FORMAT=[2, 3], FILE=out / "r.zip", CONTROLLER_UNIT=9, CONTENT=28, DENSITY=1.28,
        WORK_ORDER=out / "w.pdf")
    # 120 lb/ac = 134.5022 kg/ha; / 0.28 / 1.28 = 375.285 L/ha; 40.1204 gal/ac
    rows = json.loads((out / "r.geojson").read_text("utf-8"))["features"]
    assert [row["properties"]["rate"] for row in rows] == [40.12, 0.0]
    assert values(out / "r.zip")[2] == pytest.approx(3_752_850, abs=5)
    text = subprocess.run(["pdftotext", "-layout", str(out / "w.pdf"), "-"], check=True,
                          capture_output=True, text=True).stdout
    assert "Nutrient in the product" in text and "28 %" in text


def test_the_work_order_adds_up_fuel_and_hours_of_the_ground_worked(run, plan, out):
    given = plan((1, "till", 14.0, "in", "ac", 60.4, 3.26), (2, "leave", 0.0, "in", "ac"),
                 fields=f"{FIELDS}&field=area_unit:string&field=fuel:double&field=hours:double")
    run("ratefile", PLAN=given, FORMAT=[0], FILE=out / "r.gpkg", WORK_ORDER=out / "w.pdf")
    text = subprocess.run(["pdftotext", "-layout", str(out / "w.pdf"), "-"], check=True,
                          capture_output=True, text=True).stdout
    for words in ("Fuel, estimated", "60 gal", "Hours in the field, estimated", "3.3 h"):
        assert words in text, words


def test_rates_of_a_nutrient_without_its_product_say_so(run, plan, out):
    given = plan((1, "apply", 120.0, "lb/ac", "nitrogen"), fields=f"{FIELDS}&field=rate_of:string")
    for content, words in ((100, "Rates count nitrogen itself"), (46, "Nitrogen in the product")):
        run("ratefile", PLAN=given, FORMAT=[0], FILE=out / "r.gpkg", WORK_ORDER=out / "w.pdf",
            CONTENT=content)
        text = subprocess.run(["pdftotext", "-layout", str(out / "w.pdf"), "-"], check=True,
                              capture_output=True, text=True).stdout
        assert words in text
        assert ("Rates count nitrogen itself" in text) == (content == 100)


def test_limits_of_the_controller_hold_in_its_unit(run, refused, plan, out):
    # 32,000 seeds/ac are 79,073.7 seeds/ha
    given = dict(PLAN=plan(*SEEDS), FORMAT=3, FILE=out / "r.zip", CONTROLLER_UNIT=2)
    refused("readings, row 1, rate: 79073.7.* seeds/ha is above the controller's greatest rate, "
            "79000 seeds/ha. Change the plan", "ratefile", **given, GREATEST=79_000)
    refused("row 1, rate: 79073.7.* is below the controller's least rate, 80000", "ratefile",
            **given, LEAST=80_000)
    refused("LOST_RATE: 90000 seeds/ha is above", "ratefile", **given, GREATEST=80_000,
            LOST_RATE=90_000)
    refused("OUTSIDE_RATE: 5 seeds/ha is below", "ratefile", **given, LEAST=10, OUTSIDE_RATE=5)
    assert list(out.iterdir()) == []
    run("ratefile", **given, GREATEST=79_074, LEAST=79_073)


@pytest.mark.parametrize("name,words", [
    ("CELL", "Cell: nan was entered; enter 0.5 to 1000"),
    ("LEAST", "Least rate of the controller: nan was entered; enter 0 or more"),
    ("LOST_RATE", "Rate where the position is lost: nan was entered; enter 0 or more"),
    ("CONTENT", "Nutrient in the product: nan was entered; enter 0.1 to 100")])
def test_a_number_that_is_none_is_refused_by_its_label(refused, plan, out, name, words):
    refused(words, "ratefile", PLAN=plan(*SEEDS), FORMAT=[0, 4], FILE=out / "r.gpkg",
            **{name: float("nan")})
    assert list(out.iterdir()) == []


def test_a_plan_over_the_180th_meridian_is_refused_and_one_beside_it_is_written(run, refused, plan,
                                                                                out):
    # zone 1 begins at 180 degrees, some 252 km west of its middle at 41.5 degrees of latitude
    over, beside = ("Polygon ((249000 4600000, 250000 4600000, 250000 4600500, 249000 4600500, "
                    "249000 4600000))", "Polygon ((251000 4600000, 252000 4600000, 252000 4600500, "
                    "251000 4600500, 251000 4600000))")
    refused("must be split there", "ratefile", FORMAT=[0, 2, 3], FILE=out / "r.gpkg",
            PLAN=plan((1, "", 4.0, "in"), crs="EPSG:32601", shapes=[over]))
    assert list(out.iterdir()) == []
    run("ratefile", FORMAT=[2, 3], FILE=out / "r.zip",
        PLAN=plan((1, "", 4.0, "in"), crs="EPSG:32601", shapes=[beside]))
    assert all(-180 <= float(one["D"]) < -179 for one in elements(out / "r.zip", "PNT"))


def test_fuel_of_a_tillage_plan_stands_on_its_work_order(run, plan, out):
    given = plan((1, "till", 14.0, "in", 85.0, "ac"), (2, "leave", 0.0, "in", None, "ac"),
                 fields=FIELDS + "&field=fuel:double&field=area_unit:string")
    run("ratefile", PLAN=given, FILE=out / "r.gpkg", WORK_ORDER=out / "w.pdf", CONTROLLER_UNIT=4)
    text = subprocess.run(["pdftotext", "-layout", str(out / "w.pdf"), "-"], check=True,
                          capture_output=True, text=True).stdout
    assert "Fuel, estimated" in text and "85 gal" in text


MANY = [(number, "", float(number), "in") for number in range(254)]
HOLED = ("MultiPolygon (((500010 4400010, 500110 4400010, 500110 4400110, 500010 4400110, "
         "500010 4400010), (500040 4400040, 500040 4400060, 500060 4400060, 500060 4400040, "
         "500040 4400040)), ((500120 4400010, 500150 4400010, 500150 4400110, 500120 4400010)))")
TOUCHING = ("Polygon ((500010 4400010, 500060 4400010, 500110 4400010, 500110 4400110, 500060 "
            "4400010, 500010 4400110, 500010 4400010))")
REFUSED = {
    "more zones than codes": (MANY, dict(size=40), "254 zones, each part .* more than the 253"),
    "a rate that ISO cannot hold": ([(1, "", 400_000.0, "L/ha")], {}, "beyond 214748 L/ha"),
    "a unit that ISO does not know": ([(1, "", 4.0, "USD/ac")], {}, "not rates in USD/ac"),
    "an empty unit": ([(1, "", 4.0, "")], {}, "not rates in no unit"),
    "a self-touching ring": ([(1, "", 4.0, "in")], dict(shapes=[TOUCHING]),
                             "Zone 1: its polygon crosses or touches itself"),
    "overlapping zones": ([(1, "", 4.0, "in"), (2, "", 5.0, "in")],
                          dict(shapes=[square(), square()]), "overlap on 1e.02 % of the field"),
    "no CRS": ([(1, "", 4.0, "in")], dict(crs=""), "readings has no CRS"),
    "NaN": ([(1, "", float("nan"), "in")], {}, "row 1, rate: nan is no rate"),
    "negative": ([(1, "", -1.0, "in")], {}, "row 1, rate: -1.0 is no rate"),
    "empty": ([], {}, "readings has no zone to write a rate for")}


@pytest.mark.parametrize("rows,options,words", REFUSED.values(), ids=REFUSED)
def test_what_makes_no_valid_file_is_refused_and_no_file_stays(refused, plan, out, rows, options,
                                                               words):
    refused(words, "ratefile", PLAN=plan(*rows, **options), FORMAT=[0, 3], FILE=out / "r.gpkg",
            WORK_ORDER=out / "w.pdf")
    assert list(out.iterdir()) == []


def test_holes_and_several_parts_are_written(run, plan, out):
    found = run("ratefile", PLAN=plan((1, "till", 12.0, "in"), shapes=[HOLED]),
                FORMAT=list(FILES), FILE=out / "r.gpkg", CELL=5)
    assert found["POLYGONS"] > 4 * 2
    assert [one["A"] for one in elements(out / "r.zip", "LSG")].count("2") == 2  # boundary, zone


def test_many_zones_go_into_a_grid_of_rates(run, plan, out):
    run("ratefile", PLAN=plan(*MANY, size=40), FORMAT=4, FILE=out / "r.zip", CELL=20)
    assert len(set(read_task_file(out / "r.zip")[1]["GRD00000"][::4])) > 100


def test_the_work_order_of_many_rates_stays_on_one_page(run, plan, out):
    run("ratefile", PLAN=plan(*MANY[:120], size=40), FORMAT=[0, 3], FILE=out / "r.gpkg",
        WORK_ORDER=out / "w.pdf", PAGE=1)
    text = subprocess.run(["pdftotext", "-layout", str(out / "w.pdf"), "-"], check=True,
                          capture_output=True, text=True).stdout
    assert "Page 1 of 1" in text and "more, with lower rates: see the files" in text


def test_a_file_that_reads_back_otherwise_is_not_handed_over(monkeypatch, refused, plan, out):
    from plugin.layers import task_files

    def pack_another(path, file):
        from dataclasses import replace
        zones = tuple(replace(zone, raw=zone.raw + 1) for zone in file.zones)
        return pack(path, replace(file, zones=zones))
    pack = task_files._pack
    monkeypatch.setattr(task_files, "_pack", pack_another)
    refused("read back with .* Nothing was handed over", "ratefile", PLAN=plan(*SEEDS),
            FORMAT=[0, 3], FILE=out / "r.gpkg", WORK_ORDER=out / "w.pdf")
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("percent", [-1, 30, 75])
def test_cancelled_half_way_nothing_is_left(run, cancelling, plan, out, percent):
    assert run("ratefile", cancelling(percent), PLAN=plan(*SEEDS), FORMAT=[0, 3, 4],
               FILE=out / "r.gpkg", WORK_ORDER=out / "w.pdf") == {}
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("formats,name,words", [
    ([0, 3], "r.shp", r"r\.shp does not end in \.gpkg or \.zip, as a GeoPackage or ISO 11783-10"),
    ([4, 5], "r.zip", r"does not end in _grid\.zip or _codes\.zip"),
    ([], "r.gpkg", "No format was chosen")])
def test_a_name_that_fits_none_of_the_formats_is_refused(refused, plan, out, formats, name, words):
    refused(words, "ratefile", PLAN=plan(*SEEDS), FORMAT=formats, FILE=out / name)


def test_a_zip_holds_the_folder_that_goes_to_the_root_of_the_stick(run, plan, out):
    run("ratefile", PLAN=plan(*SEEDS), FORMAT=4, FILE=out / "r.zip", CELL=10)
    with zipfile.ZipFile(out / "r.zip") as packed:
        assert packed.namelist() == ["TASKDATA/TASKDATA.XML", "TASKDATA/GRD00000.bin"]
