"""The QGIS project that shows the sample record."""
import re
import zipfile
from pathlib import Path

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsProject,
    QgsReferencedRectangle,
    QgsRelation,
    QgsRelationContext,
    QgsVectorLayer,
)

from plugin.core.problems import InputProblem
from plugin.record.forms import (
    SWITCHED_OFF,
    drawing_order,
    name_tables_of_layer,
    relation_id,
)
from plugin.record.schema import LAYERS

from . import boundary
from .headless_qgis import headless_qgis

TITLE = "Sample field (invented data)"
ZIP_TIME = (2026, 5, 14, 0, 0, 0)  # the day of the visit: when it was made matters to nobody


def make_project(record, path):
    """Write a project with the record's layers in one group, by relative path.

    Symbols and forms are those that the record itself holds.

    Raises   InputProblem: a layer of the record cannot be opened, or the project not written
    """
    record, path = Path(record).resolve(), Path(path).resolve()
    with headless_qgis():
        project = QgsProject()
        try:
            ids = _fill(project, record)
            project.writeMapLayer.connect(name_tables_of_layer)
            if not project.write(str(path)):
                raise InputProblem(f"{path} could not be written: {project.error()}")
        finally:
            project.clear()
            project = None  # before QGIS ends: a later one crashes when it goes
    _leave_out_the_machine(path, ids)


def _fill(project, record):
    """Add the layers and their relations; return what QGIS called each layer, by its name."""
    crs = QgsCoordinateReferenceSystem(boundary.CRS)
    project.setCrs(crs)
    project.setTitle(TITLE)
    project.writeEntryBool("Paths", "/Absolute", False)
    group = project.layerTreeRoot().addGroup(TITLE)
    layers = {}
    for spec in drawing_order():
        layer = project.addMapLayer(
            QgsVectorLayer(f"{record}|layername={spec.name}", spec.title, "ogr"), False)
        if not layer.isValid():
            raise InputProblem(f"{record} has no layer {spec.name} that can be opened.")
        group.addLayer(layer).setItemVisibilityChecked(spec.name not in SWITCHED_OFF)
        layers[spec.name] = layer
    for spec in LAYERS:
        if spec.parent:
            project.relationManager().addRelation(_relation(project, spec, layers))
    extent = layers["field"].extent()
    extent.scale(1.1)
    project.viewSettings().setDefaultViewExtent(QgsReferencedRectangle(extent, crs))
    return {name: layer.id() for name, layer in layers.items()}


def _relation(project, spec, layers):
    parent, column = spec.parent
    relation = QgsRelation(QgsRelationContext(project))
    relation.setId(relation_id(spec.name))  # as the forms in the record call it
    relation.setName(spec.title)
    relation.setReferencingLayer(layers[spec.name].id())
    relation.setReferencedLayer(layers[parent].id())
    relation.addFieldPair(column, "reading_id")
    relation.setStrength(QgsRelation.RelationStrength.Composition)
    return relation


def _leave_out_the_machine(path, ids):
    """Leave account, time and random layer ids out of the project file, and keep the rest."""
    with zipfile.ZipFile(path) as packed:
        content = next(packed.read(name) for name in packed.namelist() if name.endswith(".qgs"))
    content = re.sub(rb' save(User|UserFull|DateTime)="[^"]*"', b"", content)
    content = re.sub(rb"<(author|creation)>[^<]*</\1>", rb"<\1></\1>", content)
    for name, random_id in ids.items():
        content = content.replace(random_id.encode(), f"sample_{name}".encode())
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr(zipfile.ZipInfo(path.with_suffix(".qgs").name, ZIP_TIME), content,
                        zipfile.ZIP_DEFLATED)
