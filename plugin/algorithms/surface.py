"""surface: from readings at points to an estimate and its error everywhere in the field."""
import json
import math
from dataclasses import replace

import numpy as np
from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterField,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterNumber,
    QgsProcessingParameterRasterDestination,
    QgsProcessingParameterString,
    QgsProcessingParameterVectorDestination,
)

from ..core.grid import MOST_CELLS, Grid
from ..core.interpolate.chance import require_yes_or_no
from ..core.interpolate.covariance import CANDIDATES, FAMILIES, NUGGET, CovarianceModel
from ..core.interpolate.diagnostics import surface_diagnostics
from ..core.interpolate.estimate import CENSORED_MOST, estimate_surface, unsure
from ..core.interpolate.field_mean import field_mean
from ..core.interpolate.map_settings import MapSettings
from ..core.interpolate.plausible import (
    far_from_the_others,
    outside,
    require_near,
    require_plausible,
)
from ..core.problems import InputProblem, Stopped
from ..layers.beside import all_beside
from ..layers.boundary import grid_over, inside_shares
from ..layers.covariates import covariate_sampler
from ..layers.crs import crs_named, in_metres
from ..layers.json_files import write_json
from ..layers.points import read_observations
from ..layers.polygons import boundary_of
from ..layers.rasters import write_surface
from ..layers.vectors import write_vector
from ..layers.zone_layers import mask_layer
from ..report.diagnostic_figures import can_draw, write_figures
from .base import SpadeworkAlgorithm, driver_of, geotiff, ticker, tr
from .drift_parameters import (
    DRIFT,
    describe_drift,
    drift_chosen,
    layer_elsewhere,
    layers_followed,
)
from .made import made

MOST_MEMORY_GB = 1.5  # 1.3 with MOST_CELLS cells and all outputs, by bench/cancel_gaps.py
METHODS = ("automatic", "mean", "chance")
SUPPORTS = ("reading", "cell")
MODEL_KEYS = {"family", "nugget", "partial_sill", "range_m", "heading_deg", "ratio", "long_sill",
              "long_range_m"}


class SurfaceAlgorithm(SpadeworkAlgorithm):
    """A surface from readings, or their mean where they do not support one."""
    ID, NAME, GROUP = "surface", "Surface from readings", "interpolate"
    HELP = ("Fits covariance models to the readings by restricted maximum likelihood, each reading "
            "with its own known error (500 and more readings: to their variogram), chooses by "
            "AICc, and draws the surface by ordinary kriging, the readings' own errors filtered "
            "out. Where predicting a reading from its neighbours "
            "is no better than the mean, the surface is the mean with its error, and says so. "
            "Readings known only to lie above or below a figure are drawn from what the others say "
            "of them. Band 1 is the estimate, band 2 its standard error for ground of the size of "
            "one reading, or of a cell. The mean may follow a slope or other layers. Patterson and "
            "Thompson (1971); Delhomme (1978); Hurvich and Tsai (1989). "
            f"At most {MOST_CELLS:,} cells are drawn, and {CENSORED_MOST:,} readings where some "
            f"are limits; memory stays below {MOST_MEMORY_GB:g} GB, besides the layers that the "
            "values follow. The surface keeps these as further bands, so that plans and Next stops "
            "know how sure it is.")
    INPUT, FIELD, ERROR_FIELD, CENSOR_FIELD = "INPUT", "FIELD", "ERROR_FIELD", "CENSOR_FIELD"
    BOUNDARY, CELL, METHOD, MODEL, NEIGHBOURS = ("BOUNDARY", "CELL", "METHOD", "MODEL",
                                                 "NEIGHBOURS")
    SUPPORT, HEADING, OCTANTS, REFIT = "SUPPORT", "HEADING", "OCTANTS", "REFIT"
    TITLE, UNIT, CANDIDATES = "TITLE", "UNIT", "CANDIDATES"
    SURFACE, DIAGNOSTICS, FIGURES, UNSURE = "SURFACE", "DIAGNOSTICS", "FIGURES", "UNSURE"

    def initAlgorithm(self, configuration=None):
        """Declare readings, boundary, cell, method and outputs."""
        numeric = QgsProcessingParameterField.DataType.Numeric
        self.described(QgsProcessingParameterFeatureSource(
            self.INPUT, tr("Readings"), [QgsProcessing.SourceType.TypeVectorPoint]),
            tr("Points with a value each, in a CRS that counts in metres."))
        self.described(QgsProcessingParameterField(
            self.FIELD, tr("Value"), parentLayerParameterName=self.INPUT, type=numeric),
            tr("Column of the values, in any unit."))
        self.described(QgsProcessingParameterField(
            self.ERROR_FIELD, tr("Standard error of the value"), optional=True,
            parentLayerParameterName=self.INPUT, type=numeric),
            tr("Column of each reading's own standard error, in the unit of the value."))
        self.described(QgsProcessingParameterField(
            self.CENSOR_FIELD, tr("Known only to lie above or below"), optional=True,
            parentLayerParameterName=self.INPUT),
            tr("Column that says above or below where the value is only a limit, else empty."))
        self.described(QgsProcessingParameterFeatureSource(
            self.BOUNDARY, tr("Boundary"), [QgsProcessing.SourceType.TypeVectorPolygon]),
            tr("The field, in the CRS of the readings."))
        self.described(QgsProcessingParameterNumber(
            self.CELL, tr("Cell"), QgsProcessingParameterNumber.Type.Double, 5.0),
            tr("Side of a cell, metres; at most {cells:,} cells are drawn.").format(
                cells=MOST_CELLS))
        self.described(QgsProcessingParameterEnum(
            self.METHOD, tr("Method"), [tr("automatic"), tr("mean of the readings"),
                                        tr("chance of a yes (values 0 and 1)")], defaultValue=0),
            tr("Automatic maps where the readings support it; else it takes the mean. Chance does "
               "the same for values of 0 (no) and 1 (yes) and keeps the estimate between them."))
        self.described(QgsProcessingParameterString(
            self.MODEL, tr("Model"), defaultValue="automatic"),
            tr('"automatic", or JSON such as {"family": "exponential", "nugget": 4, '
               '"partial_sill": 20, "range_m": 60}; variances in the unit of the value squared. '
               'With "long_sill" and "long_range_m" a part of the partial sill reaches further.'),
            advanced=True)
        self.described(QgsProcessingParameterEnum(
            self.CANDIDATES, tr("Families compared"), list(FAMILIES), allowMultiple=True,
            defaultValue=[list(FAMILIES).index(name) for name in CANDIDATES if name != NUGGET]),
            tr("Covariance families that an automatic model is chosen from, besides the one "
               "without structure. Those with smooth surfaces (gaussian, matern) seldom fit soil "
               "or stands better, and readings seldom tell; docs/interpolation.md has figures."),
            advanced=True)
        self.described(QgsProcessingParameterNumber(
            self.NEIGHBOURS, tr("Neighbours"), QgsProcessingParameterNumber.Type.Integer,
            optional=True, minValue=3),
            tr("Nearest readings that weigh on a cell. Empty: all, or 32 of more than 600."),
            advanced=True)
        self.described(QgsProcessingParameterBoolean(
            self.OCTANTS, tr("Neighbours from all sides"), defaultValue=False),
            tr("Takes the nearest readings evenly from the eight octants around a cell, where not "
               "all readings weigh."), advanced=True)
        self.described(QgsProcessingParameterEnum(
            self.SUPPORT, tr("Ground that the figures are for"),
            [tr("of the size of one reading"), tr("a whole cell")], defaultValue=0),
            tr("The mean of a whole cell is known better than the next reading in it. Rates are "
               "applied to cells, readings are taken at points."), advanced=True)
        describe_drift(self)
        self.described(QgsProcessingParameterNumber(
            self.HEADING, tr("Heading of the rows"), QgsProcessingParameterNumber.Type.Double,
            optional=True, minValue=0.0, maxValue=180.0),
            tr("Degrees clockwise from north. Models that reach further along the rows than across "
               "them, or the reverse, are then tried too."), advanced=True)
        self.described(QgsProcessingParameterBoolean(
            self.REFIT, tr("Fit anew for the check"), defaultValue=False),
            tr("Whether a map beats the mean is checked on readings left out. The model is then "
               "fitted anew, ten times, without a tenth of them each; else it stays as fitted to "
               "all, which is quicker and flatters the map a little."), advanced=True)
        self.described(QgsProcessingParameterString(self.TITLE, tr("Name"), optional=True),
                       tr("What the surface is called; empty takes the column's name."))
        self.described(QgsProcessingParameterString(self.UNIT, tr("Unit"), optional=True),
                       tr("Unit of the values, to be shown with them."))
        self.described(QgsProcessingParameterRasterDestination(self.SURFACE, tr("Surface")),
                       tr("GeoTIFF: band 1 the estimate, band 2 its standard error."))
        self.described(QgsProcessingParameterFileDestination(
            self.DIAGNOSTICS, tr("Diagnostics (JSON)"), "JSON (*.json)", optional=True,
            createByDefault=False),
            tr("Readings, models compared, the one chosen, the variogram beside it, and the check "
               "by leaving readings out, reading by reading."))
        self.described(QgsProcessingParameterFileDestination(
            self.FIGURES, tr("Figures (PNG)"), "PNG (*.png)", optional=True,
            createByDefault=False),
            tr("The variogram with the model and the number of pairs (with a heading, along and "
               "across it too), readings left out against what the others predict, and a map of "
               "where predictions are off. Needs matplotlib."))
        self.described(QgsProcessingParameterVectorDestination(
            self.UNSURE, tr("Where the map says little"), optional=True, createByDefault=False),
            tr("Polygons where readings tell less than half of what neighbours could; hatched on "
               "maps."))
        self.addOutput(QgsProcessingOutputNumber("USED", tr("Readings used")))
        self.addOutput(QgsProcessingOutputNumber("LEFT_OUT", tr("Readings left out")))
        self.addOutput(QgsProcessingOutputString("VERDICT", tr("Verdict")))

    def checkParameterValues(self, parameters, context):
        """Refuse CRSs that do not count in metres or differ, and a model that is none."""
        sources = [self.parameterAsSource(parameters, name, context)
                   for name in (self.INPUT, self.BOUNDARY)]
        for source in filter(None, sources):
            if not in_metres(source.sourceCrs()):
                return False, tr("{layer} is in {crs}, which does not count in metres. Reproject "
                                 "it to the field's UTM zone first.").format(
                    layer=source.sourceName(), crs=crs_named(source.sourceCrs()))
        if all(sources) and sources[0].sourceCrs() != sources[1].sourceCrs():
            return False, tr("{readings} is in {crs}, {boundary} in {other}. Reproject one of "
                             "them.").format(
                readings=sources[0].sourceName(), crs=crs_named(sources[0].sourceCrs()),
                boundary=sources[1].sourceName(), other=crs_named(sources[1].sourceCrs()))
        elsewhere = sources[0] and layer_elsewhere(
            layers_followed(self, parameters, context), sources[0].sourceCrs(),
            sources[0].sourceName())
        if elsewhere:
            return False, elsewhere
        numbering = self._numbering(parameters, context)
        if numbering:
            return False, numbering
        if self.parameterAsFileOutput(parameters, self.FIGURES, context) and not can_draw():
            return False, tr("Figures are drawn by matplotlib, which this QGIS comes without. "
                             "Leave Figures empty, or add matplotlib to the Python of QGIS.")
        try:
            _model(self.parameterAsString(parameters, self.MODEL, context))
            if sources[1]:
                self._require_cells(sources[1], parameters, context)
        except InputProblem as problem:
            return False, str(problem)
        return super().checkParameterValues(parameters, context)

    def _numbering(self, parameters, context):
        """Return why the column cannot be that of the readings where it numbers the rows, else "".

        A dialog proposes the first column with numbers, which is this one in a GeoPackage.
        """
        layer = self.parameterAsVectorLayer(parameters, self.INPUT, context)
        column = self.parameterAsString(parameters, self.FIELD, context)
        if layer is None or (layer.fields().lookupField(column)
                             not in layer.primaryKeyAttributes()):
            return ""
        return tr("{layer}, {column}: this column numbers the rows. Choose the column that holds "
                  "the readings.").format(layer=layer.name(), column=column)

    def _require_cells(self, boundary, parameters, context):
        """Refuse, before any work, a cell of which too many or none would cover the boundary."""
        cell_m = self.parameterAsDouble(parameters, self.CELL, context)
        extent = boundary.sourceExtent()
        if extent.isEmpty():
            raise InputProblem(tr("{layer} holds no polygon with an area. Choose the layer that "
                                  "holds the field's boundary.").format(
                layer=boundary.sourceName()))
        Grid.covering(extent.xMinimum(), extent.yMinimum(), extent.xMaximum(), extent.yMaximum(),
                      cell_m=cell_m)

    def prepareAlgorithm(self, parameters, context, feedback):
        """Find the files of the covariates, in the thread in which the project's layers live."""
        self._followed = layers_followed(self, parameters, context)
        return super().prepareAlgorithm(parameters, context, feedback)

    def processAlgorithm(self, parameters, context, feedback):
        """Read, estimate, write."""
        source = self.parameterAsSource(parameters, self.INPUT, context)
        boundary_source = self.parameterAsSource(parameters, self.BOUNDARY, context)
        if source is None or boundary_source is None:
            raise QgsProcessingException(self.invalidSourceError(
                parameters, self.INPUT if source is None else self.BOUNDARY))
        field = self.parameterAsString(parameters, self.FIELD, context)
        path = geotiff(self.parameterAsOutputLayer(parameters, self.SURFACE, context))
        further = self._further(parameters, context)
        try:
            observations, left_out = read_observations(
                source, field,
                error_field=self.parameterAsString(parameters, self.ERROR_FIELD, context),
                censor_field=self.parameterAsString(parameters, self.CENSOR_FIELD, context),
                name=self.parameterAsString(parameters, self.TITLE, context),
                unit=self.parameterAsString(parameters, self.UNIT, context),
                tick=ticker(feedback, 0.0, 0.03))
            if left_out:
                feedback.pushWarning(tr("{layer}: no point, no value or no error in {count} rows "
                                        "({rows}); left out.").format(
                    layer=source.sourceName(), count=len(left_out),
                    rows=", ".join(map(str, left_out[:8]))))
            require_plausible(observations, field)
            boundary = boundary_of(boundary_source)
            grid = grid_over(boundary, self.parameterAsDouble(parameters, self.CELL, context),
                             source.sourceCrs().toWkt())
            settings = self._settings(grid.cell_m, parameters, context)
            require_near(observations, grid)
            inside = inside_shares(boundary, grid, tick=ticker(feedback, 0.03, 0.1))
            self._warn(observations, grid, inside, field, feedback)
            surface = self._estimate(observations, grid, inside, settings, parameters, context,
                                     feedback)
            results = {self.SURFACE: path, "USED": len(observations), "LEFT_OUT": len(left_out),
                       "VERDICT": surface.account["verdict"]}
            diagnostics = self._diagnostics(surface, observations, settings, parameters, context,
                                            feedback)
            said = made(self.ID, {
                self.FIELD: field, self.CELL: grid.cell_m,
                self.MODEL: self.parameterAsString(parameters, self.MODEL, context),
                self.CANDIDATES: list(self._families(parameters, context)),
                self.SUPPORT: "reading" if settings.block_m is None else "cell",
                DRIFT: list(settings.drift_names), self.HEADING: settings.heading_deg,
                self.OCTANTS: settings.octants, self.REFIT: settings.refit})
            with all_beside([path, *further.values()]) as (aside, *others):
                write_surface(aside, surface, said, tick=ticker(feedback, 0.9, 0.95))
                self._write_further(dict(zip(further, others)), surface, diagnostics, boundary,
                                    said, ticker(feedback, 0.95, 1.0))
            results |= {name: place for name, place in further.items() if place}
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        feedback.pushInfo(surface.account["verdict"])
        return results

    def _warn(self, observations, grid, inside, field, feedback):
        """Say what is doubtful and counts all the same."""
        far = far_from_the_others(observations)
        if len(far):
            feedback.pushWarning(tr("{first}, {field}: {value:g} lies far from the others (median "
                                    "{median:g}); {count} of {all} are like that. They count: "
                                    "correct them where they are slips.").format(
                first=observations.labels[far[0]], field=field, value=observations.values[far[0]],
                median=float(np.median(observations.values)), count=len(far),
                all=len(observations)))
        beyond = outside(observations, grid, inside)
        if beyond:
            feedback.pushWarning(tr("{count} of {all} readings lie outside the boundary; they "
                                    "count all the same.").format(
                count=beyond, all=len(observations)))
        if not (inside >= 1 - 1e-9).any():
            feedback.pushWarning(tr("No cell of {cell:g} m lies whole in the field. Choose smaller "
                                    "cells.").format(cell=grid.cell_m))

    def _settings(self, cell_m, parameters, context):
        support = SUPPORTS[self.parameterAsEnum(parameters, self.SUPPORT, context)]
        return MapSettings(
            block_m=cell_m if support == "cell" else None,
            heading_deg=(self.parameterAsDouble(parameters, self.HEADING, context)
                         if parameters.get(self.HEADING) is not None else None),
            octants=self.parameterAsBoolean(parameters, self.OCTANTS, context),
            refit=self.parameterAsBoolean(parameters, self.REFIT, context),
            linear=drift_chosen(self, parameters, context) == "linear",
            covariates=tuple(layer.name for layer in self._followed),
            sampled=covariate_sampler([layer.path for layer in self._followed]))

    def _estimate(self, observations, grid, inside, settings, parameters, context, feedback):
        method = METHODS[self.parameterAsEnum(parameters, self.METHOD, context)]
        neighbours = (self.parameterAsInt(parameters, self.NEIGHBOURS, context)
                      if parameters.get(self.NEIGHBOURS) is not None else None)
        if method == "chance":
            require_yes_or_no(observations)
        return estimate_surface(
            observations, grid, inside, neighbours=neighbours, tick=ticker(feedback, 0.1, 0.85),
            families=(NUGGET,) if method == "mean" else self._families(parameters, context),
            between=(0.0, 1.0) if method == "chance" else (-math.inf, math.inf),
            model=_model(self.parameterAsString(parameters, self.MODEL, context)),
            settings=settings)

    def _families(self, parameters, context):
        chosen = self.parameterAsEnums(parameters, self.CANDIDATES, context)
        return (NUGGET, *(list(FAMILIES)[number] for number in chosen))

    def _diagnostics(self, surface, observations, settings, parameters, context, feedback):
        if not any(self.parameterAsFileOutput(parameters, name, context)
                   for name in (self.DIAGNOSTICS, self.FIGURES)):
            return None
        return surface_diagnostics(surface, observations, drift_at=settings.drift_at,
                                   heading_deg=settings.heading_deg,
                                   tick=ticker(feedback, 0.85, 0.9))

    def _further(self, parameters, context):
        """Paths of the outputs beside the surface, "" of those that are not asked for."""
        hatched = self.parameterAsOutputLayer(parameters, self.UNSURE, context)
        if hatched:
            driver_of(hatched)  # refused now, before the work
        return {self.DIAGNOSTICS: self.parameterAsFileOutput(parameters, self.DIAGNOSTICS, context),
                self.FIGURES: self.parameterAsFileOutput(parameters, self.FIGURES, context),
                self.UNSURE: hatched}

    def _write_further(self, paths, surface, found, boundary, said, tick):
        if paths[self.DIAGNOSTICS]:
            mean, error = field_mean(surface, tick=lambda part: tick(0.4 * part))
            write_json(paths[self.DIAGNOSTICS], {
                **surface.account, "name": surface.name, "unit": surface.unit, "mean": mean,
                "mean_error": error, "diagnostics": found, "made": said})
        if paths[self.FIGURES]:
            write_figures(paths[self.FIGURES], found, name=surface.name, unit=surface.unit,
                          tick=lambda part: tick(0.4 + 0.1 * part))
        if paths[self.UNSURE]:
            hatched = mask_layer("unsure", unsure(surface), surface.grid, boundary,
                                 title=tr("Hatched: readings tell little here"),
                                 tick=lambda part: tick(0.5 + 0.4 * part))
            write_vector(paths[self.UNSURE], driver_of(paths[self.UNSURE]),
                         [replace(hatched, made=said)])
        tick(1.0)


def _model(text):
    """The CovarianceModel of the MODEL parameter, or None for automatic."""
    if text.strip().lower() in ("", "automatic"):
        return None
    try:
        given = json.loads(text, parse_int=float)  # a whole number may be beyond what floats hold
    except (ValueError, RecursionError) as problem:
        raise InputProblem(f"The model {text[:300]!r} is neither the word automatic nor JSON: "
                           f"{problem}.") from problem
    if not isinstance(given, dict) or not {"family", "nugget"} <= set(given) <= MODEL_KEYS:
        raise InputProblem(f"The model {text[:300]!r} must name family and nugget, and may name "
                           "partial_sill, range_m, heading_deg, ratio, long_sill and long_range_m.")
    if any(isinstance(value, float) and not math.isfinite(value) for value in given.values()):
        raise InputProblem(f"The model {text[:300]!r} holds a number that is not finite, such as "
                           "its nugget or range_m. Enter one in the unit of the readings.")
    try:
        return CovarianceModel(**given)
    except TypeError as problem:
        raise InputProblem(f"The model {text[:300]!r} holds something that is no "
                           "number.") from problem
