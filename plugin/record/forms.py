"""What a plain QGIS needs to fill a record: symbols, forms, value lists, relations, a project."""
from dataclasses import replace
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
from ..qt_compat import make_tab, store_default_style
from .form_pages import (
    PAGES,
    ROW_NAMES,
    RULES,
    TAKEN_AT_RULE,
    TIPS,
    Group,
    Rule,
    asked_of,
    default_of,
)
from .schema import LAYERS, layer_spec, title_of_value, title_with_unit

STYLES = Path(__file__).parents[2] / "styles"
PROJECT_NAME = "record"
WIDE = 34  # letters of a label or a choice, beyond which the label goes above its box
NOT_ENTERED = {"(not entered)": QgsValueMapFieldFormatter.NULL_VALUE}

SWITCHED_OFF = ("yield_points",)  # so many points hide everything below them


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
            problem = store_default_style(layers[spec.name], spec.name,
                                          f"{spec.title}: symbols and form")
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
    titles = {column.name: title_with_unit(column, unit_system, currency)
              for column in spec.columns}
    for column in spec.columns:
        _set_up_column(layer, spec, column, titles[column.name],
                       default_of(spec.name, column, unit_system))
    layer.setDisplayExpression(ROW_NAMES[spec.name])
    if spec.name in TIPS:
        layer.setMapTipTemplate(_map_tip(spec, titles))
    form = layer.editFormConfig()
    form.setLayout(QgsEditFormConfig.EditorLayout.TabLayout)
    form.clearTabs()
    for column in spec.columns:
        form.setLabelOnTop(layer.fields().indexOf(column.name),
                           _is_wide(column, titles[column.name]))
    for page in _pages(spec, unit_system, titles):
        tab = _box(layer, page, form.invisibleRootContainer())
        make_tab(tab)
        form.addTab(tab)
    layer.setEditFormConfig(form)


def _is_wide(column, title):
    """Tell whether a form is narrower with the label above the box: it is as wide as both."""
    return max([len(title_of_value(value)) for value in column.values] + [len(title)]) > WIDE


def _pages(spec, unit_system, titles):
    """The pages of a form, each with its questions; what names the row for good comes last."""
    identity = tuple(column.name for column in spec.columns
                     if column.name == "reading_id"
                     or spec.parent and column.name == spec.parent[1])
    others = tuple(column.name for column in spec.columns if column.name not in identity)
    for page in PAGES.get(spec.name, (Group(spec.title, others),)):
        asked = asked_of(spec.name, _columns_in(page), unit_system, titles)
        yield replace(page, boxes=(*page.boxes, *asked))
    yield Group("Identity", identity)


def _columns_in(group):
    return sum((_columns_in(box) for box in group.boxes), group.columns)


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


def _map_tip(spec, titles):
    """Return the HTML of a tip: what the row is called, then what is entered, then the photo."""
    parts = [f"<b>[% {_as_html(ROW_NAMES[spec.name])} %]</b>"]
    for name in TIPS[spec.name]:
        if name == "photo":
            continue
        value = f"format_date({_quoted(name)}, 'yyyy-MM-dd HH:mm')" \
            if spec.column(name).kind == "datetime" else f"represent_value({_quoted(name)})"
        said = f"'<br>{titles[name]}: ' || {_as_html(value)}"
        parts.append(f"[% CASE WHEN {_quoted(name)} IS NULL THEN '' ELSE {said} END %]")
    if "photo" in TIPS[spec.name]:
        beside = "file_path(decode_uri(@layer, 'path'))"
        parts.append(f"[% CASE WHEN \"photo\" IS NULL THEN '' ELSE '<br><img width=\"240\" "
                     f"src=\"file:///' || {beside} || '/' || {_as_html(_quoted('photo'))} || "
                     "'\">' END %]")
    return "".join(parts)


def _quoted(name):
    return f'"{name}"'


def _as_html(expression):
    """Return an expression whose text cannot be taken for HTML: notes are anybody's words."""
    return (f"replace(replace(replace(to_string({expression}), '&', '&amp;'), '<', '&lt;'), "
            "'\"', '&quot;')")


def _set_up_column(layer, spec, column, title, default):
    place = layer.fields().indexOf(column.name)
    layer.setFieldAlias(place, title)
    layer.setEditorWidgetSetup(place, _widget(spec, column))
    hard = QgsFieldConstraints.ConstraintStrength.ConstraintStrengthHard
    if column.required:
        layer.setFieldConstraint(
            place, QgsFieldConstraints.Constraint.ConstraintNotNull, hard)
    if column.name == "reading_id":
        layer.setFieldConstraint(place, QgsFieldConstraints.Constraint.ConstraintUnique, hard)
    rule = _rule(spec, column)
    if rule:
        layer.setConstraintExpression(place, rule.holds, f"{title}: {rule.words}")
        layer.setFieldConstraint(
            place, QgsFieldConstraints.Constraint.ConstraintExpression, hard if rule.hard
            else QgsFieldConstraints.ConstraintStrength.ConstraintStrengthSoft)
    if default:
        layer.setDefaultValueDefinition(place, QgsDefaultValue(default))
    form = layer.editFormConfig()
    form.setReadOnly(place, column.name in ("reading_id", "units"))
    layer.setEditFormConfig(form)


def _rule(spec, column):
    """Return the Rule that must hold in the form: the column's own limits, and with others."""
    name = _quoted(column.name)
    more = TAKEN_AT_RULE if column.name == "taken_at" else RULES.get((spec.name, column.name))
    claims, words = [], []
    if column.values:
        listed = ", ".join(f"'{value}'" for value in column.values)
        claims.append(f"{name} IN ({listed})")
        words.append(f"choose one of {', '.join(map(title_of_value, column.values))}.")
    elif column.low is not None and column.high is not None:
        claims.append(f"({name} >= {column.low} AND {name} <= {column.high})")
        words.append(f"enter a value from {column.low:g} to {column.high:g}.")
    elif column.low is not None:
        claims.append(f"{name} >= {column.low}")
        words.append(f"enter {column.low:g} or more.")
    if more:
        claims.append(f"({more.holds})")
        words.append(more.words)
    if not claims:
        return None
    holds = " AND ".join(claims)
    return Rule(holds if column.required else f"{name} IS NULL OR ({holds})",
                " ".join([words[0], *(f"{word[:1].upper()}{word[1:]}" for word in words[1:])]),
                more.hard if more else True)


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
