"""The zones of a rate file: sound polygons, measured, and their places in degrees."""
from dataclasses import dataclass, replace

import numpy as np
from osgeo import ogr, osr

from ..core.deliver.hand_over import HandedZone
from ..core.problems import InputProblem
from .strict_ogr import in_metres, spatial_reference, strict_ogr

WGS_84 = "EPSG:4326"
_OVERLAP = 1e-4  # of the field: what lies in two zones has two rates
_THINNEST_M = 0.02  # mean width: narrower parts are what cutting leaves behind, no ground to work
_CLOSED_HOLE = 1e-8  # degrees, about a millimetre: mean width of a gap between edges meant as one
_TRUE = 0.01  # of an area: UTM stays within 0.2 % inside its zone
_HALF_ROUND = 180.0  # degrees: a field is never so wide, but one over the 180th meridian looks it


@dataclass(frozen=True)
class RateZones:
    """Zones with one rate each, as they were drawn and as they are measured.

    rows         RateRow of each zone
    crs_wkt      in which the zones were drawn
    shapes       WKB multipolygon of each zone, in that CRS, without curves and heights
    metres_wkt   CRS in which areas are measured: that of the zones where it counts in metres and
                 shows areas true to 1 %, else an equal-area one around the middle of the field
    field        WKB multipolygon of all zones, in crs_wkt
    extent       (west, south, east, north) in degrees
    """
    rows: list
    crs_wkt: str
    shapes: list
    metres_wkt: str
    field: bytes
    extent: tuple

    def meant(self):
        """Return the HandedZone of each zone, measured."""
        return measured(self.shapes, self.crs_wkt, self.metres_wkt,
                        [f"zone {row.zone}" for row in self.rows],
                        [row.rate for row in self.rows])

    def single_parts(self):
        """Return RateZones in which every part of a zone is a zone of the same row."""
        with strict_ogr():
            parts = [(row, _wkb(ogr.ForceToMultiPolygon(whole.GetGeometryRef(number).Clone())))
                     for row, whole in zip(self.rows, map(ogr.CreateGeometryFromWkb, self.shapes))
                     for number in range(whole.GetGeometryCount())]
        rows, shapes = zip(*parts)
        return replace(self, rows=list(rows), shapes=list(shapes))

    def measured_shapes(self):
        """Return the WKB of each zone in metres_wkt."""
        with strict_ogr():
            turn = transformation(self.crs_wkt, self.metres_wkt)
            return [_wkb(turned(wkb, turn)) for wkb in self.shapes]


def rate_zones(crs_wkt, geometries, rows):
    """Return the RateZones of geometries given as WKB (b"" for none) in a CRS.

    Parts of a zone narrower than 2 cm on the mean are left out.

    Raises   InputProblem: a zone has no sound polygon, zones overlap, or they lie where no place
             in degrees can be told
    """
    with strict_ogr():
        shapes = [_sound(wkb, row.zone) for wkb, row in zip(geometries, rows)]
        metres_wkt = _metres_wkt(crs_wkt, _united(shapes))
        to_metres = transformation(crs_wkt, metres_wkt)
        shapes = [_workable(shape, to_metres, row.zone) for shape, row in zip(shapes, rows)]
        field = _united(shapes)
        return RateZones(list(rows), crs_wkt, [_wkb(shape) for shape in shapes], metres_wkt,
                         _wkb(field), _extent(field, crs_wkt))


def turned(wkb, turn):
    """Return an OGR geometry of WKB, turned vertex by vertex (inside `strict_ogr`)."""
    geometry = ogr.CreateGeometryFromWkb(wkb)
    geometry.Transform(turn)
    return geometry


def transformation(crs_wkt, to_wkt):
    """Return the transformation, easting (longitude) first on both sides (inside `strict_ogr`)."""
    return osr.CoordinateTransformation(spatial_reference(crs_wkt), spatial_reference(to_wkt))


def measured(shapes, crs_wkt, metres_wkt, names, rates):
    """Return HandedZones of shapes (WKB in crs_wkt), their areas and outlines taken in metres."""
    with strict_ogr():
        turn = transformation(crs_wkt, metres_wkt)
        return [HandedZone(name, rate, shape.Area(), shape.Boundary().Length())
                for name, rate, shape in zip(names, rates, (turned(wkb, turn) for wkb in shapes))]


def rings_of(shapes, crs_wkt, decimals):
    """Return the polygons of each multipolygon as tuples of closed rings (k, 2), exterior first.

    Places are longitude and latitude, rounded; points that fall together are given once.

    Raises   InputProblem: rounding leaves a polygon that is no polygon any more
    """
    with strict_ogr():
        turn = transformation(crs_wkt, WGS_84)
        return [tuple(_rings(shape.GetGeometryRef(number), decimals)
                      for number in range(shape.GetGeometryCount()))
                for shape in (turned(wkb, turn) for wkb in shapes)]


def polygon_of(rings):
    """Return the WKB of one polygon of rings (k, 2)."""
    polygon = ogr.Geometry(ogr.wkbPolygon)
    for points in rings:
        ring = ogr.Geometry(ogr.wkbLinearRing)
        for east, north in points:
            ring.AddPoint_2D(float(east), float(north))
        polygon.AddGeometry(ring)
    return _wkb(polygon)


def _wkb(shape):
    return bytes(shape.ExportToWkb(ogr.wkbNDR))


def _rings(polygon, decimals):
    rings = []
    for number in range(polygon.GetGeometryCount()):
        points = np.round(np.array(polygon.GetGeometryRef(number).GetPoints())[:, :2], decimals)
        moved = np.append(True, (np.diff(points, axis=0) != 0).any(axis=1))
        if number == 0 or not _closed(points[moved]):
            rings.append(points[moved])
    if (min(map(len, rings)) < 4
            or not ogr.CreateGeometryFromWkb(polygon_of(rings)).IsValid()):
        west, east, south, north = polygon.GetEnvelope()
        raise InputProblem(f"The part around latitude {(south + north) / 2:.5f}, longitude "
                           f"{(west + east) / 2:.5f} is too thin to be written in {decimals} "
                           "decimals of a degree. Merge it with its neighbour.")
    return tuple(rings)


def _closed(hole):
    """Whether nothing is left of a hole (k, 2)."""
    east, north = (hole - hole[0]).T
    area = abs(np.dot(east[:-1], north[1:]) - np.dot(east[1:], north[:-1])) / 2
    return 2 * area < _CLOSED_HOLE * np.hypot(np.diff(east), np.diff(north)).sum()


def _workable(shape, to_metres, zone):
    """The parts of a zone that have a width."""
    kept = ogr.Geometry(ogr.wkbMultiPolygon)
    for number in range(shape.GetGeometryCount()):
        part = shape.GetGeometryRef(number).Clone()
        part.Transform(to_metres)
        if 2 * part.Area() > _THINNEST_M * part.Boundary().Length():
            kept.AddGeometry(shape.GetGeometryRef(number))
    if kept.IsEmpty():
        raise InputProblem(f"Zone {zone} is nowhere wider than {_THINNEST_M:g} m. Merge it with "
                           "its neighbour.")
    return kept


def _sound(wkb, zone):
    shape = ogr.CreateGeometryFromWkb(wkb) if wkb else None
    if shape is not None and not shape.IsValid():
        raise InputProblem(f"Zone {zone}: its polygon crosses or touches itself. Mend it with Fix "
                           "geometries.")
    if shape is None or not shape.Area() > 0:
        raise InputProblem(f"Zone {zone} has no polygon. Draw it, or take the row out of the plan.")
    shape = ogr.ForceToMultiPolygon(shape.GetLinearGeometry())  # curves are drawn as lines
    shape.FlattenTo2D()
    return shape


def _united(shapes):
    whole = ogr.Geometry(ogr.wkbMultiPolygon)
    for shape in shapes:
        for number in range(shape.GetGeometryCount()):
            whole.AddGeometry(shape.GetGeometryRef(number))
    field = ogr.ForceToMultiPolygon(whole.UnionCascaded())
    twice = sum(shape.Area() for shape in shapes) - field.Area()
    if twice > _OVERLAP * field.Area():
        raise InputProblem(f"The zones overlap on {100 * twice / field.Area():.2g} % of the field, "
                           "where the controller would find two rates. Cut one zone with the "
                           "other (Difference), or merge them.")
    return field


def _extent(field, crs_wkt):
    try:
        turn = transformation(crs_wkt, WGS_84)
        west, east, south, north = turned(_wkb(field), turn).GetEnvelope()
    except RuntimeError as problem:
        raise InputProblem("Where the zones lie on the earth cannot be told from their CRS: "
                           f"{problem}. Check the CRS of the layer.") from problem
    if not np.isfinite([west, east, south, north]).all() or south < -90 or north > 90 or (
            west < -180 or east > 180 or east - west > _HALF_ROUND):
        raise InputProblem(f"The zones reach from longitude {west:.6g} to {east:.6g} and from "
                           f"latitude {south:.6g} to {north:.6g}. Check the CRS of the layer; a "
                           "field over the 180th meridian must be split there.")
    return west, south, east, north


def _metres_wkt(crs_wkt, field):
    west, south, east, north = _extent(field, crs_wkt)
    reference = osr.SpatialReference()
    reference.ImportFromProj4(f"+proj=laea +lat_0={(south + north) / 2:.9f} "
                              f"+lon_0={(west + east) / 2:.9f} +datum=WGS84 +units=m")
    equal_area = reference.ExportToWkt()
    area = turned(_wkb(field), transformation(crs_wkt, equal_area)).Area()
    true = abs(field.Area() - area) <= _TRUE * area
    return crs_wkt if true and in_metres(spatial_reference(crs_wkt)) else equal_area
