"""Spadework: from a field call's readings to a decision for every acre, in QGIS."""


def classFactory(iface):  # noqa: N802 - the name QGIS looks for
    """Return the plugin for the running QGIS; `iface` is None where there is no desktop."""
    from .plugin.spadework import Spadework

    return Spadework(iface)
