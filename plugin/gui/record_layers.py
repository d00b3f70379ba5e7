"""A field record's layers in the project: one group, their styles, and their relations."""
from pathlib import Path

from qgis.core import (
    QgsDefaultValue,
    QgsEditorWidgetSetup,
    QgsProject,
    QgsRelation,
    QgsVectorLayer,
)
from qgis.PyQt.QtXml import QDomDocument

from ..algorithms.base import tr
from ..core.problems import InputProblem
from ..record.form_pages import LAYERS_ASKED
from ..record.forms import SWITCHED_OFF, drawing_order, relation_id
from ..record.schema import LAYERS, layer_spec

STYLES = Path(__file__).parents[2] / "styles"
RECORD_PROPERTY = "spadework/record"


def add_record(path, title, project=None):
    """Return the group that holds the record's layers, adding what the project lacks of them.

    Layers of this record that the project holds already are kept where they are, with their
    styles; a second call adds nothing. Points lie above the field, those of a harvest lowest among
    them and switched off; tables lie below it.

    Parameters
        path     the record, .gpkg
        title    the group's name: the field's; with the file's where a group is called so already
        project  QgsProject; the open one when None
    Returns  QgsLayerTreeGroup
    Raises   InputProblem: a layer cannot be opened
    """
    project = project or QgsProject.instance()
    path = Path(path).resolve()
    held = layers_of(path, project)
    added = {}
    for spec in LAYERS:
        if spec.name not in held:
            added[spec.name] = _opened(path, spec)
    group = _group(path, title, project)
    place = 0
    for spec in drawing_order():
        if spec.name in added:
            project.addMapLayer(added[spec.name], False)
            node = group.insertLayer(place, added[spec.name])
            node.setExpanded(False)
            node.setItemVisibilityChecked(spec.name not in SWITCHED_OFF)
            place += 1
        else:
            place = _below(group, held[spec.name], place)
    _relate({**held, **added}, project)
    for layer in added.values():
        _ask_own_layers(layer, {**held, **added})
        _look_for_photos_beside(path, layer)
    _put_forward(group, True)
    return group


def _below(group, layer, otherwise):
    """Return the place below a layer in the group, or the other where it lies elsewhere."""
    node = group.findLayer(layer.id())
    lies_here = node is not None and node.parent() == group
    return group.children().index(node) + 1 if lies_here else otherwise


def rest_record(path, project=None):
    """Switch off and fold the record's group, so that what was made of it can be seen."""
    root = (project or QgsProject.instance()).layerTreeRoot()
    for group in root.findGroups():
        if group.customProperty(RECORD_PROPERTY) == str(Path(path).resolve()):
            _put_forward(group, False)


def _put_forward(group, shown):
    group.setItemVisibilityChecked(shown)
    group.setExpanded(shown)


def layers_of(path, project=None):
    """Return the project's layers that show the record at `path`, by their name in the record."""
    project = project or QgsProject.instance()
    found = {}
    for layer in project.mapLayers().values():
        file, _, rest = layer.source().partition("|")
        if file and Path(file) == Path(path).resolve() and "layername=" in rest:
            found[rest.split("layername=")[1].split("|")[0]] = layer
    return found


def _opened(path, spec):
    layer = QgsVectorLayer(f"{path}|layername={spec.name}", tr(spec.title), "ogr")
    if not layer.isValid():
        raise InputProblem(tr("{file}: the layer {layer} cannot be opened.").format(
            file=path.name, layer=spec.name))
    _, kept_in_record = layer.loadDefaultStyle()
    style = STYLES / f"{spec.name}.qml"
    if not kept_in_record and style.exists():
        layer.loadNamedStyle(str(style))
    return layer


def _group(path, title, project):
    root = project.layerTreeRoot()
    for group in root.findGroups():
        if group.customProperty(RECORD_PROPERTY) == str(path):
            return group
    if root.findGroup(title) is not None:  # another record of a field called the same
        title = f"{title} ({path.parent.name}/{path.name})"
    group = root.insertGroup(0, title)
    group.setCustomProperty(RECORD_PROPERTY, str(path))
    return group


def _relate(layers, project):
    """Tie each table of parts to the layer it belongs to, where the project has no such tie.

    The record's forms know the tie by its id. A second record in the project gets ids of its
    own, and its forms are told.
    """
    manager = project.relationManager()
    for spec in LAYERS:
        if spec.parent is None:
            continue
        parent, column = spec.parent
        part, whole = layers[spec.name], layers[parent]
        if any((known.referencingLayerId(), known.referencedLayerId()) == (part.id(), whole.id())
               for known in manager.relations().values()):
            continue
        relation = QgsRelation()
        relation.setId(relation_id(spec.name))
        if relation.id() in manager.relations():
            relation.setId(f"{relation_id(spec.name)}_{part.id()}")
            place = part.fields().indexOf(column)
            told = {**part.editorWidgetSetup(place).config(), "Relation": relation.id()}
            part.setEditorWidgetSetup(place, QgsEditorWidgetSetup("RelationReference", told))
        relation.setName(tr(spec.title))
        relation.setReferencingLayer(part.id())
        relation.setReferencedLayer(whole.id())
        relation.addFieldPair(column, "reading_id")
        relation.setStrength(QgsRelation.RelationStrength.Composition)
        manager.addRelation(relation)
        if relation.id() != relation_id(spec.name):
            _rename_in_forms(whole, relation_id(spec.name), relation.id())
    manager.relationsLoaded.emit()  # forms that wait for their tables look again


def _ask_own_layers(layer, layers):
    """Have the values a new row starts with come from this record's layers, by their ids.

    In the record's own project the layers are known by their titles, of which a project with
    several records has several.
    """
    for place in range(layer.fields().count()):
        start = layer.defaultValueDefinition(place)
        expression = start.expression()
        for name in LAYERS_ASKED:
            expression = expression.replace(f"'{layer_spec(name).title}'",
                                            f"'{layers[name].id()}'")
        if expression != start.expression():
            layer.setDefaultValueDefinition(
                place, QgsDefaultValue(expression, start.applyOnUpdate()))


def _look_for_photos_beside(record, layer):
    """Have photos' paths start at the record's folder, wherever the project is kept."""
    place = layer.fields().indexOf("photo")
    if place >= 0:
        told = {**layer.editorWidgetSetup(place).config(), "RelativeStorage": 2,
                "DefaultRoot": str(record.parent)}  # 2: relative to the default root
        layer.setEditorWidgetSetup(place, QgsEditorWidgetSetup("ExternalResource", told))


def _rename_in_forms(layer, old, new):
    """Call a relation by its new id in a layer's form and in the rules of its columns."""
    look = QDomDocument()
    layer.exportNamedStyle(look)
    told = QDomDocument()
    told.setContent(look.toString().replace(old, new))
    layer.importNamedStyle(told)
