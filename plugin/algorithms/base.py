"""What every Spadework algorithm shares: names, group, help, and words of progress."""
from pathlib import Path

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsProcessingAlgorithm,
    QgsProcessingException,
    QgsProcessingParameterDefinition,
    QgsProcessingParameterNumber,
)

from ..core.problems import Stopped
from ..layers.crs import crs_named
from ..layers.rasters import surface_crs, without_traces
from ..record.read import open_record
from ..report.words import tr
from .files_given import files_of

GROUPS = {
    "record": "Field record",
    "observe": "Observe",
    "interpolate": "Interpolate",
    "zone": "Zone",
    "decide": "Decide",
    "handover": "Hand over",
}

_UNBOUNDED = 2**31 - 1  # what Processing limits whole numbers to where nobody else does

# Formats that keep every column and the CRS of what is written.
DRIVERS = {".gpkg": "GPKG", ".shp": "ESRI Shapefile", ".geojson": "GeoJSON"}


def ticker(feedback, start=0.0, end=1.0):
    """Return a `tick` for core that moves the progress bar from start to end (shares of 1).

    The tick raises Stopped once the user has cancelled.
    """
    def tick(fraction):
        feedback.setProgress(100.0 * (start + (end - start) * fraction))
        if feedback.isCanceled():
            raise Stopped
    return tick


class SpadeworkAlgorithm(QgsProcessingAlgorithm):
    """A Processing algorithm described by class attributes.

    ID     fixed for good: lower-case letters and digits
    NAME   what the toolbox shows
    GROUP  a key of GROUPS
    HELP   what it does, in the user's words, with the source of what it computes
    SURFACES   names of the parameters that are surfaces of this program
    """
    ID = NAME = GROUP = HELP = ""
    SURFACES = ()

    def createInstance(self):
        """Return a fresh instance, as Processing asks before each run."""
        return type(self)()

    def name(self):
        """Return the id."""
        return self.ID

    def displayName(self):
        """Return the name shown in the toolbox."""
        return tr(self.NAME)

    def groupId(self):
        """Return the key of the group."""
        return self.GROUP

    def group(self):
        """Return the group's name shown in the toolbox."""
        return tr(GROUPS[self.GROUP])

    def shortHelpString(self):
        """Return the help shown beside the parameters."""
        return tr(self.HELP)

    def described(self, parameter, help_text, *, advanced=False):
        """Add a parameter with its help text, which names its unit; advanced ones are folded."""
        parameter.setHelp(help_text)
        if advanced:
            parameter.setFlags(parameter.flags()
                               | QgsProcessingParameterDefinition.Flag.FlagAdvanced)
        self.addParameter(parameter)

    def checkParameterValues(self, parameters, context):
        """Check each parameter as Processing does, and leave nothing beside rasters it opens."""
        refused = (self._number_refused(parameters, context)
                   or self._output_refused(parameters, context))
        if refused:
            return False, refused
        with without_traces():
            return super().checkParameterValues(parameters, context)

    def _number_refused(self, parameters, context):
        """Return which number is out of its range and what may be entered, "" where none is.

        Processing names the parameter alone, and takes NaN for a number.
        """
        for definition in self.parameterDefinitions():
            if (definition.type() != QgsProcessingParameterNumber.typeName()
                    or parameters.get(definition.name()) in (None, "")):
                continue
            value = self.parameterAsDouble(parameters, definition.name(), context)
            least, most = definition.minimum(), definition.maximum()
            if not least <= value <= most:
                return tr("{name}: {value} was entered; enter {range}.").format(
                    name=definition.description(), value=f"{value:g}", range=_range(least, most))
        return ""

    def _output_refused(self, parameters, context):
        """Return which output would take the place of an input or of another output, else ""."""
        taken = {}
        for definition in sorted(self.parameterDefinitions(), key=lambda one: one.isDestination()):
            for file in files_of(parameters.get(definition.name()), context):
                other = taken.setdefault(file, definition.description())
                if definition.isDestination() and other != definition.description():
                    return tr("{name}: {file} is what {other} names, and would be overwritten. "
                              "Give it another name.").format(
                                  name=definition.description(), file=file.name, other=other)
        return ""

    def prepareAlgorithm(self, parameters, context, feedback):
        """Find the file of each surface, in the thread in which the project's layers live."""
        self._surface_files = {name: self.surface_file(parameters, name, context)
                               for name in self.SURFACES}
        return True

    def surface_file(self, parameters, name, context):
        """Return the file of a surface given by path or as a layer; None where it is neither."""
        given = parameters.get(name)
        if isinstance(given, str) and Path(given).is_file():
            return given
        with without_traces():
            layer = self.parameterAsRasterLayer(parameters, name, context)
        return None if layer is None else layer.source()

    def found_surface(self, parameters, name):
        """Return the file of a surface, once the algorithm is prepared.

        Raises   QgsProcessingException: there is no such file or layer
        """
        path = self._surface_files[name]
        if path is None:
            raise QgsProcessingException(self.invalidRasterError(parameters, name))
        return path

    def crs_of_surface(self, parameters, name, context):
        """Return the QgsCoordinateReferenceSystem of a surface; None where there is no raster."""
        path = self.surface_file(parameters, name, context)
        wkt = None if path is None else surface_crs(path)
        if not wkt:
            return None if wkt is None else QgsCoordinateReferenceSystem()
        return QgsCoordinateReferenceSystem.fromWkt(wkt)

    def another_crs(self, boundary, crs):
        """Return why a boundary's source does not go with a surface's CRS, "" where it does.

        Nothing is wrong where one of them is None.
        """
        if boundary is None or crs is None or boundary.sourceCrs() == crs:
            return ""
        return tr("{layer} is in {crs}, the surface in {other}. Reproject the boundary.").format(
            layer=boundary.sourceName(), crs=crs_named(boundary.sourceCrs()),
            other=crs_named(crs))

    def file_parameter(self, parameters, name, context):
        """Return the path given for a required file parameter.

        Raises   QgsProcessingException: it is empty
        """
        path = self.parameterAsFile(parameters, name, context)
        if not path:
            raise QgsProcessingException(tr("{name}: no file was given.").format(name=name))
        return path

    def opened_record(self, parameters, context, feedback, *, only=(), end=0.0):
        """Return the Record that the parameter RECORD names; progress goes from 0 to `end`.

        Raises   QgsProcessingException: no file was given
                 InputProblem: as open_record, which takes `only`
                 Stopped: the user has cancelled
        """
        return open_record(self.file_parameter(parameters, "RECORD", context), only=only,
                           tick=ticker(feedback, 0.0, end))


def _range(least, most):
    """Return the range of a number in words; beyond _UNBOUNDED there is no limit."""
    if most < _UNBOUNDED:
        return tr("{least} to {most}").format(least=f"{least:g}", most=f"{most:g}")
    if least > -_UNBOUNDED:
        return tr("{least} or more").format(least=f"{least:g}")
    return tr("a number")


def driver_of(path):
    """Return OGR's driver name for the extension of an output path.

    Raises   QgsProcessingException: no driver writes it
    """
    driver = DRIVERS.get(Path(path).suffix.lower())
    if driver is None:
        raise QgsProcessingException(tr("{path}: give the output a file name that ends in .gpkg, "
                                        ".shp or .geojson.").format(path=path))
    return driver


def geotiff(path):
    """Return the path of a raster output as it is.

    Raises   QgsProcessingException: its name is not that of a GeoTIFF
    """
    if Path(path).suffix.lower() not in (".tif", ".tiff"):
        raise QgsProcessingException(tr("{path}: give the output a file name that ends in "
                                        ".tif.").format(path=path))
    return path
