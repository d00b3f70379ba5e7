"""The whole road on the sample field, set against the truth that the field was made from."""
import hashlib
import json
import shutil
import subprocess
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from osgeo import gdal, ogr

from plugin.core.decide.yield_response import load_table
from plugin.layers.rasters import read_surface
from plugin.record.read import open_record
from sample_project import truth

SAMPLE = Path(__file__).parents[1] / "sample_project" / "sample_field.gpkg"


@pytest.fixture(scope="module")
def call(qgis_processing, tmp_path_factory):
    """Run the demo once: the folder that holds the record and its results."""
    from sample_project.demo import run_demo
    folder = tmp_path_factory.mktemp("demo")
    run_demo(folder, page="Letter")
    return folder


@pytest.fixture(scope="module")
def results(call):
    return call / "results"


@pytest.fixture(scope="module")
def summary(results):
    return json.loads((results / "summary.json").read_text(encoding="utf-8"))


def inside_cells(surface):
    """Cells whose centre has an estimate, and their positions."""
    cells = np.flatnonzero(np.isfinite(surface.estimate))
    return cells, surface.grid.centres()[cells]


def root_mean_square(errors):
    return float(np.sqrt(np.mean(np.square(errors))))


def column_at(results, layer_name, column, positions):
    """The column of the zone that each position lies in; None outside every zone."""
    dataset = gdal.OpenEx(str(results / "zones.gpkg"), gdal.OF_VECTOR)
    layer = dataset.GetLayerByName(layer_name)
    zones = [(row.GetGeometryRef().Clone(), row.GetField(column)) for row in layer]
    found = [None] * len(positions)
    for number, (easting, northing) in enumerate(positions):
        point = ogr.Geometry(ogr.wkbPoint)
        point.AddPoint_2D(float(easting), float(northing))
        found[number] = next((value for shape, value in zones if shape.Contains(point)), None)
    return np.array(found, object)


def test_the_stand_map_is_near_the_truth_and_knows_how_near(results, capsys):
    surface = read_surface(results / "surfaces" / "stand.tif")
    cells, positions = inside_cells(surface)
    true = truth.truth_at(positions)["population"]
    errors = surface.estimate.flat[cells] - true
    covered = np.mean(np.abs(errors) < 1.645 * surface.standard_error.flat[cells])
    with capsys.disabled():
        print(f"\npopulation: RMSE {root_mean_square(errors):,.0f} plants/ac (the field's own "
              f"spread {true.std():,.0f}), 90 % interval holds {covered:.0%} of the field")
    # 3,300 when written; the mean alone is off by the field's own spread of 6,500.
    assert root_mean_square(errors) < 3_800
    assert 0.8 < covered < 0.97


@pytest.mark.parametrize("depth, most_in", [("top", 1.15), ("bottom", 0.6)])
def test_the_pan_lies_where_it_is(results, depth, most_in, capsys):
    surface = read_surface(results / "surfaces" / f"pan_{depth}.tif")
    cells, positions = inside_cells(surface)
    true = truth.truth_at(positions)
    there = true["pan"]
    errors = (surface.estimate.flat[cells] - true[f"pan_{depth}"])[there]
    with capsys.disabled():
        print(f"\n{depth} of the pan: RMSE {root_mean_square(errors):.2f} in (own spread "
              f"{true[f'pan_{depth}'][there].std():.2f})")
    # 0.9 and 0.46 when written; the mean alone is off by 1.5 and 0.8.
    assert root_mean_square(errors) < most_in


def test_most_of_the_area_is_decided_as_the_truth_would_have_it(results, summary, capsys):
    surface = read_surface(results / "surfaces" / "stand.tif")
    cells, positions = inside_cells(surface)
    cells, positions = cells[::7], positions[::7]
    true = truth.truth_at(positions)
    threshold = summary["replant"]["break_even"]["value"]
    replant = column_at(results, "replant_plan", "action", positions)
    till = column_at(results, "tillage_plan", "action", positions)
    inside = np.array([action is not None for action in replant])
    open_yet = inside & (replant == "look again")
    decided = inside & ~open_yet
    replant_right = np.mean((replant == "replant")[decided]
                            == (true["population"] < threshold)[decided])
    till_right = np.mean((till == "till")[inside] == true["pan"][inside])
    with capsys.disabled():
        print(f"\ndecided rightly: replant {replant_right:.1%} of the area but for "
              f"{open_yet.sum() / inside.sum():.1%} to look at again, tillage {till_right:.1%}")
    # 93.5 and 86 % when written. One action for the whole field gets 84 and 66 %.
    assert replant_right > 0.92 and open_yet.sum() < 0.1 * inside.sum()
    assert till_right > 0.8


def test_the_depth_set_clears_the_pan_on_nearly_all_that_is_loosened(results):
    surface = read_surface(results / "surfaces" / "pan_bottom.tif")
    _, positions = inside_cells(surface)
    positions = positions[::7]
    true = truth.truth_at(positions)
    rates = column_at(results, "tillage_plan", "rate", positions)
    loosened = np.array([bool(rate) for rate in rates]) & true["pan"]
    depth = np.array([float(rate or 0) for rate in rates])
    assert np.mean(depth[loosened] >= true["pan_bottom"][loosened]) > 0.95


def test_areas_add_up_to_the_field(summary):
    area = summary["field"]["area"]["value"]
    for plan in ("replant", "tillage", "sidedress", "lime"):
        zones = sum(zone["area"]["value"] for zone in summary[plan]["zones"])
        assert zones == pytest.approx(area, rel=1e-9)  # shares of cells are exact
    assert area == pytest.approx(86.5, abs=0.05)  # the field as it was drawn, to print


def test_the_zones_drawn_have_the_areas_printed(results, summary):
    dataset = gdal.OpenEx(str(results / "zones.gpkg"), gdal.OF_VECTOR)
    for plan in ("replant", "tillage", "sidedress", "lime"):
        for row in dataset.GetLayerByName(f"{plan}_plan"):
            acres = row.GetGeometryRef().Area() / 4046.8564224
            assert acres == pytest.approx(row.GetField("area"), rel=1e-6)


def test_every_figure_of_the_summary_stands_in_the_report(results, summary):
    text = subprocess.run(["pdftotext", "-layout", str(results / "report.pdf"), "-"],
                          capture_output=True, text=True, check=True).stdout
    words = " ".join(text.split())
    printed = [summary["field"]["area"], summary["stand"]["mean"], summary["stand"]["interval"],
               summary["pan"]["top"], summary["pan"]["bottom"], summary["pan"]["with_pan"],
               summary["replant"]["totals"]["gain"], summary["replant"]["break_even"],
               *summary["replant"]["totals"]["area_by_action"].values(),
               *summary["tillage"]["totals"]["area_by_action"].values(),
               *(part for plan in ("replant", "tillage", "sidedress", "lime")
                 for zone in summary[plan]["zones"]
                 for part in (zone["rate"], zone["area"], zone["chance"])),
               *(one["mean"] for one in summary["yields"]),
               *(summary["seen"]["seeds"][name] for name in ("mean", "interval", "emerged")),
               *(one["counted_incidence"] for one in summary["seen"]["subjects"]
                 if "counted_incidence" in one), *(one["mean"] for one in summary["soil"])]
    missing = [figure["text"] for figure in printed if figure["text"] not in words]
    assert not missing


@pytest.mark.parametrize("plan", ["replant", "tillage", "sidedress", "lime"])
@pytest.mark.parametrize("extension", ["gpkg", "shp", "geojson"])
def test_rate_files_hold_the_rates_of_the_plan(results, summary, plan, extension):
    dataset = gdal.OpenEx(str(results / "rates" / f"{plan}.{extension}"), gdal.OF_VECTOR)
    layer = dataset.GetLayer(0)
    assert layer.GetSpatialRef().IsGeographic()
    west, east, south, north = layer.GetExtent()
    assert -93.6 < west < east < -93.4 and 41.9 < south < north < 42.1  # the sample's place
    rates = {}
    for row in layer:
        values = {name.lower(): value for name, value in row.items().items()}
        assert row.GetGeometryRef().GetGeometryName() == "POLYGON"
        rates[str(values["zone"])] = values["rate"]
    # nitrogen comes in a liquid of 32 %, 11.06 lb/gal: its files count gallons of it
    product = 0.32 * 11.06 if plan == "sidedress" else 1.0
    wanted = {zone["zone"]: round(zone["rate"]["value"] / product, 2)
              for zone in summary[plan]["zones"]}
    assert rates == pytest.approx(wanted)


@pytest.mark.parametrize("plan,step", [("replant", 4.0468564224), ("tillage", 1 / 25.4)])
def test_task_files_hold_the_rates_of_the_plan(results, summary, plan, step):
    with zipfile.ZipFile(results / "rates" / f"{plan}.zip") as packed:
        root = ElementTree.fromstring(packed.read("TASKDATA/TASKDATA.XML"))
    rates = {zone.attrib["B"].split(" ")[0]: float(zone.find("PDV").attrib["B"]) * step
             for zone in root.find("TSK").findall("TZN") if zone.find("PLN") is not None}
    wanted = {zone["zone"]: zone["rate"]["value"] for zone in summary[plan]["zones"]}
    assert rates.keys() == wanted.keys()
    assert all(abs(rates[zone] - rate) <= step / 2 for zone, rate in wanted.items())


@pytest.mark.parametrize("plan,words", [("replant", "seeds/ac"), ("tillage", "utilities located")])
def test_the_work_order_is_one_page(results, plan, words):
    text = subprocess.run(["pdftotext", "-layout", results / "rates" / f"{plan}_work_order.pdf",
                           "-"], check=True, capture_output=True, text=True).stdout
    assert "Page 1 of 1" in text and words in text and f"{plan}.zip" in text


def test_the_project_opens_with_every_layer_valid_and_by_relative_path(results, tmp_path):
    from qgis.core import QgsProject
    moved = tmp_path / "moved"
    shutil.copytree(results, moved)
    project = QgsProject()
    assert project.read(str(moved / "project.qgz"))
    layers = project.mapLayers().values()
    assert len(layers) >= 12
    assert all(layer.isValid() for layer in layers)
    assert all(str(moved) in layer.source() for layer in layers)
    project.clear()


def test_the_yield_maps_show_the_low_part_that_the_truth_has(results):
    surface = read_surface(results / "surfaces" / "yield_2024.tif")
    cells, positions = inside_cells(surface)
    true = truth.dry_yield_at(positions, 2024)
    assert np.corrcoef(surface.estimate.flat[cells], true)[0, 1] > 0.9


def test_what_was_seen_and_sampled_is_near_the_truth(summary):
    seeds = summary["seen"]["seeds"]
    # Sown 2.0 in deep, 2.2 in the crusted part, each seed give or take 0.2 in.
    low, high = (seeds["interval"][end]["value"] for end in ("low", "high"))
    assert low < 2.2 and high > 2.0 and high - low < 0.4
    assert (seeds["seeds"]["value"], seeds["stops"]["value"]) == (30, 10)
    soil = {one["name"]: one for one in summary["soil"]}
    # 17 ppm, 11 in the crusted part; pH 6.2, 0.7 more there, and the surface 0.3 below.
    assert 11 < soil["nitrate_n_ppm"]["mean"]["value"] < 20
    assert soil["nitrate_n_ppm"]["samples"]["value"] == 10
    assert soil["surface_ph"]["mean"]["value"] < soil["ph"]["mean"]["value"] < 6.9
    assert soil["ph"]["methods"] == "laboratory 5, meter 10"


def test_the_readings_point_to_what_is_true_of_the_field_and_to_nothing_else(results, summary):
    causes = {one["cause"]: one for one in summary["findings"]["causes"]}
    unit = causes["row_unit"]
    # Row unit 6 lacks 35 % of its plants; the low part is crusted, one patch that is worth few
    # independent stops. Pan, pH and nitrate leave the stand as it is; what the headland takes,
    # 6 %, is too little to show at 8 stops.
    assert unit["verdict"] == "consistent"
    assert unit["for"][0].startswith(f"Row unit {truth.WEAK_ROW_UNIT} stands ")
    assert sum("Row unit" in said for said in unit["for"]) == 1
    assert causes["crust_or_wet"]["verdict"] in ("consistent", "hint")
    assert {name for name, one in causes.items() if one["verdict"] in ("consistent", "hint")} == {
        "row_unit", "crust_or_wet"}
    text = subprocess.run(["pdftotext", "-layout", str(results / "report.pdf"), "-"],
                          capture_output=True, text=True, check=True).stdout
    assert summary["findings"]["headline"] in " ".join(text.split())


def test_the_record_is_left_as_it_was(call):
    record = open_record(call / "sample_field.gpkg")
    summary = json.loads((call / "results" / "summary.json").read_text(encoding="utf-8"))
    content = hashlib.sha256((call / "sample_field.gpkg").read_bytes()).hexdigest()
    assert summary["made"]["sha256"] == record.sha256 == content
    assert not list(call.glob("*.gpkg-*"))


def test_nothing_else_is_left_beside_the_results(call):
    assert sorted(path.name for path in call.iterdir()) == ["results", "sample_field.gpkg"]


def test_the_table_used_is_the_one_cited(summary):
    table = load_table("corn_nafziger_1994", "plants/ac")
    assert any(table.title in source and str(table.year) in source
               for source in summary["replant"]["sources"])


def test_nitrogen_and_lime_are_those_of_the_published_rules(summary):
    soil = {one["name"]: one for one in summary["soil"]}
    # Ten nitrate samples give no map: one rate, by (25 - mean) x 8, to the 10 lb/ac.
    zone, = summary["sidedress"]["zones"]
    needed = (25 - zone["figures"]["mean nitrate"]["value"]) * 8
    assert zone["rate"]["value"] == 10 * round(needed / 10)
    assert zone["figures"]["mean nitrate"]["value"] == pytest.approx(
        soil["nitrate_n_ppm"]["mean"]["value"], abs=0.5)  # weighed by the errors, which are alike
    assert summary["sidedress"]["headline"].startswith("The readings give no map; for the field")
    # Oregon to 6.4: 0.5 to 1.5 tons for buffers of 6.9 to 6.6, at 85 % of quality, to the 0.5
    for zone in summary["lime"]["zones"]:
        assert zone["rate"]["value"] in (0, 1.0, 1.5, 2.0)
        assert (zone["rate"]["value"] > 0) == (zone["figures"]["mean pH"]["value"] < 6.4)
