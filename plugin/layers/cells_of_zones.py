"""Which zone each cell of a grid in degrees belongs to, looked up in the zones as drawn."""
import numpy as np
from osgeo import gdal, ogr
from scipy.ndimage import binary_dilation

from .rate_zones import WGS_84, polygon_of, transformation
from .strict_ogr import spatial_reference, strict_ogr

OUTSIDE = -1
_BLOCK = 10_000  # places looked up between two ticks: below 0.1 s
_EDGE_M = 50.0  # edges are cut to this length before they are turned: a chord bends below 0.1 mm


def cells_of_zones(zones, place, *, tick=None):
    """Return the number of the zone (rows, columns) of each cell, the southernmost row first.

    A cell belongs to the zone its middle lies in. One whose middle lies outside the field but that
    reaches into it belongs to the zone nearest to its middle, so that no strip along the boundary
    goes without its rate; other cells are OUTSIDE.

    Parameters
        zones  RateZones
        place  DegreeGrid
        tick   called with the fraction done
    """
    cells = np.full(place.shape, OUTSIDE, np.int64)
    with strict_ogr():
        *shapes, field = _in_degrees(zones)
        for number, shape in enumerate(shapes):
            cells[_burnt(shape, place)] = number
            if tick is not None:
                tick((number + 1) / len(shapes))
        _edges(cells, shapes, field, place)
    return cells


def zones_at(zones, places, *, tick=None):
    """Return the number of the zone that holds each place (n, 2), OUTSIDE where none does.

    Longitude and latitude are turned into the zones' own CRS and held against the polygons one by
    one: the slow way, which shares nothing with `cells_of_zones` and so checks it. A place on an
    edge belongs to the first zone that touches it. `tick` is called with the fraction done.
    """
    found = np.full(len(places), OUTSIDE, np.int64)
    with strict_ogr():
        turn = transformation(WGS_84, zones.crs_wkt)
        points = np.array(turn.TransformPoints(np.asarray(places, float)))[:, :2]
        point = ogr.Geometry(ogr.wkbPoint)
        for number, wkb in enumerate(zones.shapes):
            shape = ogr.CreateGeometryFromWkb(wkb)
            prepared = shape.CreatePreparedGeometry()
            wanted = np.flatnonzero(_within(points, shape) & (found == OUTSIDE))
            for start in range(0, len(wanted), _BLOCK):
                if tick is not None:
                    tick((number + start / len(wanted)) / len(zones.shapes))
                for place in wanted[start:start + _BLOCK]:
                    point.SetPoint_2D(0, *points[place].tolist())
                    if prepared.Intersects(point):
                        found[place] = number
    return found


def near_an_edge(zones, places, within_m):
    """Return the mask (n,) of places (n, 2) no further than `within_m` from the edge of a zone.

    Distances are measured one by one: GEOS 3.11 leaves ground out of the buffer of a small ring.
    """
    if not len(places):
        return np.zeros(0, bool)
    with strict_ogr():
        turn = transformation(WGS_84, zones.metres_wkt)
        own = transformation(zones.crs_wkt, zones.metres_wkt)
        points = np.array(turn.TransformPoints(np.asarray(places, float)))[:, :2]
        near, point = np.zeros(len(points), bool), ogr.Geometry(ogr.wkbPoint)
        for wkb in zones.shapes:
            edge = ogr.CreateGeometryFromWkb(wkb).Boundary()
            edge.Transform(own)
            for place in np.flatnonzero(_within(points, edge, within_m) & ~near):
                point.SetPoint_2D(0, *points[place].tolist())
                near[place] = edge.Distance(point) <= within_m
    return near


def _within(points, shape, beyond=0.0):
    """The mask (n,) of points in the box around a shape, made wider on every side."""
    west, east, south, north = shape.GetEnvelope()
    return ((points >= (west - beyond, south - beyond))
            & (points <= (east + beyond, north + beyond))).all(axis=1)


def _in_degrees(zones):
    """The zones, then the field, in degrees; edges are cut first so that they keep their course."""
    turn, reference = transformation(zones.crs_wkt, WGS_84), spatial_reference(zones.crs_wkt)
    shapes = list(map(ogr.CreateGeometryFromWkb, [*zones.shapes, zones.field]))
    for shape in shapes:
        if not reference.IsGeographic():
            shape.Segmentize(_EDGE_M / reference.GetLinearUnits())
        shape.Transform(turn)
    return shapes


def _burnt(shape, place):
    """The cells (rows, columns), south first, whose middle lies inside a shape."""
    memory = gdal.GetDriverByName("MEM")
    raster = memory.Create("", place.columns, place.rows, 1, gdal.GDT_Byte)
    # rows run from the south here: the transform has its origin there and a positive step
    raster.SetGeoTransform((place.west, place.cell_east, 0, place.south, 0, place.cell_north))
    if memory.GetMetadataItem(gdal.DCAP_VECTOR) is None:  # until GDAL 3.11
        memory = gdal.GetDriverByName("Memory")
    source = memory.Create("", 0, 0, 0, gdal.GDT_Unknown)
    layer = source.CreateLayer("shape")
    feature = ogr.Feature(layer.GetLayerDefn())
    feature.SetGeometry(shape)
    layer.CreateFeature(feature)
    gdal.RasterizeLayer(raster, [1], layer, burn_values=[1])
    return raster.ReadAsArray().astype(bool)


def _edges(cells, shapes, field, place):
    """Give cells that reach into the field, their middle outside it, the nearest zone."""
    inside = cells != OUTSIDE
    around = binary_dilation(inside, np.ones((3, 3), bool)) & ~inside
    prepared, centres = field.CreatePreparedGeometry(), place.centres().reshape(*place.shape, 2)
    for row, column in zip(*np.nonzero(around)):
        east, north = centres[row, column]
        half_east, half_north = place.cell_east / 2, place.cell_north / 2
        corners = [(east + x * half_east, north + y * half_north)
                   for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1))]
        if prepared.Intersects(ogr.CreateGeometryFromWkb(polygon_of([corners]))):
            middle = ogr.Geometry(ogr.wkbPoint)
            middle.AddPoint_2D(float(east), float(north))
            near = cells[max(row - 1, 0):row + 2, max(column - 1, 0):column + 2]
            cells[row, column] = min(np.unique(near[near != OUTSIDE]),
                                     key=lambda number: shapes[number].Distance(middle))
