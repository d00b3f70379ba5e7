"""fieldcall: everything a record supports, whole or not at all."""
import json
import shutil

import pytest
from osgeo import gdal, ogr

from plugin.algorithms import field_call_steps
from tests.algorithms.small_calls import (
    AREA_M2,
    NO_PAN,
    change_field,
    insertion_rows,
    make_call,
    profile_of,
    sha256,
    stand_rows,
    stops,
)
from tests.algorithms.test_observe import with_crs

CELL = 20  # metres: coarse, so that a whole call takes seconds
EVERYTHING = {
    "observations.gpkg", "project.qgz", "report.pdf", "summary.json", "zones.gpkg",
    *(f"rates/{plan}.{end}" for plan in ("replant", "tillage")
      for end in ("gpkg", "shp", "shx", "dbf", "prj", "cpg", "geojson", "zip")),
    "rates/replant_work_order.pdf", "rates/tillage_work_order.pdf",
    *(f"surfaces/{name}.{end}" for name in ("stand", "pan_top", "pan_bottom", "pan_chance")
      for end in ("tif", "json"))}


def files(folder):
    return {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}


def summary_in(folder):
    return json.loads((folder / "summary.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def results(provider, calls, tmp_path_factory):
    """Return results(units): the folder of one whole field call, and what it returned.

    Progress as it was told is in results.told.
    """
    from qgis import processing
    from qgis.core import QgsProcessingFeedback
    made, folder = {}, tmp_path_factory.mktemp("results")

    def folder_of(units="us"):
        if units not in made:
            feedback, told = QgsProcessingFeedback(), []
            feedback.progressChanged.connect(told.append)
            made[units] = (folder / units, processing.run("spadework:fieldcall", {
                "RECORD": str(calls(units)), "OUTPUT_FOLDER": str(folder / units), "CELL": CELL},
                feedback=feedback))
            folder_of.told[units] = told
            assert {path.name for path in folder.iterdir()} == set(made)  # nothing beside them
        return made[units]
    folder_of.told = {}
    return folder_of


@pytest.mark.parametrize("units", ["us", "metric"])
def test_everything_the_record_supports_is_made_and_nothing_else(provider, results, units):
    folder, returned = results(units)
    assert files(folder) == EVERYTHING
    assert set(returned) == {one.name() for one in
                             provider.algorithm("fieldcall").outputDefinitions()}
    assert returned["LACKING"] == ""
    for name, file in (("REPORT", "report.pdf"), ("SUMMARY", "summary.json"),
                       ("PROJECT", "project.qgz")):
        assert returned[name] == str(folder / file)
    zones = ogr.Open(str(folder / "zones.gpkg"))
    names = {zones.GetLayer(number).GetName() for number in range(zones.GetLayerCount())}
    assert {"stand_zones", "replant_plan", "tillage_plan"} <= names
    for name in ("stand_zones", "replant_plan", "tillage_plan"):
        area = sum(row.GetGeometryRef().Area() for row in zones.GetLayerByName(name))
        assert area == pytest.approx(AREA_M2, rel=1e-6), name
    points = ogr.Open(str(folder / "observations.gpkg"))
    assert {name: points.GetLayerByName(name).GetFeatureCount() for name in ("stand", "pan")} == {
        "stand": 24, "pan": 24}
    assert (folder / "report.pdf").read_bytes().startswith(b"%PDF")


def figures_in(content, path=""):
    """Every dict with a value and a text, and where it stands."""
    if isinstance(content, dict):
        if "text" in content and "value" in content:
            yield path, content
        for name, part in content.items():
            yield from figures_in(part, f"{path}/{name}")
    elif isinstance(content, list):
        for number, part in enumerate(content):
            yield from figures_in(part, f"{path}/{number}")


def test_progress_goes_forward_only_and_to_the_end(results):
    results("us")
    told = results.told["us"]
    assert len(told) > 3 * len(field_call_steps.STEPS)  # most run several algorithms
    assert told == sorted(told) and told[-1] == 100.0


@pytest.mark.parametrize("units", ["us", "metric"])
def test_every_figure_of_the_summary_has_a_value_a_unit_and_a_text(results, calls, units):
    summary = summary_in(results(units)[0])
    figures = list(figures_in(summary))
    assert len(figures) > 60
    for where, figure in figures:
        assert set(figure) == {"value", "unit", "text"}, where
        assert isinstance(figure["value"], (int, float, str)), where
        assert isinstance(figure["unit"], str) and figure["text"].strip(), where
    assert summary["units"] == units and summary["made"]["record"] == f"{units}.gpkg"
    assert summary["made"]["sha256"] == sha256(calls(units))
    assert summary["made"]["program"] == "Spadework"
    assert summary["made"]["settings"] == {"CELL": CELL, "DRIFT": "none", "COVARIATES": []}
    used = {row["layer"]: (row["count"]["value"], row["used"]["value"])
            for row in summary["readings"]}
    assert used["stand_counts"] == used["compaction_readings"] == (24, 24)


def test_a_us_and_a_metric_record_of_one_field_come_to_the_same(results):
    us, metric = (summary_in(results(units)[0]) for units in ("us", "metric"))
    acres = 10_000 / (43_560 * 0.3048**2)
    assert us["field"]["area"]["value"] == pytest.approx(AREA_M2 / 1e4 * acres, rel=1e-9)
    assert metric["field"]["area"]["value"] == pytest.approx(AREA_M2 / 1e4, rel=1e-9)
    # The search for the covariance model stops at about 1e-4 of its range in either unit.
    close = dict(rel=1e-3)
    assert us["stand"]["mean"]["value"] * acres == pytest.approx(metric["stand"]["mean"]["value"],
                                                                 **close)
    assert us["pan"]["top"]["value"] * 2.54 == pytest.approx(metric["pan"]["top"]["value"], **close)
    assert us["pan"]["top"]["value"] * 2.54 == pytest.approx(22.5, **close)
    assert us["pan"]["bottom"]["value"] * 2.54 == pytest.approx(32.5, **close)
    assert us["replant"]["totals"]["gain"]["value"] == pytest.approx(
        metric["replant"]["totals"]["gain"]["value"], rel=0.01)
    for plan in ("replant", "tillage"):
        # Zones stand in order of their mean; where these are equal, rounding decides.
        assert sorted(zone["action"] for zone in us[plan]["zones"]) == sorted(
            zone["action"] for zone in metric[plan]["zones"])


def test_the_project_opens_with_every_layer(results):
    from qgis.core import QgsProject
    project = QgsProject()
    assert project.read(str(results("us")[0] / "project.qgz"))
    layers = project.mapLayers().values()
    assert len(layers) >= 9 and all(layer.isValid() for layer in layers)
    project.clear()


def test_what_the_record_does_not_support_is_named(run, tmp_path, out):
    path = make_call(tmp_path / "a.gpkg", stands=stand_rows(), field={"crop_price": None})
    before = sha256(path)
    found = run("fieldcall", RECORD=path, OUTPUT_FOLDER=out / "call", CELL=CELL)
    lacking = found["LACKING"].splitlines()
    assert lacking[0] == "Pan: the record holds no insertions."
    assert lacking[1].startswith("Replant plan: field, crop_price: Crop price is empty. Enter")
    assert run.warnings == lacking == summary_in(out / "call")["lacking"]
    summary = summary_in(out / "call")
    assert summary["pan"] is None and summary["replant"] is None and summary["tillage"] is None
    assert not {name for name in files(out / "call") if "pan" in name or "rates" in name}
    assert sha256(path) == before
    assert {entry.name for entry in tmp_path.iterdir()} == {"a.gpkg", "out"}


def test_zones_of_the_stand_ask_for_the_target_in_words(run, tmp_path, out):
    path = make_call(tmp_path / "a.gpkg", stands=stand_rows()[::3], field={"target_stand": None})
    found = run("fieldcall", RECORD=path, OUTPUT_FOLDER=out / "call", CELL=CELL)
    assert ("Stand zones: no target stand is entered. Enter it in the form of the field."
            in found["LACKING"].splitlines())


def test_no_pan_anywhere_is_a_finding(run, tmp_path, out):
    path = make_call(tmp_path / "a.gpkg", insertions=insertion_rows(), profiles=[NO_PAN] * 24)
    found = run("fieldcall", RECORD=path, OUTPUT_FOLDER=out / "call", CELL=CELL)
    assert ("Pan map: none of 24 stops met a pan at 290.075 psi, 24 of them looked at as deep as "
            "the tool goes; there is nothing to loosen.") in found["LACKING"]
    pan = summary_in(out / "call")["pan"]
    assert (pan["with_pan"]["value"], pan["none"]["value"]) == (0, 24)
    assert pan["area_with_pan"]["value"] == 0 and pan["top"]["value"] is None
    assert pan["top"]["text"] == "not known"
    assert {"report.pdf", "summary.json", "project.qgz"} <= files(out / "call")


def test_a_pan_everywhere_is_loosened_everywhere(run, tmp_path, out):
    path = make_call(tmp_path / "a.gpkg", "metric", insertions=insertion_rows(),
                     profiles=[profile_of(0.225, 0.325)] * 24)
    run("fieldcall", RECORD=path, OUTPUT_FOLDER=out / "call", CELL=CELL)
    summary = summary_in(out / "call")
    assert summary["pan"]["area_with_pan"]["value"] == pytest.approx(AREA_M2 / 1e4, rel=1e-9)
    zone, = summary["tillage"]["zones"]
    # 32.5 cm and 2 cm below it, up to the next 5 cm.
    assert (zone["action"], zone["rate"]["value"]) == ("till", 35)
    assert zone["area"]["value"] == pytest.approx(AREA_M2 / 1e4, rel=1e-9)


def test_readings_that_are_all_equal_make_a_flat_map_that_says_so(run, tmp_path, out):
    path = make_call(tmp_path / "a.gpkg", stands=stand_rows(density=lambda x, y: 5.0))
    run("fieldcall", RECORD=path, OUTPUT_FOLDER=out / "call", CELL=CELL)
    stand = summary_in(out / "call")["stand"]
    assert stand["verdict"] == "All 24 readings are equal. Shown is their value with its error."
    raster = gdal.Open(str(out / "call" / "surfaces" / "stand.tif"))
    # 76 plants on 15.24 m2, in plants per acre.
    least, greatest = raster.GetRasterBand(1).ComputeRasterMinMax(False)
    assert least == pytest.approx(greatest, rel=1e-12)
    assert least == pytest.approx(76 / 15.24 * 43_560 * 0.3048**2, rel=1e-9)
    raster = None


def test_a_second_call_replaces_the_first_only_when_asked(run, refused, results, calls, out):
    shutil.copytree(results("us")[0], out / "call")
    (out / "call" / "summary.json.bak").write_text("from before")
    given = dict(RECORD=calls("us"), OUTPUT_FOLDER=out / "call", CELL=CELL)
    refused("holds the results of an earlier field call. Choose another folder, or", "fieldcall",
            **given)
    assert (out / "call" / "summary.json.bak").exists()
    run("fieldcall", REPLACE=True, **given)
    assert files(out / "call") == EVERYTHING
    assert [entry.name for entry in out.iterdir()] == ["call"]


@pytest.mark.parametrize("replace", [False, True])
def test_a_folder_with_other_files_is_refused_and_left_alone(refused, calls, out, replace):
    (out / "call").mkdir()
    (out / "call" / "photo.jpg").write_text("mine")
    refused("holds files that are no results of a field call", "fieldcall", RECORD=calls("us"),
            OUTPUT_FOLDER=out / "call", CELL=CELL, REPLACE=replace)
    refused("There is no folder .*gone", "fieldcall", RECORD=calls("us"), CELL=CELL,
            OUTPUT_FOLDER=out / "gone" / "call", REPLACE=replace)
    assert files(out) == {"call/photo.jpg"} and [one.name for one in out.iterdir()] == ["call"]


@pytest.mark.parametrize("percent", [5, 50, 88])
def test_a_call_cancelled_on_the_way_leaves_nothing(run, cancelling, calls, out, percent):
    feedback = cancelling(percent)
    assert run("fieldcall", feedback, RECORD=calls("us"), OUTPUT_FOLDER=out / "call",
               CELL=CELL) == {}
    assert feedback.isCanceled() and list(out.iterdir()) == []


def test_a_call_cancelled_on_the_way_keeps_the_results_of_before(
        run, cancelling, results, calls, out):
    shutil.copytree(results("us")[0], out / "call")
    before = {name: (out / "call" / name).read_bytes() for name in files(out / "call")}
    run("fieldcall", cancelling(30), RECORD=calls("us"), OUTPUT_FOLDER=out / "call", CELL=CELL,
        REPLACE=True)
    assert {name: (out / "call" / name).read_bytes() for name in files(out / "call")} == before
    assert [one.name for one in out.iterdir()] == ["call"]


def test_a_defect_on_the_way_travels_up_and_leaves_nothing(run, calls, out, monkeypatch):
    from qgis.core import QgsProcessingException

    def broken(*anything, **more):
        raise ZeroDivisionError("a defect")
    monkeypatch.setattr(field_call_steps, "write_project", broken)
    with pytest.raises(QgsProcessingException, match="ZeroDivisionError: a defect"):
        run("fieldcall", RECORD=calls("us"), OUTPUT_FOLDER=out / "call", CELL=CELL)
    assert list(out.iterdir()) == []


def test_what_no_step_can_read_is_told_step_by_step(run, calls, out):
    record = out / "call.gpkg"
    out.mkdir(exist_ok=True)
    shutil.copy(calls("us"), record)
    database = gdal.OpenEx(str(record), gdal.OF_VECTOR | gdal.OF_UPDATE)
    database.ExecuteSQL("UPDATE stand_counts SET hoops = 'two'")
    database = None
    found = run("fieldcall", RECORD=record, OUTPUT_FOLDER=out / "call", CELL=CELL)
    told = [line.split(": ")[0] for line in found["LACKING"].splitlines()]
    assert "Stand" in told and "What the readings point to" in told


def test_a_defect_in_a_step_is_not_taken_for_something_lacking(run, calls, out, monkeypatch):
    from qgis.core import QgsProcessingException

    from plugin.algorithms import stand_at_stops

    def broken(*anything):
        raise ZeroDivisionError("a defect")
    monkeypatch.setattr(stand_at_stops, "stand_readings", broken)
    with pytest.raises(QgsProcessingException, match="ZeroDivisionError: a defect"):
        run("fieldcall", RECORD=calls("us"), OUTPUT_FOLDER=out / "call", CELL=CELL)
    assert list(out.iterdir()) == []


def test_an_output_folder_left_to_qgis_is_a_temporary_one(
        provider, tmp_path, out, monkeypatch):
    from pathlib import Path

    from qgis.core import QgsProcessingContext, QgsProcessingFeedback
    path = make_call(tmp_path / "a.gpkg", stands=stand_rows()[::23])
    monkeypatch.chdir(out)
    # As the toolbox does it: the word reaches the algorithm.
    context, given = QgsProcessingContext(), {
        "RECORD": str(path), "OUTPUT_FOLDER": "TEMPORARY_OUTPUT", "CELL": CELL}
    algorithm = provider.algorithm("fieldcall").create()
    assert algorithm.checkParameterValues(given, context) == (True, "")
    found, fine = algorithm.run(given, context, QgsProcessingFeedback(), catchExceptions=False)
    assert fine
    folder = Path(found["OUTPUT_FOLDER"])
    assert list(out.iterdir()) == [] and folder.is_absolute()
    assert "summary.json" in files(folder)
    assert "2 readings are too few for a map" in summary_in(folder)["stand"]["verdict"]
    shutil.rmtree(folder)


def without_layer(path, name):
    dataset = gdal.OpenEx(str(path), gdal.OF_VECTOR | gdal.OF_UPDATE)
    number, = [n for n in range(dataset.GetLayerCount()) if dataset.GetLayer(n).GetName() == name]
    assert dataset.DeleteLayer(number) == 0
    dataset = None


def without_boundary(path):
    dataset = gdal.OpenEx(str(path), gdal.OF_VECTOR | gdal.OF_UPDATE)
    layer = dataset.GetLayerByName("field")
    feature = layer.GetFeature(1)
    feature.SetGeometry(None)
    assert layer.SetFeature(feature) == 0
    feature = layer = dataset = None


@pytest.mark.parametrize("change,words", [
    (lambda path: without_layer(path, "scout_notes"), "is no record: it has no layer scout_notes"),
    (without_boundary, "field has no boundary. Draw the outline of the field"),
    (lambda path: change_field(path, units="imperial"), "'imperial' is not one of us, metric"),
    (lambda path: path.write_text("words"), "is not a GeoPackage that can be read")])
def test_a_record_that_is_not_whole_is_refused(refused, calls, tmp_path, out, change, words):
    path = tmp_path / "a.gpkg"
    shutil.copyfile(calls("us"), path)
    change(path)
    before = sha256(path)
    refused(words, "fieldcall", RECORD=path, OUTPUT_FOLDER=out / "call", CELL=CELL)
    assert list(out.iterdir()) == [] and sha256(path) == before


@pytest.mark.parametrize("epsg", [4326, 2236])  # degrees; US survey feet
def test_a_record_not_in_metres_is_refused(refused, calls, tmp_path, out, epsg):
    path = tmp_path / "a.gpkg"
    with_crs(calls("us"), path, epsg)
    refused("which does not count in metres. Keep the record in the field's UTM zone", "fieldcall",
            RECORD=path, OUTPUT_FOLDER=out / "call", CELL=CELL)
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("readings,words", [
    ({}, "a.gpkg holds no readings yet. Enter the stops"),
    ({"stands": stand_rows()[:1]}, "Nothing could be made of the record. Stand: .*at least 2"),
    ({"stands": [{**stand_rows()[0], "x": 0.0}]},
     "Nothing could be made of the record. Stand: None of 1 stand counts can be used"),
    ({"insertions": insertion_rows()[:1], "profiles": [None]},
     "Nothing could be made of the record. .*Pan: None of 1 insertions can be used")])
def test_a_record_of_which_nothing_can_be_made_is_refused(refused, tmp_path, out, readings, words):
    path = make_call(tmp_path / "a.gpkg", **readings)
    before = sha256(path)
    refused(words, "fieldcall", RECORD=path, OUTPUT_FOLDER=out / "call", CELL=CELL)
    assert list(out.iterdir()) == [] and sha256(path) == before


def test_a_single_insertion_with_a_pan_is_reported_without_a_map(run, tmp_path, out):
    path = make_call(tmp_path / "a.gpkg", insertions=insertion_rows(stops()[:1]),
                     profiles=[profile_of(0.225, 0.325)])
    found = run("fieldcall", RECORD=path, OUTPUT_FOLDER=out / "call", CELL=CELL)
    assert "Pan map: " in found["LACKING"] and "at least 2" in found["LACKING"]
    pan = summary_in(out / "call")["pan"]
    assert (pan["insertions"]["value"], pan["with_pan"]["value"]) == (1, 1)
    assert summary_in(out / "call")["tillage"] is None
