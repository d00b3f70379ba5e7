"""Waypoints for a receiver or a telephone, as GPX 1.1."""
from pathlib import Path

from osgeo import gdal, ogr, osr

from ..core.problems import InputProblem
from .beside import beside
from .strict_ogr import spatial_reference, strict_ogr


def write_waypoints(path, crs_wkt, positions_m, names, notes):
    """Write positions as waypoints in WGS 84, in order, whole or not at all.

    Parameters
        path         the file, which should end in .gpx; one already there is replaced
        crs_wkt      CRS of the positions, easting before northing
        positions_m  (n, 2)
        names        (n,) short texts that the receiver shows beside the points
        notes        (n,) longer texts, or "" for none
    Raises   InputProblem: the file cannot be written
    """
    with beside(path) as unfinished, strict_ogr():
        try:
            turn = osr.CoordinateTransformation(spatial_reference(crs_wkt),
                                                spatial_reference("EPSG:4326"))
            dataset = gdal.GetDriverByName("GPX").Create(
                str(unfinished), 0, 0, 0, gdal.GDT_Unknown)
            layer = dataset.CreateLayer("waypoints", spatial_reference("EPSG:4326"), ogr.wkbPoint)
            for position, name, note in zip(positions_m, names, notes):
                feature = ogr.Feature(layer.GetLayerDefn())
                longitude, latitude, _ = turn.TransformPoint(*map(float, position))
                point = ogr.Geometry(ogr.wkbPoint)
                point.AddPoint_2D(longitude, latitude)
                feature.SetGeometryDirectly(point)
                feature.SetField("name", name)
                if note:
                    feature.SetField("desc", note)
                layer.CreateFeature(feature)
            layer = dataset = None
        except RuntimeError as problem:
            raise InputProblem(f"{Path(path).name} could not be written: {problem}.") from problem
