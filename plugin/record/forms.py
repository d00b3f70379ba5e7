"""What a plain QGIS needs to fill a record: symbols, forms, value lists, relations, a project."""
from dataclasses import dataclass
from pathlib import Path

from osgeo import gdal
from qgis.core import (
    QgsAttributeEditorContainer,
    QgsAttributeEditorField,
    QgsAttributeEditorRelation,
    QgsCoordinateReferenceSystem,
    QgsDefaultValue,
    QgsEditFormConfig,
    QgsEditorWidgetSetup,
    QgsExpression,
    QgsFieldConstraints,
    QgsOptionalExpression,
    QgsProject,
    QgsProviderRegistry,
    QgsReferencedRectangle,
    QgsRelation,
    QgsRelationContext,
    QgsValueMapFieldFormatter,
    QgsVectorLayer,
)
from qgis.PyQt.QtXml import QDomDocument

from ..layers.strict_ogr import strict_ogr
from .schema import LAYERS, layer_spec, title_of_value, title_with_unit

STYLES = Path(__file__).parents[2] / "styles"
PROJECT_NAME = "record"
NOT_ENTERED = {"(not entered)": QgsValueMapFieldFormatter.NULL_VALUE}

# What a new row in a form starts with, as QGIS expressions.
FORM_DEFAULTS = {"reading_id": "uuid('WithoutBraces')", "taken_at": "now()"}

# What rows are called in lists, as QGIS expressions.
STOP_NAME = "'stop ' || coalesce(\"stop\", '?')"
ROW_NAMES = {
    "field": "coalesce(\"name\", 'field')",
    "stand_counts": STOP_NAME,
    "row_counts": "'row unit ' || coalesce(\"row_unit\", '?') || ': ' || "
                  "coalesce(\"plants\", '?') || ' plants'",
    "plant_positions": "'row unit ' || coalesce(\"row_unit\", '?') || ', at ' || "
                       "coalesce(\"position\", '?')",
    "seed_depths": STOP_NAME,
    "compaction_readings": STOP_NAME,
    "compaction_profile": "coalesce(\"depth\", '?') || ': ' || coalesce(\"resistance\", '?')",
    "probe_points": STOP_NAME,
    "scout_notes": STOP_NAME,
    "yield_points": "'point ' || \"fid\"",
}

SWITCHED_OFF = ("yield_points",)  # so many points hide everything below them


@dataclass(frozen=True)
class Group:
    """One page or box of a form: columns, then boxes, then a table of parts.

    table       child layer whose rows are listed in it, "" for none
    shown_when  expression, "" for always
    """
    title: str
    columns: tuple = ()
    boxes: tuple = ()
    table: str = ""
    shown_when: str = ""


# Pages of the forms that have several. What names a row for good comes last in every form.
FORMS = {
    "field": (
        Group("Field", ("name", "grower", "crop", "season", "units", "planting_date",
                        "visit_date", "seeds_planted", "row_width", "row_heading",
                        "planter_rows")),
        Group("Yield and price", ("expected_yield", "crop_price", "currency")),
        Group("Replanting", (
            "replant_date", "target_stand", "expected_emergence", "seed_unit_cost",
            "seeds_per_unit", "seed_rebate", "termination_cost", "replanting_cost",
            "other_replant_cost", "insurance_payment", "moisture_kept", "moisture_replanted",
            "base_moisture", "drying_cost", "unevenness_loss")),
        Group("Tillage", ("pan_limit", "tillage_margin", "tillage_least", "tillage_greatest",
                          "tillage_step", "tillage_cost")),
        Group("Plan", ("machine_width", "smallest_zone", "note"))),
    "stand_counts": (
        Group("Count", ("stop", "taken_at", "method", "plants"), (
            Group("Row or wheel", ("length", "rows"),
                  shown_when="coalesce(\"method\", '') <> 'hoop'"),
            Group("Hoop", ("hoop_diameter", "hoops"), shown_when="\"method\" = 'hoop'")),
            table="row_counts"),
        Group("Tape", table="plant_positions"),
        Group("Crop and notes", ("growth_stage_bbch", "leaf_collars", "evenness", "note",
                                 "photo"))),
    "compaction_readings": (
        Group("Insertion", ("stop", "taken_at", "means", "moisture", "place", "refusal",
                            "deepest"), (
            Group("Felt layer", ("felt_top", "felt_bottom"), shown_when="\"means\" = 'felt'"),
            Group("Gauge", ("cone",), table="compaction_profile",
                  shown_when="coalesce(\"means\", '') <> 'felt'"))),
        Group("Notes", ("note", "photo"))),
}

# Rules that name more than their own column: the expression, and what is wrong when it is not so.
# They are reminders: a stop may be saved as it is and be completed later.
REMINDERS = {("stand_counts", "plants"): (
    "(\"plants\" >= 0 AND (\"method\" = 'hoop' OR \"length\" >= 0)) OR "
    "coalesce(relation_aggregate('row_counts_of_stand_counts', 'count', \"plants\"), 0) > 0",
    "enter plants and length, or count the rows one by one below.")}


def drawing_order():
    """Return the record's layers as they lie: points, the many of a harvest, the field, tables."""
    def rank(spec):
        return ("point", "polygon", "none").index(spec.geometry), spec.name in SWITCHED_OFF
    return tuple(sorted(LAYERS, key=rank))


def store_forms_and_project(path, unit_system, currency, field_name):
    """Store styles with forms for every layer, and a project with the relations, in the record.

    Parameters
        path         the record
        unit_system  core.units.UnitSystem, for the labels of the forms
        currency     likewise
        field_name   title of the project, None when the field has no name
    Raises   OSError: QGIS could not write the styles or the project
             RuntimeError: no QGIS has been started in this program
    """
    if "ogr" not in QgsProviderRegistry.instance().providerList():
        raise RuntimeError("Start QGIS (QgsApplication.initQgis) before making a record.")
    project = QgsProject()
    try:
        layers = {}
        for spec in reversed(drawing_order()):  # the last one added lies on top
            layer = QgsVectorLayer(f"{path}|layername={spec.name}", spec.title, "ogr")
            if not layer.isValid():
                raise OSError(f"QGIS cannot open {spec.name} of {Path(path).name}.")
            layers[spec.name] = layer
            layer.extent()  # asked for now, while nothing else has the file open
            project.addMapLayer(layer)
        # Before the relations are there: styles would name them with the path of this moment.
        for spec in LAYERS:
            _set_up_layer(layers[spec.name], spec, unit_system, currency)
            problem = layers[spec.name].saveStyleToDatabase(
                spec.name, f"{spec.title}: symbols and form", True, "")
            if problem:
                raise OSError(f"The style of {spec.name} was not stored: {problem}")
        _name_tables_of_styles(path)
        _set_up_project(project, layers, field_name)
        for name in SWITCHED_OFF:
            project.layerTreeRoot().findLayer(layers[name].id()).setItemVisibilityChecked(False)
        project.writeProject.connect(_leave_out_who)
        project.writeMapLayer.connect(name_tables_of_layer)
        if not project.write(f"geopackage:{path}?projectName={PROJECT_NAME}"):
            raise OSError(f"The project was not stored in the record: {project.error()}")
    finally:
        project.clear()


def _leave_out_who(document):
    """Take the login of whoever makes the record out of the project: it is nobody's business."""
    for attribute in ("saveUser", "saveUserFull"):
        document.documentElement().removeAttribute(attribute)


def name_tables_of_layer(_layer, element, _document):
    """Do for a layer that is being written into a project what `_name_tables` does."""
    _name_tables(element)


def _name_tables(node):
    """Write into a style, or a layer of a project, which relation each table in a form shows.

    QGIS leaves it empty where the relation is not in the open project, which is not touched here.
    """
    tables = node.elementsByTagName("attributeEditorRelation")
    for number in range(tables.count()):
        table = tables.at(number).toElement()
        table.setAttribute("relation", table.attribute("name"))


def _name_tables_of_styles(path):
    with strict_ogr():
        source = gdal.OpenEx(str(path), gdal.OF_VECTOR | gdal.OF_UPDATE)
        styles = source.GetLayerByName("layer_styles")
        for row in list(styles):
            document = QDomDocument()
            document.setContent(row["styleQML"])
            _name_tables(document)
            row["styleQML"] = document.toString()
            styles.SetFeature(row)
        row = styles = source = None  # GDAL writes when the last reference goes


def relation_id(child):
    """Return the id of the relation of a child layer to its parent, as in the stored project."""
    return f"{child}_of_{layer_spec(child).parent[0]}"


def _set_up_project(project, layers, field_name):
    project.setTitle(field_name or layer_spec("field").title)
    project.setCrs(QgsCoordinateReferenceSystem(layers["field"].crs()))
    manager = project.relationManager()
    for spec in LAYERS:
        if spec.parent is None:
            continue
        parent, column = spec.parent
        relation = QgsRelation(QgsRelationContext(project))
        relation.setId(relation_id(spec.name))
        relation.setName(spec.title)
        relation.setReferencedLayer(layers[parent].id())
        relation.setReferencingLayer(layers[spec.name].id())
        relation.addFieldPair(column, "reading_id")
        relation.setStrength(QgsRelation.RelationStrength.Composition)
        if not relation.isValid():
            raise OSError(f"The relation of {spec.name} to {parent} could not be made.")
        manager.addRelation(relation)
    extent = layers["field"].extent()
    extent.scale(1.1)
    project.viewSettings().setDefaultViewExtent(QgsReferencedRectangle(extent, project.crs()))


def _set_up_layer(layer, spec, unit_system, currency):
    symbols = STYLES / f"{spec.name}.qml"
    if spec.geometry != "none":
        message, loaded = layer.loadNamedStyle(str(symbols))
        if not loaded:
            raise OSError(f"The symbols in {symbols.name} could not be read: {message}")
    layer.setEditorWidgetSetup(layer.fields().indexOf("fid"), QgsEditorWidgetSetup("Hidden", {}))
    for column in spec.columns:
        _set_up_column(layer, spec, column, title_with_unit(column, unit_system, currency))
    layer.setDisplayExpression(ROW_NAMES[spec.name])
    form = layer.editFormConfig()
    form.setLayout(QgsEditFormConfig.EditorLayout.TabLayout)
    form.clearTabs()
    names = tuple(column.name for column in spec.columns)
    identity = tuple(name for name in names
                     if name == "reading_id" or spec.parent and name == spec.parent[1])
    others = tuple(name for name in names if name not in identity)
    for group in (*FORMS.get(spec.name, (Group(spec.title, others),)),
                  Group("Identity", identity)):
        page = _box(layer, group, form.invisibleRootContainer())
        page.setIsGroupBox(False)  # a tab
        form.addTab(page)
    layer.setEditFormConfig(form)


def _box(layer, group, parent):
    box = QgsAttributeEditorContainer(group.title, parent)
    if group.shown_when:
        box.setVisibilityExpression(QgsOptionalExpression(QgsExpression(group.shown_when)))
    for name in group.columns:
        box.addChildElement(QgsAttributeEditorField(name, layer.fields().indexOf(name), box))
    for inner in group.boxes:
        box.addChildElement(_box(layer, inner, box))
    if group.table:
        relation = QgsRelation()  # only its id is stored; the project has the relation itself
        relation.setId(relation_id(group.table))
        table = QgsAttributeEditorRelation(relation, box)
        table.setLabel(layer_spec(group.table).title)
        box.addChildElement(table)
    return box


def _set_up_column(layer, spec, column, title):
    place = layer.fields().indexOf(column.name)
    layer.setFieldAlias(place, title)
    layer.setEditorWidgetSetup(place, _widget(spec, column))
    hard = QgsFieldConstraints.ConstraintStrength.ConstraintStrengthHard
    if column.required:
        layer.setFieldConstraint(
            place, QgsFieldConstraints.Constraint.ConstraintNotNull, hard)
    if column.name == "reading_id":
        layer.setFieldConstraint(place, QgsFieldConstraints.Constraint.ConstraintUnique, hard)
    rule, words = _rule(column, title)
    reminder = REMINDERS.get((spec.name, column.name))
    if reminder:
        rule, words = reminder[0], f"{title}: {reminder[1]}"
    if rule:
        layer.setConstraintExpression(place, rule, words)
        layer.setFieldConstraint(
            place, QgsFieldConstraints.Constraint.ConstraintExpression,
            QgsFieldConstraints.ConstraintStrength.ConstraintStrengthSoft if reminder else hard)
    default = FORM_DEFAULTS.get(column.name)
    if default is None and column.default is not None:
        default = f"'{column.default}'" if isinstance(column.default, str) \
            else f"{column.default}"
    if default is not None:
        layer.setDefaultValueDefinition(place, QgsDefaultValue(default))
    form = layer.editFormConfig()
    form.setReadOnly(place, column.name in ("reading_id", "units"))
    layer.setEditFormConfig(form)


def _rule(column, title):
    """Return the expression that must hold in the form, and what it says when it doesn't."""
    name = f'"{column.name}"'
    if column.values:
        listed = ", ".join(f"'{value}'" for value in column.values)
        words = ", ".join(title_of_value(value) for value in column.values)
        rule, words = f"{name} IN ({listed})", f"{title}: choose one of {words}."
    elif column.low is not None and column.high is not None:
        rule = f"({name} >= {column.low} AND {name} <= {column.high})"
        words = f"{title}: enter a value from {column.low:g} to {column.high:g}."
    elif column.low is not None:
        rule, words = f"{name} >= {column.low}", f"{title}: enter {column.low:g} or more."
    else:
        return "", ""
    return (rule if column.required else f"{name} IS NULL OR {rule}"), words


def _widget(spec, column):
    if spec.parent and column.name == spec.parent[1]:
        return QgsEditorWidgetSetup("RelationReference", {
            "Relation": relation_id(spec.name), "AllowNULL": False, "ShowForm": False,
            "ReadOnly": False, "OrderByValue": True})
    if column.values:
        choices = [{title_of_value(value): value} for value in column.values]
        if not column.required:
            choices.insert(0, NOT_ENTERED)
        return QgsEditorWidgetSetup("ValueMap", {"map": choices})
    if column.name == "photo":
        return QgsEditorWidgetSetup("ExternalResource", {
            "RelativeStorage": 1, "StorageMode": 0, "DocumentViewer": 1, "FileWidget": True,
            "FileWidgetButton": True,
            "FileWidgetFilter": "Pictures (*.jpg *.jpeg *.png *.JPG *.JPEG *.PNG)"})
    return QgsEditorWidgetSetup(*_plain_widget(column))


def _plain_widget(column):
    if column.kind in ("int", "real"):
        if column.low is not None and column.high is not None:
            return "Range", {"AllowNull": True, "Min": column.low, "Max": column.high,
                             "Precision": 0 if column.kind == "int" else 2,
                             "Step": 1, "Style": "SpinBox"}
        # A spin box must have both ends; a text box takes a number of any size.
        return "TextEdit", {"IsMultiline": False}
    if column.kind == "bool":
        return "ValueMap", {"map": [NOT_ENTERED, {"yes": "true"}, {"no": "false"}]}
    if column.kind in ("date", "datetime"):
        pattern = "yyyy-MM-dd" if column.kind == "date" else "yyyy-MM-dd HH:mm:ss"
        return "DateTime", {"display_format": pattern, "field_format": pattern,
                            "calendar_popup": True, "allow_null": True}
    return "TextEdit", {"IsMultiline": column.name in ("note", "seen"), "UseHtml": False}
