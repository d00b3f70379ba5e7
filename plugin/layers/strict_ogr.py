"""OGR used strictly: its errors as exceptions, for as long as they are asked for."""
from contextlib import ExitStack, contextmanager
from threading import Lock

from osgeo import gdal, ogr, osr

MODULES = (gdal, ogr, osr)


@contextmanager
def strict_ogr():
    """Let GDAL, OGR and OSR raise RuntimeError inside the block, quietly; then as before.

    From GDAL 3.7 on this holds for the thread alone. Before, QGIS and other plugins share the
    switch: it is on while any thread is in such a block, and the last one out puts it back.
    """
    with ExitStack() as until:
        if hasattr(gdal, "ExceptionMgr"):
            for module in MODULES:
                until.enter_context(module.ExceptionMgr(useExceptions=True))
        else:
            until.enter_context(_SWITCH)
        gdal.PushErrorHandler("CPLQuietErrorHandler")  # of this thread
        until.callback(gdal.PopErrorHandler)
        yield


class _SharedSwitch:
    """The switches of the whole process, put back when no thread needs them any more."""

    def __init__(self):
        self._lock, self._inside, self._turned_on = Lock(), 0, []

    def __enter__(self):
        with self._lock:
            if not self._inside:
                self._turned_on = [one for one in MODULES if not one.GetUseExceptions()]
                for module in self._turned_on:
                    module.UseExceptions()
            self._inside += 1

    def __exit__(self, *problem):
        with self._lock:
            self._inside -= 1
            if not self._inside:
                for module in reversed(self._turned_on):  # GDAL insists on this order
                    module.DontUseExceptions()


_SWITCH = _SharedSwitch()


def in_metres(reference):
    """Tell whether an osr.SpatialReference is projected and counts in metres on the ground.

    The metres of a Mercator projection are those of its equator: at 42 degrees of latitude each
    is 0.74 m, so that 1 ha is shown as 1.8.
    """
    return (bool(reference.IsProjected()) and abs(reference.GetLinearUnits() - 1.0) < 1e-9
            and not (reference.GetAttrValue("PROJECTION") or "").startswith("Mercator"))


def spatial_reference(text):
    """Return the osr.SpatialReference of an authority id or WKT, easting and northing in order.

    Raises   RuntimeError: the text names no reference system (inside `strict_ogr`)
    """
    reference = osr.SpatialReference()
    reference.SetFromUserInput(text)
    reference.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    return reference
