"""What every Spadework algorithm shares: names, group, help, and words of progress."""
from pathlib import Path

from qgis.core import QgsProcessingAlgorithm, QgsProcessingException
from qgis.PyQt.QtCore import QCoreApplication

from ..core.problems import Stopped

GROUPS = {
    "record": "Field record",
    "observe": "Observe",
    "interpolate": "Interpolate",
    "zone": "Zone",
    "decide": "Decide",
    "handover": "Hand over",
}

# Formats that keep every column and the CRS of what is written.
DRIVERS = {".gpkg": "GPKG", ".shp": "ESRI Shapefile", ".geojson": "GeoJSON"}


def tr(text):
    """Return the text in the user's language."""
    return QCoreApplication.translate("Spadework", text)


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
    """
    ID = NAME = GROUP = HELP = ""

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

    def described(self, parameter, help_text):
        """Add a parameter with its help text, which names its unit."""
        parameter.setHelp(help_text)
        self.addParameter(parameter)

    def file_parameter(self, parameters, name, context):
        """Return the path given for a required file parameter.

        Raises   QgsProcessingException: it is empty
        """
        path = self.parameterAsFile(parameters, name, context)
        if not path:
            raise QgsProcessingException(tr("{name}: no file was given.").format(name=name))
        return path


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
