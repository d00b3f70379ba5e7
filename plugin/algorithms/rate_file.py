"""ratefile: a plan as a file that a controller reads."""
from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterFileDestination,
)

from ..core.deliver.rate_table import MANY_ZONES, rate_rows
from ..core.problems import InputProblem, Stopped
from ..layers.nulls import plain
from ..layers.polygons import features_of
from ..layers.rate_files import FORMATS, write_rates
from .base import SpadeworkAlgorithm, ticker, tr


class RateFile(SpadeworkAlgorithm):
    """A rate file in an open format."""
    ID, NAME, GROUP = "ratefile", "Rate file", "handover"
    HELP = ("Writes a plan as single polygons in WGS 84 with one rate each, as GeoPackage, "
            "shapefile (.shp with .shx, .dbf, .prj and .cpg) or GeoJSON (RFC 7946). Zones where "
            "nothing is done carry rate 0. Check the file on the controller before you drive.")
    PLAN, FORMAT, FILE = "PLAN", "FORMAT", "FILE"

    def initAlgorithm(self, configuration=None):
        """Declare plan, format and file."""
        self.described(QgsProcessingParameterFeatureSource(
            self.PLAN, tr("Plan"), [QgsProcessing.SourceType.TypeVectorPolygon]),
            tr("A plan: polygons with zone, action, rate and rate_unit."))
        self.described(QgsProcessingParameterEnum(
            self.FORMAT, tr("Format"), list(FORMATS), defaultValue=0), tr("Open formats."))
        self.described(QgsProcessingParameterFileDestination(
            self.FILE, tr("Rate file"),
            "GeoPackage (*.gpkg);;Shapefile (*.shp);;GeoJSON (*.geojson)"),
            tr("Its name must end as the format asks: .gpkg, .shp or .geojson."))
        self.addOutput(QgsProcessingOutputNumber("POLYGONS", tr("Polygons written")))

    def checkParameterValues(self, parameters, context):
        """Refuse a file whose name does not end as its format asks, and a plan without a CRS."""
        name = list(FORMATS)[self.parameterAsEnum(parameters, self.FORMAT, context)]
        path = self.parameterAsFileOutput(parameters, self.FILE, context)
        if path and not path.lower().endswith(FORMATS[name][2]):
            return False, tr("{path} does not end in {extension}, as a {format} does.").format(
                path=path, extension=FORMATS[name][2], format=name)
        source = self.parameterAsSource(parameters, self.PLAN, context)
        if source is not None and not source.sourceCrs().isValid():
            return False, tr("{layer} has no CRS, so where its zones lie is not known. Set the CRS "
                             "of the layer first.").format(layer=source.sourceName())
        return super().checkParameterValues(parameters, context)

    def processAlgorithm(self, parameters, context, feedback):
        """Read the plan, check every rate, write."""
        source = self.parameterAsSource(parameters, self.PLAN, context)
        if source is None:
            raise QgsProcessingException(self.invalidSourceError(parameters, self.PLAN))
        name = list(FORMATS)[self.parameterAsEnum(parameters, self.FORMAT, context)]
        path = self.parameterAsFileOutput(parameters, self.FILE, context)
        features = list(features_of(source))
        columns = source.fields().names()
        try:
            rows = rate_rows(source.sourceName(),
                             [dict(zip(columns, map(plain, feature.attributes())))
                              for feature in features])
            ticker(feedback)(0.5)
            count = write_rates(path, name, source.sourceCrs().toWkt(),
                                [bytes(feature.geometry().asWkb()) for feature in features], rows)
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        if count > MANY_ZONES:
            feedback.pushWarning(tr("{count} polygons: older controllers may give up beyond about "
                                    "{many} (a figure from memory). Choose a larger smallest "
                                    "zone.").format(count=count, many=MANY_ZONES))
        return {self.FILE: path, "POLYGONS": count}
