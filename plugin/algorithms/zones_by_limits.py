"""zonesbylimits: zones between limits on a surface, shaped so that machines can run them."""
import math
from dataclasses import asdict, replace

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterNumber,
    QgsProcessingParameterRasterLayer,
    QgsProcessingParameterString,
    QgsProcessingParameterVectorDestination,
)

from ..core.long_call import long_call
from ..core.problems import InputProblem, Stopped
from ..core.zone.by_limits import MOST_DIGITS, zones_by_limits
from ..core.zone.class_limits import MOST_CLASSES, equal_area_limits, natural_breaks
from ..core.zone.table import layer_figures
from ..layers.beside import all_beside
from ..layers.crs import crs_named, in_metres
from ..layers.field_surface import surface_of_field
from ..layers.polygons import boundary_of
from ..layers.rasters import read_surface, sites_of
from ..layers.vectors import write_vector
from ..layers.zone_layers import figure_columns, mask_layer, zone_layer
from ..report.zone_style import paint_unsure, paint_when_loaded, paint_zones
from .base import SpadeworkAlgorithm, driver_of, ticker, tr
from .made import made
from .shape_parameters import DEVIATION, describe_shape, shape_of

DIVISIONS = TYPED, EQUAL_AREA, NATURAL_BREAKS = "typed", "equal area", "natural breaks"
COMPUTED_DIGITS = 4  # shown of limits that were computed


class ZonesByLimits(SpadeworkAlgorithm):
    """Zones of a surface between limits."""
    ID, NAME, GROUP = "zonesbylimits", "Zones by limits", "zone"
    HELP = ("Divides the field where its surface passes the limits: those entered, or those that "
            "make classes of equal area, or natural breaks (Fisher 1958; exact). Zones are then "
            "made workable: edges are smoothed over the width of the machine along the rows, what "
            "is too narrow or too small joins its neighbours, and the polygons share their edges "
            "and end at the boundary. Where the chance that the value lies beyond the zone's "
            "limits is too high, the zone is hatched as not sure.")
    SURFACE, DIVISION, LIMITS, CLASSES = "SURFACE", "DIVISION", "LIMITS", "CLASSES"
    BOUNDARY, ORDERED, ZONES = "BOUNDARY", "ORDERED", "ZONES"
    NEIGHBOUR_CHANCE, UNSURE = "NEIGHBOUR_CHANCE", "UNSURE"
    SURFACES = (SURFACE,)

    def initAlgorithm(self, configuration=None):
        """Declare surface, limits, boundary, machine and outputs."""
        number = QgsProcessingParameterNumber.Type
        self.described(QgsProcessingParameterRasterLayer(self.SURFACE, tr("Surface")),
                       tr("A GeoTIFF that Surface from readings made."))
        self.described(QgsProcessingParameterEnum(
            self.DIVISION, tr("Division"),
            [tr("at the limits entered"), tr("classes of equal area"), tr("natural breaks")],
            defaultValue=0),
            tr("Equal area: each class holds the same part of the field. Natural breaks: values in "
               "a class differ as little as can be."))
        self.described(QgsProcessingParameterString(self.LIMITS, tr("Limits"), optional=True),
                       tr("Numbers in the unit of the surface, from the lowest up, parted by "
                          "semicolons or blanks: 18000; 26000."))
        self.described(QgsProcessingParameterNumber(
            self.CLASSES, tr("Classes"), number.Integer, 3, minValue=2, maxValue=MOST_CLASSES),
            tr("How many; 2 to 12. It counts where no limits are entered, and has no unit."))
        self.described(QgsProcessingParameterFeatureSource(
            self.BOUNDARY, tr("Boundary"), [QgsProcessing.SourceType.TypeVectorPolygon],
            optional=True), tr("The field; empty: the cells of the surface as they are."))
        describe_shape(self)
        self.described(QgsProcessingParameterBoolean(
            self.ORDERED, tr("Never lower"), defaultValue=False),
            tr("Where zones are made workable, no ground joins a lower class: of depths to work, "
               "none is made shallower. Small high patches are enlarged instead."))
        self.described(QgsProcessingParameterNumber(
            self.NEIGHBOUR_CHANCE, tr("Not sure from"), number.Double, 0.3, minValue=0.0,
            maxValue=1.0),
            tr("Chance, 0 to 1, that the value lies beyond the limits of the zone, above which a "
               "place is not sure."))
        self.described(QgsProcessingParameterVectorDestination(self.ZONES, tr("Zones")),
                       tr("Polygons: title, area (m2), mean and standard deviation of the surface, "
                          "its standard error, readings inside, share of variance explained."))
        self.described(QgsProcessingParameterVectorDestination(
            self.UNSURE, tr("Where zones are not sure"), optional=True, createByDefault=False),
            tr("Polygons where the chance is above that of Not sure from; hatched on maps."))
        self.addOutput(QgsProcessingOutputNumber("COUNT", tr("Zones")))
        self.addOutput(QgsProcessingOutputNumber("EXPLAINED", tr("Share of variance explained")))

    def checkParameterValues(self, parameters, context):
        """Refuse limits that are no numbers and a boundary in another CRS."""
        try:
            limits = _limits(self.parameterAsString(parameters, self.LIMITS, context))
        except ValueError:
            limits = []
        if not limits and self._division(parameters, context) == TYPED:
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
        unsure_path = self.parameterAsOutputLayer(parameters, self.UNSURE, context)
        above = self.parameterAsDouble(parameters, self.NEIGHBOUR_CHANCE, context)
        deviation_m = self.parameterAsDouble(parameters, DEVIATION, context)
        division = self._division(parameters, context)
        tick = ticker(feedback)
        try:
            shape = shape_of(self, parameters, context, ordered=self.parameterAsBoolean(
                parameters, self.ORDERED, context))
            boundary = None if source is None else boundary_of(source)
            read = ticker(feedback, 0.0, 0.2)
            surface = (read_surface(surface_file, tick=read) if boundary is None
                       else surface_of_field(surface_file, boundary, tick=read))
            limits = self._limits_of(surface, division, parameters, context,
                                     ticker(feedback, 0.2, 0.2))
            found = zones_by_limits(surface, limits, shape=shape,
                                    digits=MOST_DIGITS if division == TYPED else COMPUTED_DIGITS,
                                    tick=ticker(feedback, 0.2, 0.7))
            figures = long_call(lambda: layer_figures(
                found.zone_map, surface.estimate, standard_error=surface.standard_error,
                sites_m=sites_of(surface)), tick, 0.7)
            zones = zone_layer("zones", found.zone_map, boundary, title=surface.name, shape=shape,
                               deviation_m=deviation_m, figures=figure_columns(figures),
                               tick=ticker(feedback, 0.7, 0.9))
            doubtful = long_call(lambda: found.doubt(surface) > above, tick, 0.9)
            how = made(self.ID, {self.LIMITS: limits, "SHAPE": asdict(shape),
                                 DEVIATION: deviation_m, self.NEIGHBOUR_CHANCE: above,
                                 self.SURFACE: surface.account["made"]})
            hatched = replace(mask_layer("unsure", doubtful, surface.grid, boundary, title=tr(
                "Hatched: the zone is not sure here"), tick=ticker(feedback, 0.9, 1.0)), made=how)
            with all_beside([path, unsure_path]) as (aside, unsure_aside):
                write_vector(aside, driver_of(path), [replace(zones, made=how)])
                if unsure_path:
                    write_vector(unsure_aside, driver_of(unsure_path), [hatched])
                tick(1.0)
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        paint_when_loaded(context, path, paint_zones)
        results = {self.ZONES: path, "COUNT": len(zones.rows), "EXPLAINED": figures.explained}
        if unsure_path:
            paint_when_loaded(context, unsure_path, paint_unsure)
            results[self.UNSURE] = unsure_path
        return results

    def _division(self, parameters, context):
        return DIVISIONS[self.parameterAsEnum(parameters, self.DIVISION, context)]

    def _limits_of(self, surface, division, parameters, context, tick):
        if division == TYPED:
            return _limits(self.parameterAsString(parameters, self.LIMITS, context))
        count = self.parameterAsInt(parameters, self.CLASSES, context)
        divide = equal_area_limits if division == EQUAL_AREA else natural_breaks
        return long_call(lambda: divide(surface, count), tick).tolist()


def _limits(text):
    numbers = [float(part) for part in text.replace(";", " ").split()]
    if not all(map(math.isfinite, numbers)):
        raise ValueError(text)
    return numbers
