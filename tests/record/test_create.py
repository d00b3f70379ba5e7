import datetime
import io
import json
import sqlite3
import zipfile
from contextlib import closing
from math import inf

import pytest
from osgeo import gdal, ogr
from qgis.core import (
    Qgis,
    QgsExpression,
    QgsExpressionContext,
    QgsFeature,
    QgsFieldConstraints,
    QgsGeometry,
    QgsPointXY,
    QgsProject,
    QgsRelation,
    QgsVectorLayer,
    QgsVectorLayerUtils,
)
from qgis.PyQt import sip
from qgis.PyQt.QtCore import QDate, QDateTime, Qt

from plugin.core.problems import InputProblem
from plugin.core.units import UNIT_SYSTEMS
from plugin.record import create
from plugin.record.create import create_record
from plugin.record.read import open_record
from plugin.record.schema import LAYERS, description_with_unit, title_with_unit
from plugin.record.write import append_rows


def queried(path, question, *bound):
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as database:
        return database.execute(question, bound).fetchall()


@pytest.fixture
def stored_project():
    """Open the project in a record; deleted at the end, because QGIS must outlive it."""
    opened = []

    def read(path):
        opened.append(QgsProject())
        assert opened[-1].read(f"geopackage:{path}?projectName=record"), opened[-1].error()
        return opened[-1]

    yield read
    for project in opened:
        project.clear()
        sip.delete(project)


def made(folder, wkt, **changes):
    options = {"crs": "EPSG:32615", "units": "us", "field": {}, **changes}
    path = folder / "call.gpkg"
    create_record(path, bytes(ogr.CreateGeometryFromWkt(wkt).ExportToWkb()), options.pop("crs"),
                  **options)
    return path


SQUARE = "POLYGON ((500000 4400000, 500400 4400000, 500400 4400400, 500000 4400400, " \
    "500000 4400000))"


def test_every_layer_is_there_with_its_columns_in_order(untouched):
    for layer in LAYERS:
        columns = queried(untouched, "SELECT name, \"notnull\" FROM pragma_table_info(?)",
                          layer.name)
        expected = ["fid"] + ["geom"] * (layer.geometry != "none")
        assert [name for name, _ in columns] == expected + [one.name for one in layer.columns]
        assert {name for name, required in columns if required} == \
            {"fid"} | {one.name for one in layer.columns if one.required}


def test_layers_have_titles_and_geometry_types_in_the_fields_utm_zone(untouched):
    contents = dict(queried(untouched, "SELECT table_name, description FROM gpkg_contents"))
    kinds = {name: (kind, srs) for name, kind, srs in queried(
        untouched, "SELECT table_name, geometry_type_name, srs_id FROM gpkg_geometry_columns")}
    for layer in LAYERS:
        assert contents[layer.name] == layer.title
        if layer.geometry != "none":
            kind = {"polygon": "MULTIPOLYGON", "point": "POINT"}[layer.geometry]
            assert kinds[layer.name] == (kind, 32615)


def test_every_column_has_its_title_and_description_with_the_unit(untouched):
    system = UNIT_SYSTEMS[untouched.stem]
    stored = {(table, column): rest for table, column, *rest in queried(
        untouched, "SELECT table_name, column_name, title, description FROM gpkg_data_columns")}
    expected = {(layer.name, column.name): [title_with_unit(column, system, "USD"),
                                            description_with_unit(column, system, "USD")]
                for layer in LAYERS for column in layer.columns}
    assert stored == expected
    # One by hand for each system, so that the two sides cannot be wrong together.
    assert stored["compaction_profile", "resistance"][0] == \
        {"us": "Resistance (psi)", "metric": "Resistance (kPa)"}[untouched.stem]


def test_every_list_and_range_is_stored_as_a_constraint_of_its_column(untouched):
    named = {(table, column): name for table, column, name in queried(
        untouched, "SELECT table_name, column_name, constraint_name FROM gpkg_data_columns")}
    listed = queried(untouched, "SELECT constraint_name, constraint_type, value, min, max "
                                "FROM gpkg_data_column_constraints")
    for layer in LAYERS:
        for column in layer.columns:
            mine = [rest for name, *rest in listed if name == named[layer.name, column.name]]
            if column.values:
                assert [(kind, value) for kind, value, *_ in mine] == \
                    [("enum", value) for value in column.values]
            elif column.low is not None or column.high is not None:
                # Both ends must be there (OGC 12-128r17, requirement 111): open is infinite.
                assert mine == [["range", None, -inf if column.low is None else column.low,
                                 inf if column.high is None else column.high]]
            else:
                assert named[layer.name, column.name] is None
    extensions = queried(untouched, "SELECT table_name FROM gpkg_extensions "
                                    "WHERE extension_name = 'gpkg_schema'")
    assert set(extensions) == {("gpkg_data_columns",), ("gpkg_data_column_constraints",)}


def test_another_reader_sees_the_limits_the_uniqueness_and_the_defaults(untouched):
    dataset = gdal.OpenEx(str(untouched), gdal.OF_VECTOR | gdal.OF_READONLY)
    definition = dataset.GetLayerByName("stand_counts").GetLayerDefn()
    column = {definition.GetFieldDefn(place).GetName(): definition.GetFieldDefn(place)
              for place in range(definition.GetFieldCount())}
    assert column["reading_id"].IsUnique() and not column["reading_id"].IsNullable()
    assert column["method"].GetDefault() == "'row_length'"
    assert column["rows"].GetDefault() == "1"
    assert dataset.GetFieldDomain(column["method"].GetDomainName()).GetEnumeration() == {
        "row_length": "length of row", "wheel": "measuring wheel", "hoop": "hoop"}
    assert dataset.GetFieldDomain(column["growth_stage_bbch"].GetDomainName()) \
        .GetMaxAsDouble() == 99


def test_the_file_is_sound_stands_alone_and_keeps_no_write_ahead_log(untouched):
    assert queried(untouched, "PRAGMA integrity_check") == [("ok",)]
    assert queried(untouched, "PRAGMA foreign_key_check") == []
    assert queried(untouched, "PRAGMA journal_mode") == [("delete",)]
    assert [entry.name for entry in untouched.parent.iterdir()] == [untouched.name]


def test_the_field_row_holds_what_was_given_and_the_defaults(untouched):
    record = open_record(untouched)
    given = {name: value for name, value in record.field.items()
             if value is not None and name != "reading_id"}
    assert given == {"name": "Long piece", "crop": "corn", "season": 2026,
                     "units": untouched.stem, "planting_date": datetime.date(2026, 4, 25),
                     "seeds_planted": 34000.5, "currency": "USD", "seeds_per_unit": 80000}


def test_every_layer_opens_with_its_stored_style_as_the_default(untouched):
    styles = dict(queried(untouched, "SELECT f_table_name, useAsDefault FROM layer_styles"))
    assert styles == {layer.name: 1 for layer in LAYERS}
    layer = QgsVectorLayer(f"{untouched}|layername=stand_counts", "plain", "ogr")
    assert layer.renderer().type() == "RuleRenderer" and layer.labelsEnabled()
    assert layer.attributeDisplayName(layer.fields().indexOf("length")) == \
        {"us": "Length (ft)", "metric": "Length (m)"}[untouched.stem]


def test_the_stored_project_has_every_layer_and_the_three_relations(untouched, stored_project):
    project = stored_project(untouched)
    assert project.crs().authid() == "EPSG:32615"
    assert project.title() == "Long piece"
    assert {layer.name() for layer in project.mapLayers().values() if layer.isValid()} == \
        {layer.title for layer in LAYERS}
    found = {(relation.referencingLayer().name(), relation.referencedLayer().name()):
             relation for relation in project.relationManager().relations().values()}
    assert set(found) == {("Counts of single rows", "Stand counts"),
                          ("Plants along the tape", "Stand counts"),
                          ("Resistance by depth", "Compaction readings")}
    for (child, _), relation in found.items():
        column = "of_insertion" if child == "Resistance by depth" else "of_stop"
        assert relation.isValid() and relation.fieldPairs() == {column: "reading_id"}
        assert relation.strength() == QgsRelation.RelationStrength.Composition


def test_the_record_does_not_tell_who_made_it_or_where(untouched):
    content, metadata = queried(untouched, "SELECT content, metadata FROM qgis_projects")[0]
    with zipfile.ZipFile(io.BytesIO(bytes.fromhex(content.decode()
                                                  if isinstance(content, bytes) else content))) \
            as archive:
        text = "".join(archive.read(name).decode() for name in archive.namelist()
                       if name.endswith(".qgs"))
    assert "<qgis" in text and "saveUser" not in text
    assert set(json.loads(metadata)) == {"last_modified_time"}
    assert str(untouched.parent) not in text + "".join(
        style for style, in queried(untouched, "SELECT styleQML FROM layer_styles"))


def test_the_stored_project_still_finds_its_layers_in_another_folder(
        record, tmp_path, stored_project):
    moved = tmp_path / "elsewhere"
    moved.mkdir()
    (tmp_path / "call.gpkg").rename(moved / "call.gpkg")
    project = stored_project(moved / "call.gpkg")
    sources = {layer.source().split("|")[0] for layer in project.mapLayers().values()}
    assert sources == {str(moved / "call.gpkg")}
    assert all(layer.isValid() for layer in project.mapLayers().values())


def test_forms_offer_the_listed_words_and_say_in_words_what_is_wrong(untouched, stored_project):
    project = stored_project(untouched)
    layers = {layer.source().split("layername=")[1]: layer
              for layer in project.mapLayers().values()}
    for spec in LAYERS:
        fields = layers[spec.name].fields()
        for column in spec.columns:
            field = fields.field(column.name)
            if column.values:
                offered = [value for choice in field.editorWidgetSetup().config()["map"]
                           for value in choice.values()]
                assert [value for value in offered if not value.startswith("{")] == \
                    list(column.values)
            elif column.kind in ("date", "datetime"):
                assert field.editorWidgetSetup().type() == "DateTime"
            if column.values or column.low is not None:
                assert field.constraints().constraintDescription().startswith(
                    title_with_unit(column, UNIT_SYSTEMS[untouched.stem], "USD"))
    bbch = layers["stand_counts"].fields().field("growth_stage_bbch").constraints()
    assert bbch.constraintDescription() == "Growth stage (BBCH): enter a value from 0 to 99."


def test_the_fields_form_shows_every_column_once_in_its_group(untouched, stored_project):
    form = stored_project(untouched).mapLayersByName("Field")[0].editFormConfig()
    shown = {group.name(): within(group) for group in form.tabs()}
    assert sorted(name for group in shown.values() for name in group) == \
        sorted(column.name for column in LAYERS[0].columns)
    assert shown["Tillage"] == ["pan_limit", "tillage_margin", "tillage_least",
                                "tillage_greatest", "tillage_step", "tillage_cost",
                                "tillage_tool", "tillage_shanks", "tillage_width",
                                "tillage_speed", "field_efficiency", "soil_texture", "tractor",
                                "tractor_surface", "tractor_power", "fuel_price"]
    assert "crop_price" in shown["Yield and price"] and "seed_rebate" in shown["Replanting"]


@pytest.mark.parametrize("layer,values,words", [
    ("Stand counts", {"stop": 4}, "stop 4"), ("Stand counts", {"stop": None}, "stop ?"),
    ("Counts of single rows", {"row_unit": 3, "plants": 9}, "row unit  3: 9 plants"),
    ("Resistance by depth", {"depth": 6.5, "resistance": 310}, "   6.5: 310"),
    ("Field", {"name": "Long piece"}, "Long piece")])
def test_lists_call_a_row_by_what_tells_it_from_the_others(
        untouched, layer, values, words, stored_project):
    project = stored_project(untouched)
    layer = project.mapLayersByName(layer)[0]
    feature = QgsFeature(layer.fields())
    for name, value in values.items():
        feature.setAttribute(name, value)
    context = QgsExpressionContext()
    context.setFeature(feature)
    context.setFields(layer.fields())
    assert QgsExpression(layer.displayExpression()).evaluate(context) == words


@pytest.mark.parametrize("column,value,fine", [
    ("method", "wheel", True), ("method", "guess", False), ("evenness", None, True),
    ("growth_stage_bbch", 99, True), ("growth_stage_bbch", 100, False), ("plants", None, True),
    ("rows", 0, False), ("length", 0.0, True), ("length", -1.0, False)])
def test_the_forms_rules_hold_and_break_where_the_column_says(
        untouched, column, value, fine, stored_project):
    project = stored_project(untouched)
    layer = project.mapLayersByName("Stand counts")[0]
    feature = QgsVectorLayerUtils.createFeature(layer)
    feature.setAttribute(column, value)
    held, _ = QgsVectorLayerUtils.validateAttribute(
        layer, feature, layer.fields().indexOf(column),
        QgsFieldConstraints.ConstraintStrength.ConstraintStrengthHard,
        QgsFieldConstraints.ConstraintOrigin.ConstraintOriginLayer)
    assert held is fine


def asked(layer, **values):
    """Return the questions that a form asks of a row with these values: titles of its boxes."""
    feature = QgsFeature(layer.fields())
    for name, value in values.items():
        feature.setAttribute(name, value)
    context = layer.createExpressionContext()
    context.setFeature(feature)
    return {box.name() for tab in layer.editFormConfig().tabs() for box in tab.children()
            if hasattr(box, "children") and not box.children()
            and box.visibilityExpression().data().evaluate(context)}


@pytest.mark.parametrize("layer,values,us,metric", [
    ("Stand counts", {"plants": 9, "length": 1001.0}, "Length (ft): above 1,000 is unlikely. Check "
     "it.", "Length (m): above 300 is unlikely. Check it."),
    ("Seed depths", {"depth": 10.5}, "Seed depth (in): above 4 is unlikely. Check it.",
     "Seed depth (cm): above 10 is unlikely. Check it."),
    ("Seed depths", {"depth": 0.4}, "Seed depth (in): below 0.5 is unlikely. Check it.",
     "Seed depth (cm): below 1.3 is unlikely. Check it."),
    ("Resistance by depth", {"resistance": 7000.0}, "Resistance (psi): above 1,000 is unlikely. "
     "Check it.", "Resistance (kPa): above 6,900 is unlikely. Check it."),
    ("Soil probes", {"core_type": "nitrate", "bottom_depth": 7.0},
     "A nitrate core ends at 11 to 13 in; check it.",
     "A nitrate core ends at 28 to 33 cm; check it."),
    ("Soil probes", {"ph": 6.0}, "Say how the pH was found.", "Say how the pH was found."),
    ("Scouting notes", {"leaf_collars": 2, "growth_stage_bbch": 17},
     "Leaf collars and growth stage do not agree. Check both.",
     "Leaf collars and growth stage do not agree. Check both.")])
def test_what_is_unlikely_is_asked_about_in_the_records_unit(
        untouched, layer, values, us, metric, stored_project):
    layer = stored_project(untouched).mapLayersByName(layer)[0]
    assert {"us": us, "metric": metric}[untouched.stem] in asked(layer, **values)


@pytest.mark.parametrize("layer,values", [
    ("Stand counts", {"plants": 27, "length": 17.4, "row_width": 30.0, "leaf_collars": 2,
                      "growth_stage_bbch": 12}),
    ("Seed depths", {"depth": 2.0}), ("Soil probes", {"ph": 6.0, "ph_method": "meter"}),
    ("Scouting notes", {"leaf_collars": 12, "growth_stage_bbch": 65})])
def test_a_usual_row_is_asked_nothing(untouched, layer, values, stored_project):
    assert asked(stored_project(untouched).mapLayersByName(layer)[0], **values) == set()


def test_every_expression_of_every_form_can_be_read(untouched, stored_project):
    """A rule that QGIS cannot read would never hold and never break."""
    project, read = stored_project(untouched), 0

    def rules(element):
        if hasattr(element, "children"):
            if element.visibilityExpression().enabled():
                yield element.visibilityExpression().data().expression()
            for child in element.children():
                yield from rules(child)

    for layer in project.mapLayers().values():
        said = [layer.displayExpression()]
        for place, field in enumerate(layer.fields()):
            said += [field.constraints().constraintExpression(),
                     layer.defaultValueDefinition(place).expression()]
        for tab in layer.editFormConfig().tabs():
            said += rules(tab)
        tip = layer.mapTipTemplate()
        said += [part.split("%]")[0] for part in tip.split("[%")[1:]]
        for text in filter(None, said):
            expression = QgsExpression(text)
            assert not expression.hasParserError(), (layer.name(), text)
            read += 1
    assert read > 200


def held(layer, feature, column, strength):
    return QgsVectorLayerUtils.validateAttribute(
        layer, feature, layer.fields().indexOf(column), strength,
        QgsFieldConstraints.ConstraintOrigin.ConstraintOriginLayer)[0]


HARD = QgsFieldConstraints.ConstraintStrength.ConstraintStrengthHard
SOFT = QgsFieldConstraints.ConstraintStrength.ConstraintStrengthSoft


def test_no_number_below_its_least_can_be_saved(untouched, stored_project):
    project, checked = stored_project(untouched), 0
    for spec in LAYERS:
        layer = project.mapLayersByName(spec.title)[0]
        for column in spec.columns:
            if column.low is None or column.values:
                continue
            feature = QgsVectorLayerUtils.createFeature(layer)
            feature.setAttribute(column.name, column.low - 1)
            assert not held(layer, feature, column.name, HARD), (spec.name, column.name)
            checked += 1
    assert checked > 60


@pytest.mark.parametrize("layer,values,column,strength", [
    ("Field", {"planting_date": "2026-05-02", "visit_date": "2026-05-01"}, "visit_date", SOFT),
    ("Field", {"planting_date": "2026-05-02", "replant_date": "2026-05-02"}, "replant_date", HARD),
    ("Field", {"tillage_least": 10.0, "tillage_greatest": 8.0}, "tillage_greatest", HARD),
    ("Field", {"nitrogen_least": 40.0, "nitrogen_greatest": 30.0}, "nitrogen_greatest", HARD),
    ("Field", {"lime_least": 2.0, "lime_greatest": 1.0}, "lime_greatest", HARD),
    ("Compaction readings", {"felt_top": 9.0, "felt_bottom": 8.0}, "felt_bottom", HARD),
    ("Soil probes", {"top_depth": 7.0, "bottom_depth": 7.0}, "bottom_depth", HARD),
    ("Scouting notes", {"plants_checked": 5, "plants_affected": 6}, "plants_affected", HARD),
    ("Stand counts", {"taken_at": "2199-01-01T00:00:00"}, "taken_at", SOFT)])
def test_rules_between_columns_are_hard_where_they_cannot_be_broken(
        untouched, layer, values, column, strength, stored_project):
    layer = stored_project(untouched).mapLayersByName(layer)[0]
    feature = QgsVectorLayerUtils.createFeature(layer)
    for name, value in values.items():
        feature.setAttribute(name, QDateTime.fromString(value, Qt.DateFormat.ISODate)
                             if "T" in str(value) else
                             QDate.fromString(value, Qt.DateFormat.ISODate)
                             if isinstance(value, str) else value)
    other = SOFT if strength == HARD else HARD
    assert not held(layer, feature, column, strength)
    assert held(layer, feature, column, other)


def test_a_tip_names_what_is_entered_and_takes_no_note_for_html(record, stored_project):
    append_rows(record, "scout_notes", [{
        "x": 500010.0, "y": 4400020.0, "stop": 4, "subject": "root", "photo": "photos/a.jpg",
        "seen": "<script>alert(1)</script> & more"}])
    layer = stored_project(record).mapLayersByName("Scouting notes")[0]
    context = layer.createExpressionContext()
    context.setFeature(next(layer.getFeatures()))
    said = QgsExpression.replaceExpressionText(layer.mapTipTemplate(), context)
    assert said.startswith("<b>stop 4</b><br>Subject: root<br>Seen: &lt;")
    assert "&lt;script>alert(1)&lt;/script> &amp; more" in said and "<script" not in said
    assert "Severity" not in said  # nothing entered
    assert f'src="file:///{record.parent}/photos/a.jpg"' in said


def is_page(container):
    """Whether a container is a page, in whichever way this QGIS tells; not a box in a page."""
    kinds = getattr(Qgis, "AttributeEditorContainerType", None)
    return not container.isGroupBox() if kinds is None else container.type() == kinds.Tab


def within(element):
    """Return the names of the columns and tables in a form's element, in order."""
    if not hasattr(element, "children"):
        return [element.name()]
    return [name for child in element.children() for name in within(child)]


def test_every_form_shows_every_column_once_and_what_names_the_row_last(
        untouched, stored_project):
    project = stored_project(untouched)
    for spec in LAYERS:
        tabs = project.mapLayersByName(spec.title)[0].editFormConfig().tabs()
        shown = [name for tab in tabs for name in within(tab)]
        tables = [f"{child.name}_of_{spec.name}" for child in LAYERS
                  if child.parent and child.parent[0] == spec.name]
        assert sorted(shown) == sorted([column.name for column in spec.columns] + tables)
        assert tabs[-1].name() == "Identity" and shown.index("reading_id") >= len(shown) - 2
        assert all(map(is_page, tabs))


def test_rows_are_counted_one_by_one_before_the_tape_and_tables_know_their_relation(untouched):
    style, = queried(untouched, "SELECT styleQML FROM layer_styles WHERE f_table_name = ?",
                     "stand_counts")[0]
    assert style.index('"row_counts_of_stand_counts"') < style.index(
        '"plant_positions_of_stand_counts"')
    # once as the element's name and once as its relation, beside the rule of the plants
    assert style.count('relation="row_counts_of_stand_counts"') == 1
    assert style.count('relation="plant_positions_of_stand_counts"') == 1


@pytest.mark.parametrize("method,shown", [
    ("hoop", {"Row or wheel": False, "Hoop": True}),
    ("wheel", {"Row or wheel": True, "Hoop": False}),
    (None, {"Row or wheel": True, "Hoop": False})])
def test_a_stop_asks_only_what_its_method_needs(untouched, method, shown, stored_project):
    layer = stored_project(untouched).mapLayersByName("Stand counts")[0]
    feature = QgsFeature(layer.fields())
    feature.setAttribute("method", method)
    context = QgsExpressionContext()
    context.setFeature(feature)
    boxes = {box.name(): box.visibilityExpression() for box in
             layer.editFormConfig().tabs()[0].children() if within(box) != []
             and hasattr(box, "children")}
    assert all(rule.enabled() for rule in boxes.values())
    assert {name: bool(rule.data().evaluate(context)) for name, rule in boxes.items()} == shown


def test_harvests_lie_lowest_of_the_points_over_the_field_and_are_switched_off(
        untouched, stored_project):
    nodes = stored_project(untouched).layerTreeRoot().findLayers()
    names = [node.name() for node in nodes]
    assert names[:7] == ["Stand counts", "Seed depths", "Compaction readings", "Soil probes",
                         "Scouting notes", "Yield points", "Field"]
    assert [node.name() for node in nodes if not node.itemVisibilityChecked()] == ["Yield points"]


@pytest.mark.parametrize("layer,nearest", [
    ("Stand counts", None), ("Compaction readings", 1500.0), ("Seed depths", 1500.0)])
def test_where_readings_share_a_stop_only_its_number_is_printed_from_afar(
        untouched, layer, nearest, stored_project):
    label = stored_project(untouched).mapLayersByName(layer)[0].labeling().settings()
    assert label.scaleVisibility is (nearest is not None)
    assert nearest is None or label.minimumScale == nearest  # shown at 1:1500 and larger


def test_a_plain_qgis_adds_a_stop_and_the_record_is_read_back(record, stored_project):
    project = stored_project(record)
    layer = project.mapLayersByName("Stand counts")[0]
    assert layer.startEditing()
    feature = QgsVectorLayerUtils.createFeature(
        layer, QgsGeometry.fromPointXY(QgsPointXY(500010, 4400020)))
    feature.setAttribute("plants", 27)
    assert layer.addFeature(QgsFeature(feature))
    assert layer.commitChanges(), layer.commitErrors()
    project.clear()
    table = open_record(record).table("stand_counts")
    assert table["plants"].tolist() == [27] and table["method"].tolist() == ["row_length"]
    assert len(table["reading_id"][0]) == 36 and table["reading_id"][0].count("-") == 4
    assert (table["x"][0], table["y"][0]) == (500010, 4400020)
    assert abs(table["taken_at"][0] - datetime.datetime.now()) < datetime.timedelta(minutes=5)


def test_parts_holes_and_heights_come_out_as_plain_parts_and_holes(tmp_path):
    # 100 x 100 less 20 x 20, and 50 x 50: 10,000 - 400 + 2,500 m2.
    path = made(tmp_path, "MULTIPOLYGON Z (((500000 4400000 9, 500100 4400000 9, 500100 4400100 9,"
                          " 500000 4400100 9, 500000 4400000 9), (500040 4400040 9, 500040 4400060"
                          " 9, 500060 4400060 9, 500060 4400040 9, 500040 4400040 9)), ((500200 "
                          "4400000 9, 500250 4400000 9, 500250 4400050 9, 500200 4400050 9, "
                          "500200 4400000 9)))")
    shape = ogr.CreateGeometryFromWkb(open_record(path).boundary_wkb)
    assert shape.Area() == pytest.approx(12_100, rel=1e-9)  # rounding only
    assert shape.GetGeometryCount() == 2 and not shape.Is3D()


@pytest.mark.parametrize("wkt,words", [
    ("POLYGON EMPTY", "The boundary is empty. Draw the outline"),
    ("POLYGON ((0 0, 100 100, 100 0, 0 100, 0 0))",
     "crosses or touches itself: Self-intersection at or near point 50 50.*Fix geometries"),
    ("LINESTRING (0 0, 1 1)", "The boundary is a linestring.*Lines to polygons"),
])
def test_a_boundary_that_cannot_be_used_is_refused_and_nothing_is_written(tmp_path, wkt, words):
    with pytest.raises(InputProblem, match=words):
        made(tmp_path, wkt)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("changes,words", [
    ({"crs": "EPSG:4326"}, "WGS 84 does not count in metres. Give the boundary in the field's"),
    ({"crs": "EPSG:2236"}, "Florida East.* does not count in metres"),
    ({"crs": "EPSG:0"}, "CRS is not known: 'EPSG:0'. Set the CRS"),
    ({"units": "imperial"}, "field, units: 'imperial' is not one of us, metric"),
    ({"field": {"crop": "rice"}}, "field, row 1, crop: 'rice' is not one of corn, soybean"),
    ({"field": {"colour": "red"}}, "field, row 1: there is no column colour. Columns are"),
    ({"field": {"season": 26}}, "field, row 1, season: 26 is below 1900"),
])
def test_what_cannot_be_a_record_is_refused_and_nothing_is_written(tmp_path, changes, words):
    with pytest.raises(InputProblem, match=words):
        made(tmp_path, SQUARE, **changes)
    assert list(tmp_path.iterdir()) == []


def test_bytes_that_are_no_geometry_are_refused(tmp_path):
    with pytest.raises(InputProblem, match="cannot be read as a polygon"):
        create_record(tmp_path / "a.gpkg", b"\x01\x03nonsense", "EPSG:32615", units="us", field={})
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_there_is_never_overwritten(tmp_path):
    (tmp_path / "call.gpkg").write_text("mine")
    with pytest.raises(InputProblem, match="call.gpkg is already there, and a record is never"):
        made(tmp_path, SQUARE)
    assert [entry.read_text() for entry in tmp_path.iterdir()] == ["mine"]


def test_a_record_needs_its_ending_and_its_folder(tmp_path, boundary_wkb):
    with pytest.raises(InputProblem, match="call.shp does not end in .gpkg"):
        create_record(tmp_path / "call.shp", boundary_wkb, "EPSG:32615", units="us", field={})
    with pytest.raises(InputProblem, match="There is no folder .*nowhere to put the record in"):
        create_record(tmp_path / "nowhere" / "call.gpkg", boundary_wkb, "EPSG:32615", units="us",
                      field={})
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("step", ["_make_layers", "_describe_columns", "store_forms_and_project",
                                  "_settle"])
def test_a_failure_at_any_step_leaves_nothing_behind(tmp_path, monkeypatch, step):
    whole = getattr(create, step)

    def breaks(*arguments):
        whole(*arguments)
        raise OSError("the disk is full")

    monkeypatch.setattr(create, step, breaks)
    with pytest.raises(OSError, match="the disk is full"):
        made(tmp_path, SQUARE)
    assert list(tmp_path.iterdir()) == []


def test_a_name_in_any_script_and_with_quotes_is_kept(tmp_path, stored_project):
    name = "O'Field \"north\" \u00e4\u6c34; DROP TABLE field"
    path = made(tmp_path, SQUARE, field={"name": name, "currency": "EUR"}, units="metric")
    record = open_record(path)
    assert record.field["name"] == name and record.currency == "EUR"
    assert stored_project(path).title() == name
    assert queried(path, "SELECT title FROM gpkg_data_columns WHERE column_name = ?",
                   "crop_price") == [("Crop price (EUR/t)",)]


def test_a_long_label_or_choice_puts_the_label_above_its_box(untouched, stored_project):
    layer, = stored_project(untouched).mapLayersByName("Field")
    form = layer.editFormConfig()
    on_top = {name for place, name in enumerate(layer.fields().names()) if form.labelOnTop(place)}
    assert {"nitrate_rule", "lime_method", "tillage_tool", "unevenness_loss"} <= on_top
    assert not on_top & {"name", "crop", "season", "row_width", "tillage_cost"}
