"""The parameters with which a user says what the mean of a surface follows."""
from dataclasses import dataclass

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsProcessing,
    QgsProcessingParameterEnum,
    QgsProcessingParameterMultipleLayers,
)

from ..layers.crs import crs_named
from ..layers.rasters import without_traces
from .base import tr

DRIFT, COVARIATES = "DRIFT", "COVARIATES"
DRIFTS = ("none", "linear")


@dataclass(frozen=True)
class FollowedLayer:
    """A raster that the mean may follow, by its name, its file and its CRS."""
    name: str
    path: str
    crs: QgsCoordinateReferenceSystem


def describe_drift(algorithm):
    """Add the slope and the layers to an algorithm's advanced parameters."""
    for definition, help_text in (
            (QgsProcessingParameterEnum(
                DRIFT, tr("Mean of the field"),
                [tr("constant"), tr("a slope across the field")], defaultValue=0),
             tr("Constant unless there is reason for a slope: a slope runs on beyond the readings. "
                "Models are compared only with the same mean.")),
            (QgsProcessingParameterMultipleLayers(
                COVARIATES, tr("Layers that the values follow"),
                QgsProcessing.SourceType.TypeRaster, optional=True),
             tr("Rasters, such as elevation or yield, in the CRS of the readings, that cover the "
                "field. Each counts by a factor that is fitted; band 1 is read between its "
                "cells."))):
        algorithm.described(definition, help_text, advanced=True)


def drift_chosen(algorithm, parameters, context):
    """Return which of DRIFTS was chosen."""
    return DRIFTS[algorithm.parameterAsEnum(parameters, DRIFT, context)]


def layers_followed(algorithm, parameters, context):
    """Return a list of FollowedLayer, in the thread in which the project's layers live."""
    with without_traces():
        return [FollowedLayer(layer.name(), layer.source(), layer.crs())
                for layer in algorithm.parameterAsLayerList(parameters, COVARIATES, context)]


def layer_elsewhere(layers, crs, readings):
    """Return why a FollowedLayer does not go with the CRS of the readings, so named; "" where all
    of them do."""
    for layer in layers:
        if layer.crs != crs:
            return tr("{readings} is in {crs}, {layer} in {other}. Reproject one of them.").format(
                readings=readings, crs=crs_named(crs), layer=layer.name,
                other=crs_named(layer.crs))
    return ""
