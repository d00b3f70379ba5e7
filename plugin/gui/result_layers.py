"""A field call's results in the open project: one group, styled as in the project it wrote."""
from pathlib import Path

from qgis.core import QgsLayerTreeGroup, QgsLayerTreeLayer, QgsProject

from ..algorithms.base import tr
from ..core.problems import InputProblem

RESULTS_PROPERTY = "spadework/results"


def add_results(folder, title, project=None):
    """Return a group with the layers of the field call in `folder`, styled as it left them.

    A group that shows this folder already is filled anew, as its files may have been replaced.
    Layers that the project shows elsewhere, such as the record's, are not added a second time.

    Parameters
        folder   the field call's output folder; its project.qgz holds styles and order
        title    the field's name; with the folder's it makes the group's
        project  QgsProject; the open one when None
    Returns  QgsLayerTreeGroup
    Raises   InputProblem: the folder has no project, or it cannot be read
    """
    project = project or QgsProject.instance()
    folder = Path(folder).resolve()
    written = QgsProject()
    if not (folder / "project.qgz").is_file() or not written.read(str(folder / "project.qgz")):
        raise InputProblem(tr("{folder} holds no project.qgz that can be read. Run the field call "
                              "again.").format(folder=folder))
    group = _emptied_group(folder, title, project)
    shown = {_place(layer) for layer in project.mapLayers().values()}
    _copy(written.layerTreeRoot(), group, project, shown)
    group.setExpanded(False)  # a group that was empty when it came is folded, whatever it says
    group.setExpanded(True)
    return group


def _emptied_group(folder, title, project):
    root = project.layerTreeRoot()
    for group in root.findGroups():
        if group.customProperty(RESULTS_PROPERTY) == str(folder):
            project.removeMapLayers(group.findLayerIds())
            group.removeAllChildren()
            return group
    group = root.insertGroup(0, tr("{field}: results ({folder})").format(
        field=title, folder=folder.name))
    group.setCustomProperty(RESULTS_PROPERTY, str(folder))
    return group


def _copy(source, target, project, shown):
    """Copy the tree below source into target; a group that would stay empty is left out."""
    for node in source.children():
        if isinstance(node, QgsLayerTreeGroup):
            group = target.addGroup(node.name())
            _copy(node, group, project, shown)
            if group.children():
                _look_alike(node, group)
            else:
                target.removeChildNode(group)
        elif isinstance(node, QgsLayerTreeLayer) and node.layer() is not None:
            if _place(node.layer()) not in shown:
                layer = node.layer().clone()
                project.addMapLayer(layer, False)
                _look_alike(node, target.addLayer(layer))


def _look_alike(node, copy):
    copy.setItemVisibilityChecked(node.itemVisibilityChecked())
    copy.setExpanded(node.isExpanded())


def _place(layer):
    """Return what tells two layers apart: the file, and the layer within it."""
    file, _, rest = layer.source().partition("|")
    return str(Path(file).resolve()), rest
