"""The files that the value of a parameter names, whatever its kind."""
import os
from pathlib import Path

from qgis.core import (
    QgsMapLayer,
    QgsProcessingFeatureSourceDefinition,
    QgsProcessingOutputLayerDefinition,
)


def files_of(value, context):
    """Return the resolved paths of the files that a parameter's value names; they need not exist.

    Layers give their source; what names no file, such as a number or a memory layer, gives none.

    Parameters
        value    as Processing hands it: path, layer, its id, definition of either, or list of these
        context  QgsProcessingContext, which finds layers by their id
    """
    if isinstance(value, (list, tuple)):
        return [file for one in value for file in files_of(one, context)]
    if isinstance(value, QgsProcessingFeatureSourceDefinition):
        value = value.source.staticValue()
    elif isinstance(value, QgsProcessingOutputLayerDefinition):
        value = value.sink.staticValue()
    if isinstance(value, str) and context.project() is not None:
        value = context.project().mapLayer(value) or value
    if isinstance(value, QgsMapLayer):
        value = value.source()
    if not isinstance(value, (str, os.PathLike)) or "\0" in str(value):
        return []
    path = Path(str(value).split("|")[0])
    return [path.resolve()] if path.is_absolute() and path.suffix else []
