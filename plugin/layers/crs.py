"""Which coordinate reference systems can be measured in."""
from qgis.core import QgsUnitTypes


def in_metres(crs):
    """Tell whether a QgsCoordinateReferenceSystem is projected and counts in metres on the ground.

    Those of a Mercator projection are of its equator, as `strict_ogr.in_metres` says.
    """
    return (crs.isValid() and not crs.isGeographic()
            and crs.mapUnits() == QgsUnitTypes.DistanceUnit.DistanceMeters
            and not crs.toProj().startswith("+proj=merc"))


def crs_named(crs):
    """Return the CRS's authority id, or its name, or "no CRS"."""
    return crs.authid() or crs.description() or "no CRS"
