"""Rate files in open formats: WGS 84, single polygons, one rate column."""
from osgeo import ogr

from ..core.problems import InputProblem
from .strict_ogr import strict_ogr
from .vectors import REAL, TEXT, WHOLE, Column, VectorLayer, write_vector

# OGR driver, layer creation options, file extension. GeoJSON as RFC 7946 asks; the shapefile says
# its text is UTF-8 in a .cpg file.
FORMATS = {
    "GeoPackage": ("GPKG", (), ".gpkg"),
    "Shapefile": ("ESRI Shapefile", ("ENCODING=UTF-8",), ".shp"),
    "GeoJSON": ("GeoJSON", ("RFC7946=YES",), ".geojson"),
}
WGS_84 = 4326


def write_rates(path, format_name, crs_wkt, geometries, rows):
    """Write a rate file; several parts of a zone become rows of their own.

    Columns: zone, action, rate (10 digits, 2 decimals), unit; upper case in a shapefile.

    Parameters
        geometries  WKB of each zone, in crs_wkt
        rows        RateRow of each zone
    Returns  number of polygons written
    Raises   InputProblem: a zone has no sound polygon, or the file cannot be written
    """
    driver, options, _ = FORMATS[format_name]
    names = ("zone", "action", "rate", "unit")
    if driver == "ESRI Shapefile":
        names = tuple(name.upper() for name in names)
    columns = (Column(names[0], WHOLE, width=9), Column(names[1], TEXT, width=40),
               Column(names[2], REAL, width=10, decimals=2), Column(names[3], TEXT, width=40))
    parts, values = [], []
    for wkb, row in zip(geometries, rows):
        for part in _polygons(wkb, row.zone):
            parts.append(part)
            values.append([row.zone, row.action, round(row.rate, 2), row.unit])
    write_vector(path, driver, [VectorLayer("rates", crs_wkt, columns, parts, values)],
                 options=options, epsg=WGS_84)
    return len(parts)


def _polygons(wkb, zone):
    with strict_ogr():
        geometry = ogr.CreateGeometryFromWkb(wkb) if wkb else None
        if geometry is not None and not geometry.IsValid():
            raise InputProblem(f"Zone {zone}: its polygon crosses itself. Mend it with Fix "
                               "geometries.")
        if geometry is None or not geometry.Area() > 0:
            raise InputProblem(f"Zone {zone} has no polygon. Draw it, or take the row out of the "
                               "plan.")
        geometry = geometry.GetLinearGeometry()  # curves are drawn as lines
        if geometry.GetGeometryName() == "POLYGON":
            return [bytes(geometry.ExportToWkb(ogr.wkbNDR))]
        return [bytes(geometry.GetGeometryRef(number).ExportToWkb(ogr.wkbNDR))
                for number in range(geometry.GetGeometryCount())]
