"""zonesbylimits: zones between limits on a surface, shaped so that machines can run them."""
import math
from dataclasses import replace

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterNumber,
    QgsProcessingParameterRasterLayer,
    QgsProcessingParameterString,
    QgsProcessingParameterVectorDestination,
)

from ..core.problems import InputProblem, Stopped
from ..core.units import convert
from ..core.zone.by_limits import zones_by_limits
from ..core.zone.workable import radius_of_width, workable_zones
from ..layers.crs import crs_named, in_metres
from ..layers.field_surface import surface_of_field
from ..layers.polygons import boundary_of
from ..layers.rasters import read_surface
from ..layers.vectors import write_vector
from ..layers.zone_layers import zone_layer
from .base import SpadeworkAlgorithm, driver_of, ticker, tr
from .made import made


class ZonesByLimits(SpadeworkAlgorithm):
    """Zones of a surface between limits."""
    ID, NAME, GROUP = "zonesbylimits", "Zones by limits", "zone"
    HELP = ("Divides the field where its surface passes the limits. Ragged edges are smoothed over "
            "the width of the machine, patches below the smallest area join the neighbour with the "
            "longest shared border, and the polygons share their edges and end at the boundary.")
    SURFACE, LIMITS, BOUNDARY = "SURFACE", "LIMITS", "BOUNDARY"
    MACHINE_WIDTH, SMALLEST_AREA, ZONES = "MACHINE_WIDTH", "SMALLEST_AREA", "ZONES"
    SURFACES = (SURFACE,)

    def initAlgorithm(self, configuration=None):
        """Declare surface, limits, boundary, machine and output."""
        number = QgsProcessingParameterNumber.Type.Double
        self.described(QgsProcessingParameterRasterLayer(self.SURFACE, tr("Surface")),
                       tr("A GeoTIFF that Surface from readings made."))
        self.described(QgsProcessingParameterString(self.LIMITS, tr("Limits")),
                       tr("Numbers in the unit of the surface, from the lowest up, parted by "
                          "semicolons or blanks: 18000; 26000."))
        self.described(QgsProcessingParameterFeatureSource(
            self.BOUNDARY, tr("Boundary"), [QgsProcessing.SourceType.TypeVectorPolygon],
            optional=True), tr("The field; empty: the cells of the surface as they are."))
        self.described(QgsProcessingParameterNumber(
            self.MACHINE_WIDTH, tr("Machine width"), number, 0.0, minValue=0.0),
            tr("Metres; edges are smoothed over it. 0 smooths nothing."))
        self.described(QgsProcessingParameterNumber(
            self.SMALLEST_AREA, tr("Smallest zone"), number, 0.0, minValue=0.0),
            tr("Hectares; smaller patches join a neighbour."))
        self.described(QgsProcessingParameterVectorDestination(self.ZONES, tr("Zones")),
                       tr("Polygons: title, area (m2), mean and standard deviation of the "
                          "surface."))
        self.addOutput(QgsProcessingOutputNumber("COUNT", tr("Zones")))

    def checkParameterValues(self, parameters, context):
        """Refuse limits that are no numbers and a boundary in another CRS."""
        try:
            limits = _limits(self.parameterAsString(parameters, self.LIMITS, context))
        except ValueError:
            limits = []
        if not limits:
            return False, tr("Limits: enter numbers parted by semicolons or blanks, such as "
                             "18000; 26000.")
        boundary = self.parameterAsSource(parameters, self.BOUNDARY, context)
        if boundary is not None and not in_metres(boundary.sourceCrs()):
            return False, tr("{layer} is in {crs}, which does not count in metres. Reproject it to "
                             "the CRS of the surface.").format(
                layer=boundary.sourceName(), crs=crs_named(boundary.sourceCrs()))
        refused = self.another_crs(boundary, self.crs_of_surface(parameters, self.SURFACE, context))
        if refused:
            return False, refused
        return super().checkParameterValues(parameters, context)

    def processAlgorithm(self, parameters, context, feedback):
        """Read the surface, divide it, tidy, write polygons."""
        surface_file = self.found_surface(parameters, self.SURFACE)
        source = self.parameterAsSource(parameters, self.BOUNDARY, context)
        path = self.parameterAsOutputLayer(parameters, self.ZONES, context)
        width_m = self.parameterAsDouble(parameters, self.MACHINE_WIDTH, context)
        smallest_ha = self.parameterAsDouble(parameters, self.SMALLEST_AREA, context)
        try:
            boundary = None if source is None else boundary_of(source)
            read = ticker(feedback, 0.0, 0.3)
            surface = (read_surface(surface_file, tick=read) if boundary is None
                       else surface_of_field(surface_file, boundary, tick=read))
            limits = _limits(self.parameterAsString(parameters, self.LIMITS, context))
            zones = zones_by_limits(surface, limits, tick=ticker(feedback, 0.3, 0.4))
            zones = workable_zones(
                zones, surface.estimate, tick=ticker(feedback, 0.4, 0.7),
                smooth_radius_cells=radius_of_width(width_m, surface.grid.cell_m),
                smallest_area_m2=float(convert(smallest_ha, "ha", "m2")))
            write_vector(path, driver_of(path), [replace(
                zone_layer("zones", zones, boundary, title=surface.name,
                           tick=ticker(feedback, 0.7, 1.0)),
                made=made(self.ID, {self.LIMITS: limits, self.MACHINE_WIDTH: width_m,
                                    self.SMALLEST_AREA: smallest_ha,
                                    self.SURFACE: surface.account["made"]}))])
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        return {self.ZONES: path, "COUNT": len(zones.zones)}


def _limits(text):
    numbers = [float(part) for part in text.replace(";", " ").split()]
    if not all(map(math.isfinite, numbers)):
        raise ValueError(text)
    return numbers
