"""A reading brought before the user: the map at its place, its form open."""
from qgis.core import (
    QgsCoordinateTransform,
    QgsCsException,
    QgsGeometry,
    QgsProject,
    QgsRectangle,
)

from ..algorithms.base import tr
from ..core.problems import InputProblem

AROUND_M = 40.0  # half the side of the ground shown round a reading


def show_place(canvas, point, crs):
    """Bring the map to a point given in a CRS in metres, and let it flash."""
    around = QgsRectangle(point.x() - AROUND_M, point.y() - AROUND_M, point.x() + AROUND_M,
                          point.y() + AROUND_M)
    turn = QgsCoordinateTransform(crs, canvas.mapSettings().destinationCrs(),
                                  QgsProject.instance())
    try:
        canvas.setExtent(turn.transformBoundingBox(around))
    except QgsCsException as problem:
        raise InputProblem(tr("The reading cannot be shown in the map's CRS: {problem}. Give the "
                              "project the field's CRS.").format(problem=problem)) from problem
    canvas.refresh()
    canvas.flashGeometries([QgsGeometry.fromPointXY(point)], crs)


def open_form(iface, layer, row):
    """Open the form of a row of a layer, beside the map.

    Raises   InputProblem: the row is not there any more
    """
    feature = layer.getFeature(row)
    if not feature.isValid():
        raise InputProblem(tr("{layer}, row {row} is not there any more. Check the readings "
                              "again.").format(layer=layer.name(), row=row))
    iface.openFeatureForm(layer, feature, False, False)
