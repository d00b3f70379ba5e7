"""zonesbylikeness: zones of ground that is alike in several layers, shaped for machines."""
from dataclasses import asdict, replace

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterMultipleLayers,
    QgsProcessingParameterNumber,
    QgsProcessingParameterRasterDestination,
    QgsProcessingParameterRasterLayer,
    QgsProcessingParameterVectorDestination,
)

from ..core.long_call import long_call
from ..core.problems import InputProblem, Stopped
from ..core.zone.by_likeness import METHODS, MOST_ZONES, LikenessSettings, zones_by_likeness
from ..core.zone.likeness_account import index_rows, likeness_account
from ..core.zone.table import layer_figures
from ..layers.beside import all_beside
from ..layers.crs import crs_named, in_metres
from ..layers.csv_files import write_csv
from ..layers.field_surface import shares_of_field, shares_of_values
from ..layers.json_files import json_text, write_json
from ..layers.layer_stack import read_stack
from ..layers.polygons import boundary_of
from ..layers.rasters import without_traces, write_bands
from ..layers.vectors import write_vector
from ..layers.zone_layers import figure_columns, zone_layer
from ..report.zone_style import paint_when_loaded, paint_zones
from .base import SpadeworkAlgorithm, driver_of, geotiff, ticker, tr
from .made import made
from .shape_parameters import DEVIATION, describe_shape, shape_of


class ZonesByLikeness(SpadeworkAlgorithm):
    """Zones of ground that is alike in several layers."""
    ID, NAME, GROUP = "zonesbylikeness", "Zones by likeness", "zone"
    HELP = ("Gathers cells that are alike in all the layers, each standardised, by fuzzy c-means "
            "(Bezdek 1981) or k-means, from several starts. The number of zones is entered, or "
            "chosen by the fuzziness performance index, the classification entropy (Boydell "
            "and McBratney 2002) and the variance explained, all of which are shown. Neighbouring "
            "cells can be given a say (Chuang 2006). Zones are then made workable as those by "
            "limits.")
    LAYERS, GRID, BOUNDARY, COUNT, MOST = "LAYERS", "GRID", "BOUNDARY", "COUNT", "MOST"
    GATHERING, FUZZIFIER, SMOOTHING = "GATHERING", "FUZZIFIER", "SMOOTHING"
    STARTS, SEED = "STARTS", "SEED"
    ZONES, INDICES, ACCOUNT = "ZONES", "INDICES", "ACCOUNT"
    MEMBERSHIPS, CONFUSION = "MEMBERSHIPS", "CONFUSION"

    def initAlgorithm(self, configuration=None):
        """Declare layers, settings, machine and outputs."""
        number = QgsProcessingParameterNumber.Type
        self.described(QgsProcessingParameterMultipleLayers(
            self.LAYERS, tr("Layers"), QgsProcessing.SourceType.TypeRaster),
            tr("Rasters, such as stand, pan, yields or elevation, in one CRS that counts in metres "
               "and on one grid. Band 1 is read."))
        self.described(QgsProcessingParameterRasterLayer(self.GRID, tr("Grid"), optional=True),
                       tr("A raster onto whose cells all layers are brought, read between their "
                          "own. Empty: layers on different grids are refused."))
        self.described(QgsProcessingParameterFeatureSource(
            self.BOUNDARY, tr("Boundary"), [QgsProcessing.SourceType.TypeVectorPolygon],
            optional=True),
            tr("The field; cells in it without a value get the nearest zone. Empty: the cells that "
               "have a value in every layer."))
        self.described(QgsProcessingParameterNumber(
            self.COUNT, tr("Zones"), number.Integer, optional=True, minValue=2,
            maxValue=MOST_ZONES),
            tr("How many classes, 2 to 12; it has no unit. Empty: chosen by the indices."))
        self.described(QgsProcessingParameterNumber(
            self.MOST, tr("Most zones"), number.Integer, 6, minValue=2, maxValue=MOST_ZONES),
            tr("Numbers from 2 to this one are tried where none is entered; it has no unit."))
        self.described(QgsProcessingParameterEnum(
            self.GATHERING, tr("Gathering"), [tr("fuzzy c-means"), tr("k-means")], defaultValue=0),
            tr("Memberships and indices of k-means are those of fuzzy c-means about its centres."))
        self.described(QgsProcessingParameterNumber(
            self.FUZZIFIER, tr("Fuzzifier"), number.Double, 1.5, minValue=1.01, maxValue=5.0),
            tr("Above 1, without unit; 1.3 to 1.5 is usual for zones, 2 in books. The higher, the "
               "more a cell belongs to several zones."))
        self.described(QgsProcessingParameterNumber(
            self.SMOOTHING, tr("Weight of neighbours"), number.Double, 0.0, minValue=0.0,
            maxValue=4.0),
            tr("0 for none, 1 is usual; without unit. Each cell's membership is weighed by that of "
               "the 5 by 5 cells around it. For fuzzy c-means alone."))
        self.described(QgsProcessingParameterNumber(
            self.STARTS, tr("Starts"), number.Integer, 10, minValue=1, maxValue=100),
            tr("Tries for each number of zones, on 20,000 cells at most; the best goes on over all "
               "cells. It has no unit."))
        self.described(QgsProcessingParameterNumber(
            self.SEED, tr("Seed"), number.Integer, 1, minValue=0),
            tr("The same seed draws the same starts; it has no unit."))
        describe_shape(self)
        self.described(QgsProcessingParameterVectorDestination(self.ZONES, tr("Zones")),
                       tr("Polygons: title, area (m2), and of each layer the mean, deviation, "
                          "standard error, readings inside and share of variance explained."))
        self.described(QgsProcessingParameterFileDestination(
            self.INDICES, tr("Indices (CSV)"), "CSV (*.csv)", optional=True),
            tr("A row for each number of zones: fuzziness performance index, entropy, variance "
               "explained and left within, and which was chosen."))
        self.described(QgsProcessingParameterFileDestination(
            self.ACCOUNT, tr("Account (JSON)"), "JSON (*.json)", optional=True,
            createByDefault=False),
            tr("The same with settings, the reason, and the figures of the zones."))
        self.described(QgsProcessingParameterRasterDestination(
            self.MEMBERSHIPS, tr("Memberships"), optional=True, createByDefault=False),
            tr("GeoTIFF: a band for each class, 0 to 1, before it was made workable."))
        self.described(QgsProcessingParameterRasterDestination(
            self.CONFUSION, tr("Confusion index"), optional=True, createByDefault=False),
            tr("GeoTIFF: 0 where a cell lies in one class, near 1 where it could as well lie in "
               "another (Burrough 1997)."))
        self.addOutput(QgsProcessingOutputNumber("CHOSEN", tr("Classes")))
        self.addOutput(QgsProcessingOutputNumber("LEFT_OUT", tr("Cells left out")))
        self.addOutput(QgsProcessingOutputNumber("EXPLAINED", tr("Share of variance explained")))
        self.addOutput(QgsProcessingOutputString("REASON", tr("Reason")))

    def checkParameterValues(self, parameters, context):
        """Refuse a boundary in another CRS than the layers."""
        boundary = self.parameterAsSource(parameters, self.BOUNDARY, context)
        with without_traces():
            layers = self.parameterAsLayerList(parameters, self.LAYERS, context)
        if not layers:
            return False, tr("Layers: no raster was given. Choose one or more.")
        if boundary is not None and not in_metres(boundary.sourceCrs()):
            return False, tr("{layer} is in {crs}, which does not count in metres. Reproject it to "
                             "the CRS of the layers.").format(
                layer=boundary.sourceName(), crs=crs_named(boundary.sourceCrs()))
        for layer in layers if boundary is not None else ():
            if layer.crs() != boundary.sourceCrs():
                return False, tr("{layer} is in {crs}, {boundary} in {other}. Reproject one of "
                                 "them.").format(
                    layer=layer.name(), crs=crs_named(layer.crs()),
                    boundary=boundary.sourceName(), other=crs_named(boundary.sourceCrs()))
        return super().checkParameterValues(parameters, context)

    def prepareAlgorithm(self, parameters, context, feedback):
        """Find the files of the layers, in the thread in which the project's layers live."""
        with without_traces():
            self._layers = [(layer.name(), layer.source()) for layer in
                            self.parameterAsLayerList(parameters, self.LAYERS, context)]
        self._grid = self.surface_file(parameters, self.GRID, context)
        return super().prepareAlgorithm(parameters, context, feedback)

    def processAlgorithm(self, parameters, context, feedback):
        """Read the layers, gather, tidy, write."""
        source = self.parameterAsSource(parameters, self.BOUNDARY, context)
        paths = {self.ZONES: self.parameterAsOutputLayer(parameters, self.ZONES, context)}
        driver_of(paths[self.ZONES])
        for name in (self.INDICES, self.ACCOUNT):
            paths[name] = self.parameterAsFileOutput(parameters, name, context)
        for name in (self.MEMBERSHIPS, self.CONFUSION):
            path = self.parameterAsOutputLayer(parameters, name, context)
            paths[name] = geotiff(path) if path else ""
        deviation_m = self.parameterAsDouble(parameters, DEVIATION, context)
        tick = ticker(feedback)
        try:
            shape = shape_of(self, parameters, context)
            settings = self._settings(parameters, context)
            layers, grid = read_stack(self._layers, self._grid)
            boundary = None if source is None else boundary_of(source)
            inside = (shares_of_values(layers) if boundary is None
                      else shares_of_field(grid, boundary, tick=ticker(feedback, 0.0, 0.05)))
            found = zones_by_likeness(layers, grid, inside, settings, shape=shape,
                                      tick=lambda part: tick(0.05 + 0.85 * part))
            figures = [long_call(lambda layer=layer: layer_figures(
                found.zone_map, layer.values, sites_m=layer.sites_m,
                standard_error=layer.standard_error), tick, 0.9) for layer in layers]
            columns = {}
            for layer, figure in zip(layers, figures):
                columns |= figure_columns(figure, prefix=layer.name)
            zones = zone_layer("zones", found.zone_map, boundary, title=self.displayName(),
                               shape=shape, deviation_m=deviation_m, figures=columns,
                               tick=ticker(feedback, 0.9, 0.95))
            how = made(self.ID, {"LAYERS": [layer.name for layer in layers],
                                 "GATHERING": asdict(settings), "SHAPE": asdict(shape),
                                 DEVIATION: deviation_m})
            with all_beside(paths.values()) as aside:
                self._write(dict(zip(paths, aside)), replace(zones, made=how), found, layers,
                            figures, how, ticker(feedback, 0.95, 1.0))
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        feedback.pushInfo(found.reason)
        if found.left_out:
            feedback.pushWarning(tr("{count} cells of the field have no value in some layer; they "
                                    "took no part, and lie in the zone nearest to them.").format(
                count=found.left_out))
        paint_when_loaded(context, paths[self.ZONES], paint_zones)
        chosen = found.found[found.count - settings.least]
        return {**{name: path for name, path in paths.items() if path}, "CHOSEN": found.count,
                "LEFT_OUT": found.left_out, "EXPLAINED": chosen.explained,
                "REASON": found.reason}

    def _settings(self, parameters, context):
        wanted = parameters.get(self.COUNT)
        least, most = 2, self.parameterAsInt(parameters, self.MOST, context)
        if wanted not in (None, ""):
            least = most = self.parameterAsInt(parameters, self.COUNT, context)
        return LikenessSettings(
            least=least, most=most,
            method=METHODS[self.parameterAsEnum(parameters, self.GATHERING, context)],
            fuzzifier=self.parameterAsDouble(parameters, self.FUZZIFIER, context),
            smoothing=self.parameterAsDouble(parameters, self.SMOOTHING, context),
            starts=self.parameterAsInt(parameters, self.STARTS, context),
            seed=self.parameterAsInt(parameters, self.SEED, context))

    def _write(self, paths, zones, found, layers, figures, how, tick):
        grid, account = found.zone_map.grid, {"MADE": json_text(how)}
        write_vector(paths[self.ZONES], driver_of(paths[self.ZONES]), [zones])
        if paths[self.INDICES]:
            write_csv(paths[self.INDICES], index_rows(found, layers))
        if paths[self.ACCOUNT]:
            write_json(paths[self.ACCOUNT], likeness_account(found, layers, how, figures))
        if paths[self.MEMBERSHIPS]:
            write_bands(paths[self.MEMBERSHIPS], grid, (
                (f"class {number}", band) for number, band in enumerate(found.memberships, 1)),
                metadata=account, tick=lambda part: tick(0.8 * part))
        if paths[self.CONFUSION]:
            write_bands(paths[self.CONFUSION], grid, [("confusion index", found.confusion)],
                        metadata=account, tick=lambda part: tick(0.8 + 0.2 * part))
        tick(1.0)
