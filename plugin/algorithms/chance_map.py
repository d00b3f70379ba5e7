"""chancemap: the chance that a surface lies above or below a limit."""
import numpy as np
from qgis.core import (
    QgsProcessingException,
    QgsProcessingParameterEnum,
    QgsProcessingParameterNumber,
    QgsProcessingParameterRasterDestination,
    QgsProcessingParameterRasterLayer,
)

from ..core.interpolate.carried import KEYS
from ..core.interpolate.chance import SIDES, chance
from ..core.long_call import long_call
from ..core.problems import InputProblem, Stopped
from ..core.surface import Surface
from ..layers.rasters import read_surface, write_surface
from .base import SpadeworkAlgorithm, geotiff, ticker, tr
from .made import made


class ChanceMap(SpadeworkAlgorithm):
    """The chance, 0 to 1, that the underlying value lies on one side of a limit."""
    ID, NAME, GROUP = "chancemap", "Chance map", "interpolate"
    HELP = ("From a surface with its standard error: the chance that the underlying value lies "
            "below or above a limit, the error taken as normal. Of the top of a pan, below the "
            "reach of a tool, it is the chance that there is a pan within reach.")
    SURFACE, LIMIT, SIDE, CHANCE = "SURFACE", "LIMIT", "SIDE", "CHANCE"
    SURFACES = (SURFACE,)

    def initAlgorithm(self, configuration=None):
        """Declare the surface, the limit, the side and the output."""
        self.described(QgsProcessingParameterRasterLayer(self.SURFACE, tr("Surface")),
                       tr("A GeoTIFF that Surface from readings made."))
        self.described(QgsProcessingParameterNumber(
            self.LIMIT, tr("Limit"), QgsProcessingParameterNumber.Type.Double),
            tr("In the unit of the surface."))
        self.described(QgsProcessingParameterEnum(
            self.SIDE, tr("Side"), [tr("below the limit"), tr("above the limit")], defaultValue=0),
            tr("Which side the chance is of."))
        self.described(QgsProcessingParameterRasterDestination(self.CHANCE, tr("Chance")),
                       tr("GeoTIFF: band 1 the chance, 0 to 1; band 2 zero, as a chance has no "
                          "error of its own."))

    def processAlgorithm(self, parameters, context, feedback):
        """Read the surface, compute, write."""
        surface_file = self.found_surface(parameters, self.SURFACE)
        limit = self.parameterAsDouble(parameters, self.LIMIT, context)
        side = SIDES[self.parameterAsEnum(parameters, self.SIDE, context)]
        path = geotiff(self.parameterAsOutputLayer(parameters, self.CHANCE, context))
        try:
            surface = read_surface(surface_file, tick=ticker(feedback, 0.0, 0.3))
            values = chance(surface, limit, side, tick=ticker(feedback, 0.3, 0.6))
            account = {name: kept for name, kept in surface.account.items()
                       if name not in (*KEYS, "made")}
            error = long_call(lambda: np.where(np.isnan(values), np.nan, 0.0),
                              ticker(feedback, 0.6, 0.6))
            write_surface(path, Surface(
                tr("Chance: {name} {side} {limit:g} {unit}").format(
                    name=surface.name, side=side, limit=limit, unit=surface.unit),
                "", surface.grid, surface.inside, values, error, account),
                made(self.ID, {self.LIMIT: limit, self.SIDE: side,
                               self.SURFACE: surface.account["made"]}),
                tick=ticker(feedback, 0.6, 1.0))
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        return {self.CHANCE: path}
