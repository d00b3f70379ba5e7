"""Points and polygons to files and back, through OGR."""
import json
import struct
from dataclasses import dataclass
from pathlib import Path
from traceback import clear_frames

import numpy as np
from osgeo import gdal, ogr, osr

from ..core.problems import InputProblem, Stopped
from .beside import beside
from .json_files import DOMAIN, json_text
from .strict_ogr import spatial_reference, strict_ogr

ROWS = 1000  # read or written between two ticks: some 20 ms
AT_ONCE = 5000  # rows put into the spatial index together: some 0.1 s
POINTS = np.dtype([("order", "u1"), ("kind", "<u4"), ("east", "<f8"), ("north", "<f8")])
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
    positions = np.asarray(positions_m, float).reshape(-1, 2)
    points = np.empty(len(positions), POINTS)
    points["order"], points["kind"] = 1, ogr.wkbPoint
    points["east"], points["north"] = positions.T
    blob, size = points.tobytes(), POINTS.itemsize
    return [blob[start:start + size] for start in range(0, len(blob), size)]


def polygon_wkb(polygons, clip_wkb=None, *, tick=None):
    """Return one multipolygon of polygons given as rings (k, 2), cut to `clip_wkb` if given.

    Polygons do not overlap, and are cut one by one. Exteriors run counter-clockwise and holes
    clockwise, also where they were cut.

    Parameters
        polygons  list of lists of rings, closed, the exterior first
        clip_wkb  WKB of a polygon or multipolygon, or None
        tick      called with the fraction of polygons done; may raise Stopped
    Returns  WKB, or None where nothing of it lies inside
    """
    with strict_ogr():
        clip = None if clip_wkb is None else ogr.CreateGeometryFromWkb(clip_wkb)
        whole = ogr.Geometry(ogr.wkbMultiPolygon)
        for done, rings in enumerate(polygons, start=1):
            polygon = ogr.CreateGeometryFromWkb(_rings_wkb(rings))
            for part in [polygon] if clip is None else _cut(polygon, clip):
                whole.AddGeometry(part)
            if tick is not None:
                tick(done / len(polygons))
        return None if whole.IsEmpty() else bytes(whole.ExportToWkb(ogr.wkbNDR))


def is_sound(rings):
    """Tell whether a polygon given as rings (k, 2) is valid."""
    with strict_ogr():
        return ogr.CreateGeometryFromWkb(_rings_wkb(rings)).IsValid()


def wound(polygon):
    """Return an OGR polygon, its exterior counter-clockwise, holes clockwise (in `strict_ogr`)."""
    return ogr.CreateGeometryFromWkb(_rings_wkb([
        _turned(ring, exterior=not number) for number, ring in enumerate(_rings(polygon))]))


def _cut(polygon, clip):
    return [wound(part) for part in _areas(polygon.Intersection(clip))]


def _rings(polygon):
    """The rings of an OGR polygon, each (k, 2)."""
    wkb = bytes(polygon.ExportToWkb(ogr.wkbNDR))
    rings, at = [], 9
    for _ in range(polygon.GetGeometryCount()):
        (length,), at = struct.unpack_from("<I", wkb, at), at + 4
        rings.append(np.frombuffer(wkb, "<f8", 2 * length, at).reshape(-1, 2))
        at += 16 * length
    return rings


def _turned(ring, *, exterior):
    east, north = (ring - ring[0]).T
    counter_clockwise = np.sum(east[:-1] * north[1:] - east[1:] * north[:-1]) > 0
    return ring if counter_clockwise == exterior else ring[::-1]


def _rings_wkb(rings):
    """The WKB of a polygon, little end first, as the OGC's Simple Features lay it out."""
    parts = [struct.pack("<BII", 1, ogr.wkbPolygon, len(rings))]
    for ring in rings:
        parts += [struct.pack("<I", len(ring)), np.asarray(ring, "<f8").tobytes()]
    return b"".join(parts)


def write_vector(path, driver, layers, *, options=(), epsg=None, tick=None):
    """Write layers to a new file, whole or not at all; one already there is replaced.

    Parameters
        path     the file
        driver   OGR's short driver name
        layers   list of VectorLayer; more than one only where the format holds several
        options  layer creation options
        epsg     reproject to this EPSG code, easting before northing; None keeps the CRS
        tick     called now and then with the fraction of all rows done; may raise Stopped, and
                 nothing is written
    Raises   InputProblem: the file cannot be written
    """
    rows, written = sum(len(layer.rows) for layer in layers) or 1, 0
    with beside(path) as unfinished, strict_ogr():
        try:
            dataset = gdal.GetDriverByName(driver).Create(
                str(unfinished), 0, 0, 0, gdal.GDT_Unknown)
            for layer in layers:
                _write_layer(dataset, layer, options, epsg, None if tick is None else
                             lambda done, before=written: tick((before + done) / rows))
                written += len(layer.rows)
            dataset = None  # closes the file
            _count_again(unfinished, layers)
        except Stopped as stop:
            clear_frames(stop.__traceback__)  # which would keep the file open
            raise
        except RuntimeError as problem:
            raise InputProblem(f"{Path(path).name} could not be written: {problem}.") from problem
        finally:
            dataset = None  # else no system but Unix could delete what is unfinished


def read_vector(path, name=None, *, tick=None):
    """Return a layer of a file as (VectorLayer, list of dict of its rows).

    `tick` is called now and then with the fraction of rows read; it may raise Stopped.

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
        geometries, rows, count = [], [], layer.GetFeatureCount() or 1
        for done, feature in enumerate(layer):
            if tick is not None and done % ROWS == 0:
                tick(min(done / count, 1.0))
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


def _write_layer(dataset, layer, options, epsg, tick):
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
    if len(layer.rows) > AT_ONCE and dataset.TestCapability(ogr.ODsCTransactions):
        dataset.FlushCache()  # makes the spatial index, which otherwise takes all rows at the end
    made.StartTransaction()
    for done, (wkb, row) in enumerate(zip(layer.geometries, layer.rows)):
        if tick is not None and done % ROWS == 0:
            tick(done)
        if done % AT_ONCE == AT_ONCE - 1:
            made.CommitTransaction()
            made.StartTransaction()
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
    one_of_each = {wkb[:5]: wkb for wkb in geometries if wkb is not None}  # by byte order and kind
    kinds = {ogr.CreateGeometryFromWkb(wkb).GetGeometryType() for wkb in one_of_each.values()}
    if not kinds:
        return ogr.wkbNone
    return kinds.pop() if len(kinds) == 1 else ogr.wkbMultiPolygon


def _areas(geometry):
    """Copies of a geometry's polygons that have an area; points and lines drop out.

    Copies, because OGR lends a part only for as long as the whole lives.
    """
    if geometry is None:
        return []
    if geometry.GetGeometryName() == "POLYGON":
        return [geometry.Clone()] if geometry.Area() > 0 else []
    return [part for number in range(geometry.GetGeometryCount())
            for part in _areas(geometry.GetGeometryRef(number))]
