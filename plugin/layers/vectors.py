"""Points and polygons to files and back, through OGR."""
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from osgeo import gdal, ogr, osr

from ..core.problems import InputProblem
from .beside import beside
from .json_files import DOMAIN, json_text
from .strict_ogr import spatial_reference, strict_ogr

TEXT, REAL, WHOLE = ogr.OFTString, ogr.OFTReal, ogr.OFTInteger64
POINT = ogr.wkbPoint


@dataclass(frozen=True)
class Column:
    """A column of a vector file: its name, kind (TEXT, REAL or WHOLE), and what it holds."""
    name: str
    kind: int
    about: str = ""
    width: int = 0
    decimals: int = 0


@dataclass(frozen=True)
class VectorLayer:
    """A layer to write: geometries as WKB, and rows of values in the order of the columns.

    geometries   WKB, or None for a row without a place; a layer without any is a plain table,
                 unless `kind` names a kind of geometry
    made         how it was made, a dict; formats that hold metadata (GeoPackage) keep it with the
                 layer
    kind         OGR's geometry type; None: that of the geometries, of which there is one then
    """
    name: str
    crs_wkt: str
    columns: tuple
    geometries: list
    rows: list
    title: str = ""
    made: dict = None
    kind: int = None


def points_wkb(positions_m):
    """Return the WKB of each of (n, 2) positions."""
    made = []
    for easting, northing in np.asarray(positions_m, float):
        point = ogr.Geometry(ogr.wkbPoint)
        point.AddPoint_2D(float(easting), float(northing))
        made.append(bytes(point.ExportToWkb(ogr.wkbNDR)))
    return made


def polygon_wkb(polygons, clip_wkb=None):
    """Return one multipolygon of polygons given as rings (k, 2), cut to `clip_wkb` if given.

    Returns  WKB, or None where nothing of it lies inside
    """
    with strict_ogr():
        whole = ogr.Geometry(ogr.wkbMultiPolygon)
        for rings in polygons:
            polygon = ogr.Geometry(ogr.wkbPolygon)
            for ring in rings:
                line = ogr.Geometry(ogr.wkbLinearRing)
                for easting, northing in ring:
                    line.AddPoint_2D(float(easting), float(northing))
                polygon.AddGeometry(line)
            whole.AddGeometry(polygon)
        if clip_wkb is not None:
            whole = _areas_only(whole.Intersection(ogr.CreateGeometryFromWkb(clip_wkb)))
        return None if whole.IsEmpty() else bytes(whole.ExportToWkb(ogr.wkbNDR))


def write_vector(path, driver, layers, *, options=(), epsg=None):
    """Write layers to a new file, whole or not at all; one already there is replaced.

    Parameters
        path     the file
        driver   OGR's short driver name
        layers   list of VectorLayer; more than one only where the format holds several
        options  layer creation options
        epsg     reproject to this EPSG code, easting before northing; None keeps the CRS
    Raises   InputProblem: the file cannot be written
    """
    with beside(path) as unfinished, strict_ogr():
        try:
            dataset = gdal.GetDriverByName(driver).Create(
                str(unfinished), 0, 0, 0, gdal.GDT_Unknown)
            for layer in layers:
                _write_layer(dataset, layer, options, epsg)
            dataset = None  # closes the file
            _count_again(unfinished, layers)
        except RuntimeError as problem:
            raise InputProblem(f"{Path(path).name} could not be written: {problem}.") from problem


def read_vector(path, name=None):
    """Return a layer of a file as (VectorLayer, list of dict of its rows).

    Raises   InputProblem: the file or the layer cannot be read
    """
    with strict_ogr():
        try:
            dataset = gdal.OpenEx(str(path), gdal.OF_VECTOR | gdal.OF_READONLY)
        except RuntimeError as problem:
            raise InputProblem(f"{Path(path).name} cannot be read: {problem}.") from problem
        layer = dataset.GetLayerByName(name) if name else dataset.GetLayer(0)
        if layer is None:
            raise InputProblem(f"{Path(path).name} has no layer {name or ''}.")
        definition = layer.GetLayerDefn()
        columns = tuple(Column(field.GetName(), field.GetType()) for field in
                        (definition.GetFieldDefn(n) for n in range(definition.GetFieldCount())))
        reference = layer.GetSpatialRef()
        geometries, rows = [], []
        for feature in layer:
            geometry = feature.GetGeometryRef()
            geometries.append(None if geometry is None
                              else bytes(geometry.ExportToIsoWkb(ogr.wkbNDR)))
            rows.append([feature.GetField(n) for n in range(len(columns))])
        made = layer.GetMetadata(DOMAIN).get("MADE")
        found = VectorLayer(layer.GetName(), reference.ExportToWkt() if reference else "", columns,
                            geometries, rows, made=json.loads(made) if made else None)
    return found, [dict(zip((column.name for column in columns), row)) for row in rows]


def area_of(wkb):
    """Return the area of a geometry, in its own units squared."""
    with strict_ogr():
        return ogr.CreateGeometryFromWkb(wkb).Area()


def _write_layer(dataset, layer, options, epsg):
    reference = spatial_reference(layer.crs_wkt)
    turn = None
    if epsg is not None:
        wanted = spatial_reference(f"EPSG:{epsg}")
        turn = osr.CoordinateTransformation(reference, wanted)
        reference = wanted
    kind = _kind(layer.geometries) if layer.kind is None else layer.kind
    made = dataset.CreateLayer(layer.name, reference, kind, list(options))
    if layer.title:
        made.SetMetadataItem("DESCRIPTION", layer.title)
    if layer.made is not None:
        made.SetMetadata({"MADE": json_text(layer.made)}, DOMAIN)
    for column in layer.columns:
        definition = ogr.FieldDefn(column.name, column.kind)
        definition.SetWidth(column.width)
        definition.SetPrecision(column.decimals)
        made.CreateField(definition)
    made.StartTransaction()
    for wkb, row in zip(layer.geometries, layer.rows):
        feature = ogr.Feature(made.GetLayerDefn())
        if wkb is not None:
            geometry = ogr.CreateGeometryFromWkb(wkb)
            if turn is not None:
                geometry.Transform(turn)
            feature.SetGeometryDirectly(geometry)
        for number, value in enumerate(row):
            _set(feature, number, value, layer.columns[number].kind)
        made.CreateFeature(feature)
    made.CommitTransaction()


def _count_again(path, layers):
    """Raise RuntimeError unless the file reads back: a disk that fills up is not always told of."""
    dataset = gdal.OpenEx(str(path), gdal.OF_VECTOR | gdal.OF_READONLY)
    for number, layer in enumerate(layers):
        there = dataset.GetLayer(number).GetFeatureCount()
        if there != len(layer.rows):
            raise RuntimeError(f"{there} of {len(layer.rows)} rows of {layer.name} arrived")


def _set(feature, number, value, kind):
    if value is None or (kind == REAL and not np.isfinite(value)):
        feature.SetFieldNull(number)
    elif kind == REAL:
        feature.SetField(number, float(value))
    elif kind == WHOLE:
        feature.SetFieldInteger64(number, int(value))
    else:
        feature.SetFieldString(number, str(value))


def _kind(geometries):
    if not geometries:
        return ogr.wkbUnknown
    kinds = {ogr.CreateGeometryFromWkb(wkb).GetGeometryType() for wkb in geometries
             if wkb is not None}
    if not kinds:
        return ogr.wkbNone
    return kinds.pop() if len(kinds) == 1 else ogr.wkbMultiPolygon


def _areas_only(geometry):
    whole = ogr.Geometry(ogr.wkbMultiPolygon)
    if geometry is None:
        return whole
    flat = [geometry.GetGeometryRef(n) for n in range(geometry.GetGeometryCount())] \
        if geometry.GetGeometryName() in ("MULTIPOLYGON", "GEOMETRYCOLLECTION") else [geometry]
    for part in flat:
        if part.GetGeometryName() == "POLYGON" and part.Area() > 0:
            whole.AddGeometry(part)
        elif part.GetGeometryName() == "MULTIPOLYGON":
            for n in range(part.GetGeometryCount()):
                whole.AddGeometry(part.GetGeometryRef(n))
    return whole
