"""Rate files in open vector formats: WGS 84, single polygons, one rate column; and their check."""
import numpy as np
from osgeo import ogr

from ..core.deliver.hand_over import compared
from ..core.deliver.xml_text import one_line
from ..core.problems import InputProblem
from .rate_zones import WGS_84, measured
from .strict_ogr import strict_ogr
from .vectors import REAL, TEXT, WHOLE, Column, VectorLayer, read_vector, write_vector

DECIMALS = 2  # of the rate
_LONGEST = 40  # characters of a text column
_WIDEST = 9_999_999.99  # what ten digits hold
_EPSG = 4326
# How far a format's rounding of degrees moves a point, metres: GeoJSON keeps 9 decimals, half of
# the last is 0.06 mm each way; the others keep all digits.
_SHIFT_M = {"GeoJSON": 1e-4}
_SHIFT_OTHERS_M = 1e-5


def write_rates(path, one, zones, *, made=None):
    """Write zones as a rate file; several parts of a zone become rows of their own.

    Columns: zone, action, rate (10 digits, 2 decimals), unit; upper case in a shapefile. Action and
    unit are cut to one line of 40 characters.

    Parameters
        path   the file; of a shapefile the .shp
        one    RateFormat of kind vector
        zones  RateZones, their rates in the controller's unit
        made   how the file was made, a dict; a GeoPackage keeps it
    Raises   InputProblem: a rate does not fit, or the file cannot be written
    """
    names = _names(one)
    columns = (Column(names[0], WHOLE, width=9), Column(names[1], TEXT, width=_LONGEST),
               Column(names[2], REAL, width=10, decimals=DECIMALS),
               Column(names[3], TEXT, width=_LONGEST))
    parts = zones.single_parts()
    for row in parts.rows:
        if row.rate > _WIDEST:
            raise InputProblem(f"Zone {row.zone}: {row.rate:.10g} {row.unit} has more digits than "
                               "the ten of a rate column. Choose a larger unit.")
    values = [[row.zone, one_line(row.action, _LONGEST), round(row.rate, DECIMALS),
               one_line(row.unit, _LONGEST)] for row in parts.rows]
    layer = VectorLayer("rates", zones.crs_wkt, columns, [_polygon(wkb) for wkb in parts.shapes],
                        values, made=made)
    write_vector(path, one.driver, [layer], options=one.options, epsg=_EPSG)


def check_rates(path, one, zones):
    """Return the ReadBack of a rate file, read anew through OGR and compared with its zones.

    Raises   InputProblem: it differs, or holds what a rate file must not
    """
    layer, rows = read_vector(path)
    zone, action, rate, unit = _names(one)
    shapes = _sound_parts(one, layer, zones.extent)
    if {row[unit] for row in rows} != {one_line(zones.rows[0].unit, _LONGEST)}:
        raise InputProblem(f"{one.name} read back with other units. Nothing was handed over.")
    parts = zones.single_parts()
    for row, there in zip(parts.rows, rows):
        if row.zone != there[zone]:
            raise InputProblem(f"{one.name} read back with zone {there[zone]} instead of zone "
                               f"{row.zone}. Nothing was handed over.")
        if one_line(row.action, _LONGEST) != (there[action] or ""):
            raise InputProblem(f"{one.name} read back with another action in zone {row.zone}. "
                               "Nothing was handed over.")
    found = measured(shapes, WGS_84, zones.metres_wkt, [f"zone {row[zone]}" for row in rows],
                     [np.nan if row[rate] is None else row[rate] for row in rows])
    return compared(one.name, parts.meant(), found, polygons=len(rows), step=10.0**-DECIMALS,
                    shift_m=_SHIFT_M.get(one.name, _SHIFT_OTHERS_M))


def _names(one):
    names = ("zone", "action", "rate", "unit")
    return tuple(name.upper() for name in names) if one.name == "Shapefile" else names


def _polygon(wkb):
    """The one polygon of a multipolygon."""
    with strict_ogr():
        whole = ogr.CreateGeometryFromWkb(wkb)  # kept: the polygon is a part of it
        return bytes(whole.GetGeometryRef(0).ExportToWkb(ogr.wkbNDR))


def _sound_parts(one, layer, extent):
    west, south, east, north = extent
    near = 1e-6  # degrees: more than any format rounds by
    with strict_ogr():
        for number, wkb in enumerate(layer.geometries, start=1):
            shape = None if wkb is None else ogr.CreateGeometryFromWkb(wkb)
            if shape is None or shape.GetGeometryName() != "POLYGON" or not shape.IsValid():
                raise InputProblem(f"{one.name}: polygon {number} is too thin to be written in "
                                   "this format. Merge it with its neighbour, or choose another "
                                   "format.")
            at_west, at_east, at_south, at_north = shape.GetEnvelope()
            if (at_west < west - near or at_east > east + near or at_south < south - near
                    or at_north > north + near):
                raise InputProblem(f"{one.name} read back with polygon {number} outside the "
                                   "field. Nothing was handed over.")
    return layer.geometries
