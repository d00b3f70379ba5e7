"""The layers of a field call's folder, copied into memory so that no file stays open or changes."""
from dataclasses import dataclass
from pathlib import Path
from uuid import uuid4

import numpy as np
from osgeo import gdal, ogr
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsFeature,
    QgsGeometry,
    QgsPalettedRasterRenderer,
    QgsRasterLayer,
    QgsVectorLayer,
)

from ..core.problems import InputProblem
from .words import tr

FIELD_LAYER = "field"  # of zones.gpkg: the field's boundary
# the surfaces that each plan rests on
DECIDED_BY = {"replant_plan": ("stand",), "tillage_plan": ("pan_chance", "pan_bottom"),
              "sidedress_plan": ("nitrate",), "lime_plan": ("ph", "buffer_ph")}
_NO_CLASS = 255
_KINDS = {ogr.wkbPoint: "Point", ogr.wkbPolygon: "MultiPolygon",
          ogr.wkbMultiPolygon: "MultiPolygon"}
_FIELD_TYPES = {ogr.OFTInteger: "integer", ogr.OFTInteger64: "int8", ogr.OFTReal: "double"}


@dataclass(frozen=True)
class Raster:
    """The first band of a raster: (rows, columns) with NaN where it has no value, and its place."""
    band: np.ndarray
    geotransform: tuple
    projection: str

    @property
    def values(self):
        """The values there are, (n,)."""
        return self.band[np.isfinite(self.band)]


def read_raster(path):
    """Return the Raster at a path, or None where there is no such file or it holds no value.

    Raises   InputProblem: the file is there but is no raster
    """
    path = Path(path)
    if not path.is_file():
        return None
    try:
        source = gdal.OpenEx(str(path), gdal.OF_RASTER | gdal.OF_READONLY)
    except RuntimeError:  # GDAL raises where its exceptions are switched on
        source = None
    if source is None:
        raise InputProblem(tr("{name} is not a raster that can be read. Run the field call "
                              "again.").format(name=path.name))
    band = source.GetRasterBand(1)
    values = band.ReadAsArray().astype(float)
    nodata = band.GetNoDataValue()
    if nodata is not None:
        values[values == nodata] = np.nan
    found = Raster(values, source.GetGeoTransform(), source.GetProjection())
    return found if len(found.values) else None


def class_layer(raster, uppers, colours, name):
    """Return a raster layer of class numbers in their colours, and its path in GDAL's memory.

    QGIS takes statistics of a raster of measured values as soon as it opens one, and has GDAL
    keep them in a file beside it; a byte band with a colour table spares both. The caller
    unlinks the path once the layer is gone.

    Parameters
        raster   Raster
        uppers   upper limit of each class, exclusive, rising; the last may be inf
        colours  QColor of each class
    """
    path = f"/vsimem/{uuid4().hex}.tif"
    rows, columns = raster.band.shape
    made = gdal.GetDriverByName("GTiff").Create(path, columns, rows, 1, gdal.GDT_Byte)
    made.SetGeoTransform(raster.geotransform)
    made.SetProjection(raster.projection)
    classes = np.searchsorted(uppers[:-1], raster.band, side="right").astype(np.uint8)
    classes[~np.isfinite(raster.band)] = _NO_CLASS
    table = gdal.ColorTable()
    for number, colour in enumerate(colours):
        table.SetColorEntry(number, colour.getRgb())
    band = made.GetRasterBand(1)
    band.SetColorTable(table)
    band.SetNoDataValue(_NO_CLASS)
    band.WriteArray(classes)
    made = band = None  # GDAL writes when the last reference goes
    options = QgsRasterLayer.LayerOptions()
    options.loadDefaultStyle = False
    layer = QgsRasterLayer(path, name, "gdal", options)
    layer.setRenderer(QgsPalettedRasterRenderer(layer.dataProvider(), 1, [
        QgsPalettedRasterRenderer.Class(number, colour, "")
        for number, colour in enumerate(colours)]))
    return layer, path


def layer_names(path):
    """Return the names of the layers in a GeoPackage; none where there is no such file."""
    source = _opened(path)
    if source is None:
        return []
    return [source.GetLayer(number).GetName() for number in range(source.GetLayerCount())]


def read_vector(path, name, *, derived=None):
    """Return a layer of a GeoPackage as a memory layer, or None where it is missing or empty.

    Parameters
        derived  (column, function): a text column that is added, and what makes it from the dict
                 of a row's attributes
    """
    source = _opened(path)
    layer = source.GetLayerByName(name) if source is not None else None
    if layer is None or layer.GetFeatureCount() == 0:
        return None
    kind = _KINDS.get(ogr.GT_Flatten(layer.GetGeomType()))
    if kind is None:
        return None
    definition = layer.GetLayerDefn()
    columns = [definition.GetFieldDefn(number) for number in range(definition.GetFieldCount())]
    fields = [f"field={column.GetName()}:{_FIELD_TYPES.get(column.GetType(), 'string')}"
              for column in columns]
    if derived is not None:
        fields.append(f"field={derived[0]}:string")
    made = QgsVectorLayer(f"{kind}?{'&'.join(fields)}", name, "memory")
    spatial = layer.GetSpatialRef()
    if spatial is not None:
        made.setCrs(QgsCoordinateReferenceSystem.fromWkt(spatial.ExportToWkt()))
    made.dataProvider().addFeatures(list(
        _features(layer, columns, made.fields(), derived)))
    made.updateExtents()
    return made


def boundary_layer(wkb, crs):
    """Return the field's boundary as a memory layer."""
    made = QgsVectorLayer("MultiPolygon", "boundary", "memory")
    made.setCrs(crs)
    feature = QgsFeature()
    geometry = QgsGeometry()
    geometry.fromWkb(bytes(wkb))
    geometry.convertToMultiType()
    feature.setGeometry(geometry)
    made.dataProvider().addFeatures([feature])
    made.updateExtents()
    return made


def _opened(path):
    if not Path(path).is_file():
        return None
    try:
        return gdal.OpenEx(str(path), gdal.OF_VECTOR | gdal.OF_READONLY)
    except RuntimeError:  # GDAL raises where its exceptions are switched on
        return None


def _features(layer, columns, fields, derived):
    layer.ResetReading()
    for row in layer:
        feature = QgsFeature(fields)
        shape = row.GetGeometryRef()
        if shape is not None:
            geometry = QgsGeometry()
            geometry.fromWkb(bytes(shape.ExportToWkb()))
            if ogr.GT_Flatten(shape.GetGeometryType()) in (ogr.wkbPolygon, ogr.wkbMultiPolygon):
                geometry.convertToMultiType()
            feature.setGeometry(geometry)
        values = {column.GetName(): _value(row, number, column)
                  for number, column in enumerate(columns)}
        made = [] if derived is None else [derived[1](values)]
        feature.setAttributes([*values.values(), *made])
        yield feature


def _value(row, number, column):
    if not row.IsFieldSetAndNotNull(number):
        return None
    if column.GetType() in (ogr.OFTInteger, ogr.OFTInteger64):
        return row.GetFieldAsInteger64(number)
    if column.GetType() == ogr.OFTReal:
        return row.GetFieldAsDouble(number)
    return row.GetFieldAsString(number)
