"""A record's layers come into the project once, in order, tied together."""
import shutil
import sqlite3
from contextlib import closing

import pytest
from qgis.core import QgsMarkerSymbol, QgsSingleSymbolRenderer

from plugin.core.problems import InputProblem
from plugin.gui.record_layers import STYLES, add_record, layers_of, rest_record
from plugin.record.schema import LAYERS


def names_in(group):
    return [node.layer().source().split("layername=")[1] for node in group.findLayers()]


def test_every_layer_is_there_points_on_top_then_the_field_then_the_tables(
        empty_project, record_path):
    group = add_record(record_path, "Hollow")
    assert group.name() == "Hollow"
    kinds = {spec.name: spec.geometry for spec in LAYERS}
    in_order = [kinds[name] for name in names_in(group)]
    assert sorted(names_in(group)) == sorted(kinds)
    assert in_order == sorted(in_order, key=["point", "polygon", "none"].index)
    assert names_in(group)[5:7] == ["yield_points", "field"]
    assert [node.layer() for node in group.findLayers() if not node.itemVisibilityChecked()] == [
        layers_of(record_path)["yield_points"]]


def test_adding_a_record_twice_adds_nothing_and_keeps_what_the_user_changed(
        empty_project, record_path):
    add_record(record_path, "Hollow")
    layers_of(record_path)["stand_counts"].setName("My stops")
    add_record(record_path, "Hollow")
    assert len(empty_project.mapLayers()) == len(LAYERS)
    assert len(empty_project.layerTreeRoot().findGroups()) == 1
    assert layers_of(record_path)["stand_counts"].name() == "My stops"


def test_a_new_row_is_started_from_its_own_record_and_photos_are_looked_for_beside_it(
        empty_project, record_path, tmp_path):
    other = shutil.copy(record_path, tmp_path / "other.gpkg")
    add_record(record_path, "Hollow")
    add_record(other, "Other")
    for path in (record_path, other):
        layers = layers_of(path)
        stops, notes = layers["stand_counts"], layers["scout_notes"]
        start = {name: stops.defaultValueDefinition(stops.fields().indexOf(name)).expression()
                 for name in ("row_width", "method")}
        assert start["row_width"] == \
            f"aggregate('{layers['field'].id()}', 'max', \"row_width\")"
        assert "array_agg" in start["method"]  # its own layer, asked without a name
        stop = notes.defaultValueDefinition(notes.fields().indexOf("stop")).expression()
        assert f"'{stops.id()}'" in stop and "Stand counts" not in stop
        photo = notes.editorWidgetSetup(notes.fields().indexOf("photo")).config()
        assert (photo["RelativeStorage"], photo["DefaultRoot"]) == (2, str(path.parent))


def test_a_record_at_rest_is_folded_and_off_and_comes_back_when_asked_for(
        empty_project, record_path):
    group = add_record(record_path, "Hollow")
    assert (group.itemVisibilityChecked(), group.isExpanded()) == (True, True)
    rest_record(record_path.with_name("other.gpkg"))
    assert (group.itemVisibilityChecked(), group.isExpanded()) == (True, True)
    rest_record(record_path)
    assert (group.itemVisibilityChecked(), group.isExpanded()) == (False, False)
    add_record(record_path, "Hollow")
    assert (group.itemVisibilityChecked(), group.isExpanded()) == (True, True)


def test_a_layer_that_was_removed_comes_back_into_the_same_group(empty_project, record_path):
    group = add_record(record_path, "Hollow")
    before = names_in(group)
    for name in ("row_counts", "scout_notes"):
        empty_project.removeMapLayer(layers_of(record_path)[name])
    assert add_record(record_path, "Hollow") == group
    assert names_in(group) == before


def test_a_second_record_of_the_same_field_name_is_told_from_the_first(
        empty_project, record_path):
    other = record_path.with_name("other.gpkg")
    shutil.copyfile(record_path, other)
    assert add_record(record_path, "Hollow").name() == "Hollow"
    assert add_record(other, "Hollow").name() == f"Hollow ({other.parent.name}/other.gpkg)"


def tables_in(layer):
    """Return the relations of the tables in a layer's form."""
    def walk(element):
        if hasattr(element, "relation"):
            yield element.relation()
        for child in element.children() if hasattr(element, "children") else ():
            yield from walk(child)
    return [relation for tab in layer.editFormConfig().tabs() for relation in walk(tab)]


def test_the_tables_in_the_forms_of_two_records_each_show_their_own_rows(
        empty_project, record_path):
    other = record_path.with_name("other.gpkg")
    shutil.copyfile(record_path, other)
    for path in (record_path, other):
        add_record(path, path.stem)
    for path in (record_path, other):
        layers = layers_of(path)
        shown = tables_in(layers["stand_counts"])
        assert [relation.referencingLayerId() for relation in shown] == [
            layers["row_counts"].id(), layers["plant_positions"].id()]
        assert {relation.referencedLayerId() for relation in shown} == {
            layers["stand_counts"].id()}
        question, = (box.visibilityExpression().data().expression()
                     for box in layers["stand_counts"].editFormConfig().tabs()[0].children()
                     if box.name().startswith("Enter plants and length"))
        assert f"'{shown[0].id()}'" in question


def test_tables_of_parts_are_tied_to_their_layers_with_the_stops_id(empty_project, record_path):
    add_record(record_path, "Hollow")
    layers = layers_of(record_path)
    ties = {(tie.referencingLayerId(), tie.referencedLayerId()): tie
            for tie in empty_project.relationManager().relations().values()}
    assert set(ties) == {(layers[spec.name].id(), layers[spec.parent[0]].id())
                         for spec in LAYERS if spec.parent}
    tie = ties[layers["row_counts"].id(), layers["stand_counts"].id()]
    assert tie.isValid()
    assert tie.fieldPairs() == {"of_stop": "reading_id"}


def test_a_second_record_has_ties_of_its_own_and_its_forms_know_them(
        empty_project, record_path):
    other = record_path.with_name("other.gpkg")
    shutil.copyfile(record_path, other)
    for path in (record_path, other):
        add_record(path, path.stem)
    relations = empty_project.relationManager().relations()
    assert len(relations) == 2 * sum(spec.parent is not None for spec in LAYERS)
    for path in (record_path, other):
        part = layers_of(path)["row_counts"]
        setup = part.editorWidgetSetup(part.fields().indexOf("of_stop"))
        tie = relations[setup.config()["Relation"]]
        assert tie.referencingLayerId() == part.id()
        assert tie.referencedLayerId() == layers_of(path)["stand_counts"].id()


def test_layers_look_as_the_user_left_them_in_the_record(empty_project, record_path):
    add_record(record_path, "Hollow")
    stops = layers_of(record_path)["stand_counts"]
    stops.setRenderer(QgsSingleSymbolRenderer(QgsMarkerSymbol.createSimple({"color": "#123456"})))
    assert stops.saveStyleToDatabase("mine", "my look", True, "") == ""
    empty_project.clear()
    add_record(record_path, "Hollow")
    renderer = layers_of(record_path)["stand_counts"].renderer()
    assert renderer.type() == "singleSymbol"
    assert renderer.symbol().color().name() == "#123456"


def test_a_record_that_lost_its_styles_gets_the_plugins(empty_project, record_path):
    with closing(sqlite3.connect(record_path)) as database:
        database.execute("DELETE FROM layer_styles WHERE f_table_name = 'stand_counts'")
        database.commit()
    add_record(record_path, "Hollow")
    look = layers_of(record_path)["stand_counts"].renderer()
    plain = layers_of(record_path)["stand_counts"].clone()
    plain.loadNamedStyle(str(STYLES / "stand_counts.qml"))
    assert look.type() == plain.renderer().type()
    assert look.dump() == plain.renderer().dump()
    assert look.type() != "singleSymbol"  # which is what QGIS makes up for a layer of its own


def test_a_file_that_is_no_record_is_refused_and_nothing_is_added(empty_project, tmp_path):
    (tmp_path / "notes.gpkg").write_text("no record")
    with pytest.raises(InputProblem, match="notes.gpkg: the layer field cannot be opened"):
        add_record(tmp_path / "notes.gpkg", "Notes")
    assert not empty_project.mapLayers()
    assert not empty_project.layerTreeRoot().findGroups()
