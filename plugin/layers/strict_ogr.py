"""OGR used strictly: its errors as exceptions, for as long as they are asked for."""
from contextlib import ExitStack, contextmanager
from threading import Lock

from osgeo import gdal, ogr, osr

MODULES = (gdal, ogr, osr)


@contextmanager
def strict_ogr():
    """Let GDAL, OGR and OSR raise RuntimeError inside the block, quietly; then as before.

    From GDAL 3.7 on this holds for the thread alone. Before, QGIS and other plugins share the
    switch: while any thread is in such a block it is on, and the last one out puts it back.
    """
    with ExitStack() as on:
        for module in MODULES:
            on.enter_context(module.ExceptionMgr(useExceptions=True)
                             if hasattr(module, "ExceptionMgr") else _SWITCHES[module.__name__])
        gdal.PushErrorHandler("CPLQuietErrorHandler")  # of this thread
        on.callback(gdal.PopErrorHandler)
        yield


class _SharedSwitch:
    """The switch of one module for the whole process, put back when nobody needs it any more."""

    def __init__(self, module):
        self._module, self._lock, self._inside, self._before = module, Lock(), 0, False

    def __enter__(self):
        with self._lock:
            if not self._inside:
                self._before = self._module.GetUseExceptions()
                self._module.UseExceptions()
            self._inside += 1

    def __exit__(self, *problem):
        with self._lock:
            self._inside -= 1
            if not self._inside and not self._before:
                self._module.DontUseExceptions()


_SWITCHES = {module.__name__: _SharedSwitch(module) for module in MODULES}


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
