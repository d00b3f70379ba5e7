"""A field call's layers come into the project as the field call's own project shows them."""
import pytest
from qgis.core import (
    QgsFeature,
    QgsGeometry,
    QgsProject,
    QgsVectorFileWriter,
    QgsVectorLayer,
)

from plugin.core.problems import InputProblem
from plugin.gui.result_layers import add_results
from plugin.gui.results import outputs_in


def polygons(path, name):
    """Write one square to path as a layer of that name, beside what the file holds."""
    made = QgsVectorLayer("Polygon?crs=EPSG:32615&field=zone:integer", name, "memory")
    square = QgsFeature(made.fields())
    square.setAttributes([1])
    square.setGeometry(QgsGeometry.fromWkt("POLYGON((0 0, 100 0, 100 100, 0 100, 0 0))"))
    assert made.dataProvider().addFeatures([square])[0]
    how = QgsVectorFileWriter.SaveVectorOptions()
    how.layerName = name
    if path.exists():
        how.actionOnExistingFile = (
            QgsVectorFileWriter.ActionOnExistingFile.CreateOrOverwriteLayer)
    code = QgsVectorFileWriter.writeAsVectorFormatV3(
        made, str(path), QgsProject.instance().transformContext(), how)[0]
    assert code == QgsVectorFileWriter.WriterError.NoError


@pytest.fixture
def folder(empty_project, tmp_path):
    """Make a field call's folder: two layers of zones, one of them hidden, in a group."""
    folder = tmp_path / "results"
    folder.mkdir()
    written = QgsProject()
    group = written.layerTreeRoot().addGroup("Zones")
    written.layerTreeRoot().addGroup("Nothing")
    for name, opacity in (("replant_plan", 0.5), ("stand_zones", 0.75)):
        polygons(folder / "zones.gpkg", name)
        layer = QgsVectorLayer(f"{folder / 'zones.gpkg'}|layername={name}", name, "ogr")
        assert layer.isValid()
        layer.setOpacity(opacity)
        written.addMapLayer(layer, False)
        group.addLayer(layer).setItemVisibilityChecked(name == "replant_plan")
    assert written.write(str(folder / "project.qgz"))
    for name in ("summary.json", "report.pdf"):
        (folder / name).write_text("{}")
    return folder


def test_groups_order_look_and_visibility_are_those_of_the_written_project(empty_project, folder):
    group = add_results(folder, "Hollow")
    assert group.name() == "Hollow: results (results)"
    assert [child.name() for child in group.children()] == ["Zones"]
    nodes = group.findLayers()
    assert [(node.name(), node.layer().opacity(), node.itemVisibilityChecked())
            for node in nodes] == [("replant_plan", 0.5, True), ("stand_zones", 0.75, False)]
    assert all(node.layer().isValid() and node.layer().featureCount() == 1 for node in nodes)
    assert len(empty_project.mapLayers()) == 2


def test_showing_a_folder_again_fills_its_group_anew(empty_project, folder):
    group = add_results(folder, "Hollow")
    before = set(empty_project.mapLayers())
    assert add_results(folder, "Hollow") == group
    assert len(empty_project.layerTreeRoot().findGroups()) == 1
    assert len(group.findLayers()) == len(empty_project.mapLayers()) == 2
    assert not before & set(empty_project.mapLayers())


def test_a_layer_the_project_shows_elsewhere_is_not_added_a_second_time(empty_project, folder):
    mine = QgsVectorLayer(f"{folder / 'zones.gpkg'}|layername=stand_zones", "mine", "ogr")
    empty_project.addMapLayer(mine)
    group = add_results(folder, "Hollow")
    assert [node.name() for node in group.findLayers()] == ["replant_plan"]


def test_a_folder_without_a_project_is_refused_and_nothing_is_added(empty_project, tmp_path):
    with pytest.raises(InputProblem, match="no project.qgz"):
        add_results(tmp_path, "Hollow")
    assert not empty_project.layerTreeRoot().findGroups()


def test_outputs_are_listed_with_the_report_first_and_only_those_that_are_there(folder):
    (folder / "surfaces").mkdir()
    (folder / "surfaces" / "stand.tif").write_text("")
    (folder / "rates").mkdir()
    (folder / "rates" / "replant.shp").write_text("")
    (folder / "rates" / "replant.dbf").write_text("")
    (folder / "rates" / "replant_work_order.pdf").write_text("")
    assert [output.path.relative_to(folder).as_posix() for output in outputs_in(folder)] == [
        "report.pdf", "project.qgz", "zones.gpkg", "surfaces/stand.tif", "rates/replant.shp",
        "rates/replant_work_order.pdf", "summary.json"]
    assert [output.title for output in outputs_in(folder)][3:6] == [
        "Surface: stand", "Rates: replant", "Work order: replant"]


def test_a_folder_without_the_figures_is_no_field_calls(folder):
    (folder / "summary.json").unlink()
    assert outputs_in(folder) == []
    assert outputs_in(folder / "nowhere") == []
