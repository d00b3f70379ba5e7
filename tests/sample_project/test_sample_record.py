"""The record and the project kept with the sample, against the generator that made them."""
import shutil
import subprocess
import sys
import zipfile
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from osgeo import ogr

from plugin.core.units import convert
from plugin.record.read import open_record
from plugin.record.schema import LAYERS, layer_spec
from sample_project import boundary
from sample_project.make_sample import add_yields, main, make_record, truth_table
from sample_project.readings import field_row, readings

ROOT = Path(__file__).parents[2]
RECORD = ROOT / "sample_project" / "sample_field.gpkg"
PROJECT = RECORD.with_suffix(".qgz")


def assert_same_rows(record, layer, rows):
    """Every column of every row, in order; what a row does not name is empty or a default."""
    table, spec = record.table(layer), layer_spec(layer)
    assert len(table["fid"]) == len(rows)
    places = ("x", "y") if spec.geometry == "point" else ()
    for name in [column.name for column in spec.columns] + list(places):
        default = None if name in places else spec.column(name).default
        for number, (stored, row) in enumerate(zip(table[name], rows, strict=True)):
            wanted = row.get(name, default)
            empty = stored is None or (isinstance(stored, float) and np.isnan(stored))
            assert (None if empty else stored) == wanted, (layer, name, number)


def test_the_record_kept_here_holds_the_rows_the_generator_makes():
    record = open_record(RECORD)
    made = readings()
    for layer in (spec.name for spec in LAYERS if spec.name != "field"):
        assert_same_rows(record, layer, made.get(layer, []))
    assert record.field == {**field_row(), "units": "us"}


def test_the_record_kept_here_holds_no_harvest():
    assert open_record(RECORD).counts["yield_points"] == 0


def test_the_outline_kept_here_is_the_generators():
    stored = ogr.CreateGeometryFromWkb(bytes(open_record(RECORD).boundary_wkb))
    made = ogr.CreateGeometryFromWkb(boundary.boundary_wkb())
    assert stored.SymDifference(made).Area() == 0.0


def test_a_new_record_holds_the_same_rows_as_the_one_kept_here(qgis_app, tmp_path):
    counts = make_record(tmp_path / "again.gpkg")
    again = open_record(tmp_path / "again.gpkg")
    kept = open_record(RECORD)
    assert again.field == kept.field
    assert again.counts == kept.counts
    for layer, count in counts.items():
        assert again.counts[layer] == count
        for name, values in kept.table(layer).items():
            np.testing.assert_array_equal(again.table(layer)[name], values)


def test_harvests_are_added_on_demand_and_nothing_else_changes(tmp_path):
    copy = tmp_path / "sample_field.gpkg"
    shutil.copy(RECORD, copy)
    before = open_record(copy)
    points = add_yields(copy)
    after = open_record(copy)
    assert after.counts == {**before.counts, "yield_points": sum(points.values())}
    seasons, counts = np.unique(after.table("yield_points")["season"], return_counts=True)
    assert dict(zip(seasons.astype(int).tolist(), counts.tolist(), strict=True)) == points
    assert after.field == before.field


def test_symbols_and_forms_kept_here_are_those_that_a_new_record_gets(qgis_app, tmp_path):
    from qgis.core import QgsVectorLayer
    make_record(tmp_path / "again.gpkg")
    shutil.copy(RECORD, tmp_path / "kept.gpkg")  # QGIS leaves files beside what it opens

    def look_of(name, spec):
        """What of a layer's style and form reads alike in every version of QGIS."""
        layer = QgsVectorLayer(f"{tmp_path / name}|layername={spec.name}", spec.name, "ogr")
        assert layer.isValid()
        form = layer.editFormConfig()

        def outline(element):
            below = element.children() if hasattr(element, "children") else []
            return element.name(), [outline(each) for each in below]
        fields = [(field.name(), field.alias(), field.editorWidgetSetup().type(),
                   str(sorted(field.editorWidgetSetup().config().items())),
                   field.constraints().constraintExpression(),
                   layer.defaultValueDefinition(number).expression())
                  for number, field in enumerate(layer.fields())]
        labels = layer.labeling()
        return (fields, [outline(tab) for tab in form.tabs()], layer.displayExpression(),
                layer.renderer().type() if layer.renderer() else None,
                labels.settings().fieldName if labels else None)
    for spec in LAYERS:
        assert look_of("kept.gpkg", spec) == look_of("again.gpkg", spec), spec.name


@pytest.mark.parametrize("path", [RECORD, PROJECT])
def test_files_kept_here_stay_small(path):
    assert 0 < path.stat().st_size < 1_200_000


def test_the_project_opens_clean_with_the_layers_of_the_record_in_one_group(qgis_app, tmp_path):
    from qgis.core import QgsProject
    for path in (RECORD, PROJECT):  # moved together, to prove that paths are relative
        shutil.copy(path, tmp_path)
    project = QgsProject()
    assert project.read(str(tmp_path / PROJECT.name))
    groups = project.layerTreeRoot().findGroups()
    assert [group.name() for group in groups] == ["Sample field (invented data)"]
    layers = {node.layer().name(): node.layer() for node in groups[0].findLayers()}
    assert [node.name() for node in groups[0].findLayers()][5:7] == ["Yield points", "Field"]
    assert [node.name() for node in groups[0].findLayers()
            if not node.itemVisibilityChecked()] == ["Yield points"]
    assert set(layers) == {spec.title for spec in LAYERS}
    assert len(project.mapLayers()) == len(LAYERS)
    record = open_record(RECORD)
    for spec in LAYERS:
        layer = layers[spec.title]
        assert layer.isValid()
        assert Path(layer.source().split("|")[0]).parent == tmp_path
        assert layer.featureCount() == record.counts[spec.name]
    relations = project.relationManager().relations().values()
    assert len(relations) == sum(spec.parent is not None for spec in LAYERS)
    assert all(relation.isValid() for relation in relations)
    assert project.crs().authid() == "EPSG:32615"
    project.clear()


def test_the_project_names_no_account_and_no_folder_of_this_machine():
    with zipfile.ZipFile(PROJECT) as packed:
        text = b"".join(packed.read(name) for name in packed.namelist()).decode()
    assert "./sample_field.gpkg|layername=field" in text
    assert "saveUser" not in text
    assert str(ROOT) not in text and str(Path.home()) not in text


def test_the_truth_written_as_json_covers_the_field_and_marks_no_pan_as_null():
    table = truth_table()
    columns = table["columns"]
    # One place for each 20 m x 20 m, in 35.01 ha: 875, give or take the edges.
    assert len(columns["x"]) == pytest.approx(convert(table["area_ac"], "ac", "m2") / 400, abs=15)
    for pan, top in zip(columns["pan"], columns["pan_top"], strict=True):
        assert pan == (top is not None)


def test_a_record_that_exists_is_refused_in_words_and_left_as_it_is(tmp_path, capsys):
    copy = tmp_path / "sample_field.gpkg"
    shutil.copy(RECORD, copy)
    assert main(["record", str(copy)]) == 1
    assert "sample_field.gpkg" in capsys.readouterr().err
    assert copy.read_bytes() == RECORD.read_bytes()


def test_the_script_runs_from_the_root_of_the_repository(tmp_path):
    done = subprocess.run([sys.executable, "-m", "sample_project.make_sample", "record",
                           str(tmp_path / "made.gpkg")], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert "stand_counts: 45" in done.stdout.splitlines()
    assert open_record(tmp_path / "made.gpkg").field["planting_date"] == date(2026, 4, 24)


def test_making_the_project_again_changes_no_byte_of_the_record(tmp_path):
    copy = tmp_path / "sample_field.gpkg"
    shutil.copy(RECORD, copy)
    done = subprocess.run([sys.executable, "-m", "sample_project.make_sample", "project",
                           str(copy), str(tmp_path / "sample_field.qgz")], cwd=ROOT,
                          capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert copy.read_bytes() == RECORD.read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "sample_field.gpkg", "sample_field.qgz"]
