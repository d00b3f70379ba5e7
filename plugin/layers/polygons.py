"""A polygon source as one boundary."""
from osgeo import ogr
from qgis.core import QgsFeatureRequest, QgsProcessingFeatureSource

from ..core.problems import InputProblem
from .strict_ogr import strict_ogr


def features_of(source):
    """Return the features of a source, whatever their geometry.

    QGIS would raise out of its own loop at a geometry that is not valid, which can end Python;
    who reads them checks them.
    """
    return source.getFeatures(
        QgsFeatureRequest(), QgsProcessingFeatureSource.Flag.FlagSkipGeometryValidityChecks)


def boundary_of(source):
    """Return the WKB of all polygons of a source as one boundary, metres.

    Raises   InputProblem: there is no polygon, one crosses or touches itself, or together they have
             no area
    """
    whole = ogr.Geometry(ogr.wkbMultiPolygon)
    with strict_ogr():
        for feature in features_of(source):
            if feature.geometry().isEmpty():
                continue
            geometry = ogr.CreateGeometryFromWkb(bytes(feature.geometry().asWkb()))
            geometry = geometry.GetLinearGeometry()
            geometry.FlattenTo2D()
            if not geometry.IsValid():
                raise InputProblem(f"{source.sourceName()}, row {feature.id()}: the boundary "
                                   "crosses or touches itself. Mend it with Fix geometries.")
            parts = [geometry] if geometry.GetGeometryName() == "POLYGON" else [
                geometry.GetGeometryRef(n) for n in range(geometry.GetGeometryCount())]
            for part in parts:
                whole.AddGeometry(part)
        united = whole.UnionCascaded() if whole.GetGeometryCount() else None
        if united is None or not united.Area() > 0:
            raise InputProblem(f"{source.sourceName()} holds no polygon with an area. Choose the "
                               "layer that holds the field's boundary.")
        return bytes(united.ExportToIsoWkb(ogr.wkbNDR))
