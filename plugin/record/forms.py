"""What a plain QGIS needs to fill a record: symbols, forms, value lists, relations, a project."""
from pathlib import Path

from qgis.core import (
    QgsAttributeEditorContainer,
    QgsAttributeEditorField,
    QgsCoordinateReferenceSystem,
    QgsDefaultValue,
    QgsEditFormConfig,
    QgsEditorWidgetSetup,
    QgsFieldConstraints,
    QgsProject,
    QgsProviderRegistry,
    QgsReferencedRectangle,
    QgsRelation,
    QgsRelationContext,
    QgsValueMapFieldFormatter,
    QgsVectorLayer,
)

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

# The groups in the field's form, and the first column of each.
FIELD_GROUPS = (("Field", "reading_id"), ("Yield and price", "expected_yield"),
                ("Replanting", "replant_date"), ("Tillage", "pan_limit"),
                ("Plan", "machine_width"))


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
        for spec in reversed(LAYERS):  # the last one added lies on top
            layer = QgsVectorLayer(f"{path}|layername={spec.name}", spec.title, "ogr")
            if not layer.isValid():
                raise OSError(f"QGIS cannot open {spec.name} of {Path(path).name}.")
            layers[spec.name] = layer
            layer.extent()  # asked for now, while nothing else has the file open
            project.addMapLayer(layer)
        _set_up_project(project, layers, field_name)
        for spec in LAYERS:
            _set_up_layer(layers[spec.name], spec, unit_system, currency)
            problem = layers[spec.name].saveStyleToDatabase(
                spec.name, f"{spec.title}: symbols and form", True, "")
            if problem:
                raise OSError(f"The style of {spec.name} was not stored: {problem}")
        project.writeProject.connect(_leave_out_who)
        if not project.write(f"geopackage:{path}?projectName={PROJECT_NAME}"):
            raise OSError(f"The project was not stored in the record: {project.error()}")
    finally:
        project.clear()


def _leave_out_who(document):
    """Take the login of whoever makes the record out of the project: it is nobody's business."""
    for attribute in ("saveUser", "saveUserFull"):
        document.documentElement().removeAttribute(attribute)


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
    if spec.name == "field":
        _put_in_groups(layer, spec)


def _put_in_groups(layer, spec):
    form = layer.editFormConfig()
    form.setLayout(QgsEditFormConfig.EditorLayout.TabLayout)
    form.clearTabs()
    titles = {first: title for title, first in FIELD_GROUPS}
    group = None
    for column in spec.columns:
        if column.name in titles:
            group = QgsAttributeEditorContainer(titles[column.name], form.invisibleRootContainer())
            form.addTab(group)
        group.addChildElement(QgsAttributeEditorField(
            column.name, layer.fields().indexOf(column.name), group))
    layer.setEditFormConfig(form)


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
    if rule:
        layer.setConstraintExpression(place, rule, words)
        layer.setFieldConstraint(
            place, QgsFieldConstraints.Constraint.ConstraintExpression, hard)
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
