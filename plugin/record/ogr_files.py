"""OGR used strictly: its errors as exceptions, for as long as they are asked for."""
from contextlib import contextmanager

from osgeo import gdal, ogr, osr


@contextmanager
def strict_ogr():
    """Let GDAL, OGR and OSR raise RuntimeError inside the block, quietly; then as before.

    QGIS and other plugins share the switch, so it is put back whatever happens.
    """
    modules = (gdal, ogr, osr)
    before = [module.GetUseExceptions() for module in modules]
    for module in modules:
        module.UseExceptions()
    gdal.PushErrorHandler("CPLQuietErrorHandler")
    try:
        yield
    finally:
        gdal.PopErrorHandler()
        for module, used in reversed(list(zip(modules, before))):
            if not used:
                module.DontUseExceptions()


def in_metres(reference):
    """Tell whether an osr.SpatialReference is projected and counts in metres."""
    return bool(reference.IsProjected()) and abs(reference.GetLinearUnits() - 1.0) < 1e-9


def spatial_reference(text):
    """Return the osr.SpatialReference of an authority id or WKT, easting and northing in order.

    Raises   RuntimeError: the text names no reference system (inside `strict_ogr`)
    """
    reference = osr.SpatialReference()
    reference.SetFromUserInput(text)
    reference.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    return reference
