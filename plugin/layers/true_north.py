"""The angle between true north and the north of a grid."""
from math import atan2, degrees, isfinite

from osgeo import osr

from ..core.problems import InputProblem
from .strict_ogr import spatial_reference, strict_ogr

STEP_DEG = 1e-4  # of latitude, some 11 m


def grid_heading(heading_deg, position_m, crs_wkt):
    """Return a heading from true north as one from grid north, degrees, 0 up to 360.

    Away from the middle of its zone a grid leans: by 3 degrees at most in UTM up to 60 degrees of
    latitude, which is 20 m over 400 m of row.

    Parameters
        heading_deg  clockwise from true north, as a compass set to its declination shows
        position_m   (easting, northing) in the CRS
        crs_wkt      projected, metres
    Raises   InputProblem: the position cannot be placed on earth
    """
    with strict_ogr():
        try:
            grid, earth = spatial_reference(crs_wkt), spatial_reference("EPSG:4326")
            to_earth = osr.CoordinateTransformation(grid, earth)
            longitude, latitude, _ = to_earth.TransformPoint(*map(float, position_m))
            to_grid = osr.CoordinateTransformation(earth, grid)
            east, north, _ = to_grid.TransformPoint(longitude, latitude)
            further_east, further_north, _ = to_grid.TransformPoint(longitude,
                                                                    latitude + STEP_DEG)
        except RuntimeError as problem:
            raise InputProblem(f"The start of the row cannot be placed on earth: {problem}. Check "
                               "the point.") from problem
    if not isfinite(east + north + further_east + further_north):
        raise InputProblem(f"The start of the row, {position_m}, lies nowhere on earth. Check the "
                           "point.")
    lean = degrees(atan2(further_east - east, further_north - north))
    return (heading_deg + lean) % 360
