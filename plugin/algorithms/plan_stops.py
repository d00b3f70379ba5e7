"""planstops: how many stops, where they lie, and the walk from one to the next."""
from functools import partial
from pathlib import Path

import numpy as np
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsGeometry,
    QgsPointXY,
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterMultipleLayers,
    QgsProcessingParameterNumber,
    QgsProcessingParameterPoint,
    QgsProcessingParameterString,
    QgsProcessingParameterVectorDestination,
)

from ..core.interpolate.estimate import LEAST_FOR_MAP
from ..core.problems import InputProblem, Stopped
from ..core.units import UNIT_SYSTEMS, convert
from ..core.walk.plan_walk import ALONG, DESIGNS, NEYMAN, PROPORTIONAL, Ground, plan_walk
from ..core.walk.stops_needed import MOST_STOPS, precision_of, stops_needed
from ..layers.beside import all_beside
from ..layers.boundary import inside_mask
from ..layers.covariates import covariates_at
from ..layers.crs import in_metres
from ..layers.gpx import write_waypoints
from ..layers.polygons import boundary_of
from ..layers.vectors import REAL, WHOLE, Column, VectorLayer, points_wkb, write_vector
from ..layers.walkable import cells_of_ground, walkable_ground
from ..record.earlier_spread import QUANTITIES, earlier_spread_percent, title_of
from ..record.schema import layer_spec
from ..report.field_sheet import SheetStops, write_field_sheet
from ..report.field_sheet_blanks import BLANKS
from ..report.look import PAPERS
from ..report.main_thread import on_main_thread
from .base import SpadeworkAlgorithm, driver_of, ticker, tr
from .made import made
from .new_record import WGS84, transform_boundary, utm_crs_of

ALLOCATIONS = (PROPORTIONAL, NEYMAN)


class PlanStops(SpadeworkAlgorithm):
    """A walk planned before the field call."""
    ID, NAME, GROUP = "planstops", "Plan the stops of a walk", "record"
    HELP = ("Plans a walk before the field call: how many stops, where they lie and in which order "
            "to take them. Give the number of stops, or the precision wanted of the mean and the "
            "spread between stops (CV), typed or from an earlier record: n = (t CV / E)2, with t "
            "of n - 1 degrees of freedom (University of Missouri Extension). Spatial coverage "
            "spreads stops so that no spot is far from one, best for a map; stratified random "
            "draws one in each of as many pieces of equal area, best for a mean; along strata "
            "gives more or less like ground its share, by earlier yields or soil (Brus 2022, "
            "Spatial Sampling with R). The order makes the way short, straight from stop to stop. "
            "Stops for a receiver and a sheet to write on come along. Which places decide a "
            "question once readings are mapped, Next stops tells.")
    BOUNDARY, DESIGN, COUNT, PRECISION, CV = "BOUNDARY", "DESIGN", "COUNT", "PRECISION", "CV"
    CONFIDENCE, EARLIER, QUANTITY = "CONFIDENCE", "EARLIER", "QUANTITY"
    COVARIATES, STRATA, ALLOCATION = "COVARIATES", "STRATA", "ALLOCATION"
    HEADLAND, KEEP_OUT, START, BACK, SEED = "HEADLAND", "KEEP_OUT", "START", "BACK", "SEED"
    TITLE, UNITS, READINGS, PAGE = "TITLE", "UNITS", "READINGS", "PAGE"
    STOPS, GPX, SHEET = "STOPS", "GPX", "SHEET"

    def initAlgorithm(self, configuration=None):
        """Declare the ground, the number of stops, the design, the walk and the outputs."""
        self.described(QgsProcessingParameterFeatureSource(
            self.BOUNDARY, tr("Boundary"), [QgsProcessing.SourceType.TypeVectorPolygon]),
            tr("The field, in any CRS; one that does not count in metres is brought into its UTM "
               "zone. Holes and several parts are kept."))
        self.described(QgsProcessingParameterEnum(
            self.DESIGN, tr("Design"), [tr("spatial coverage"), tr("stratified random"),
                                        tr("along strata of yield or soil")], defaultValue=0),
            tr("Coverage for a map, random for a mean with an honest error, strata where earlier "
               "yields or soil matter."))
        self._declare_number_of_stops()
        self._declare_strata()
        self._declare_walk()
        self._declare_outputs()

    def _declare_number_of_stops(self):
        number = QgsProcessingParameterNumber.Type
        self.described(QgsProcessingParameterNumber(
            self.COUNT, tr("Stops"), number.Integer, optional=True, minValue=1,
            maxValue=MOST_STOPS),
            tr("Number of stops, where readings are taken, 1 to 500. Empty: as the precision "
               "asks."))
        self.described(QgsProcessingParameterNumber(
            self.PRECISION, tr("Precision of the mean"), number.Double, optional=True,
            minValue=0.0, maxValue=100.0),
            tr("Half of the interval of the field's mean, in % of the mean; 10 is usual. Empty "
               "where the number of stops is given."))
        self.described(QgsProcessingParameterNumber(
            self.CV, tr("Spread between stops (CV)"), number.Double, optional=True, minValue=0.0),
            tr("Standard deviation between stops in % of their mean. Stand counts have 10 to 20, "
               "resistances about 40. Empty: from an earlier record."))
        self.described(QgsProcessingParameterNumber(
            self.CONFIDENCE, tr("Confidence"), number.Double, 95.0, minValue=50.0,
            maxValue=99.9), tr("Chance, in %, that the interval holds the true mean."))
        self.described(QgsProcessingParameterFile(
            self.EARLIER, tr("Earlier record"), extension="gpkg", optional=True),
            tr("A field record whose stops tell the spread. It is not changed."))
        self.described(QgsProcessingParameterEnum(
            self.QUANTITY, tr("Spread of"), [tr(title_of(one)) for one in QUANTITIES],
            defaultValue=0), tr("What the earlier record's spread is taken of."))

    def _declare_strata(self):
        number = QgsProcessingParameterNumber.Type
        self.described(QgsProcessingParameterMultipleLayers(
            self.COVARIATES, tr("Layers that strata follow"), QgsProcessing.SourceType.TypeRaster,
            optional=True),
            tr("Rasters of earlier yields or soil, for a design along strata, in any CRS; band 1 "
               "is read. The first decides where strata differ in spread."))
        self.described(QgsProcessingParameterNumber(
            self.STRATA, tr("Strata"), number.Integer, 3, minValue=2, maxValue=20),
            tr("Number of strata, for a design along strata: of one layer by its quantiles, of "
               "several by k-means. Each takes 2 readings or more."))
        self.described(QgsProcessingParameterEnum(
            self.ALLOCATION, tr("Stops go by"), [tr("area of the strata"),
                                                 tr("area times spread of the first layer")],
            defaultValue=0), tr("How strata share the stops; the second is Neyman's allocation."))

    def _declare_walk(self):
        number = QgsProcessingParameterNumber.Type
        self.described(QgsProcessingParameterNumber(
            self.HEADLAND, tr("Headland left out"), number.Double, 0.0, minValue=0.0),
            tr("Metres from the boundary, holes too, in which no stop lies."))
        self.described(QgsProcessingParameterFeatureSource(
            self.KEEP_OUT, tr("Keep out of"), [QgsProcessing.SourceType.TypeVectorPolygon],
            optional=True), tr("Polygons in which no stop lies: waterways, lanes, plots of others; "
                               "in any CRS."))
        self.described(QgsProcessingParameterPoint(self.START, tr("Start of the walk"),
                                                   optional=True),
                       tr("Where you leave the vehicle. Empty: at whichever stop makes the way "
                          "shortest."))
        self.described(QgsProcessingParameterBoolean(self.BACK, tr("Back to the start"), True),
                       tr("The walk ends where it began."))
        self.described(QgsProcessingParameterNumber(
            self.SEED, tr("Seed"), number.Integer, 1, minValue=0),
            tr("Whole number from which all that is drawn follows, without a unit: the same gives "
               "the same stops."))

    def _declare_outputs(self):
        self.described(QgsProcessingParameterString(self.TITLE, tr("Name"), optional=True),
                       tr("Name of the field, for the sheet."))
        self.described(QgsProcessingParameterEnum(
            self.UNITS, tr("Units"), list(UNIT_SYSTEMS), defaultValue="us",
            usesStaticStrings=True), tr("Units of the sheet and of the ways: us or metric."))
        self.described(QgsProcessingParameterEnum(
            self.READINGS, tr("Readings"), [tr(layer_spec(one).title) for one in BLANKS],
            allowMultiple=True, defaultValue=[0]),
            tr("What is read at each stop: the sheet has blanks for it."))
        self.described(QgsProcessingParameterEnum(self.PAGE, tr("Paper"), list(PAPERS),
                                                  defaultValue=0),
                       tr("A4 (210 by 297 mm) or US Letter (8.5 by 11 in)."))
        self.described(QgsProcessingParameterVectorDestination(self.STOPS, tr("Stops")),
                       tr("Points in the order to take them: easting, northing and the way from "
                          "the one before (metres), stratum."))
        self.described(QgsProcessingParameterFileDestination(
            self.GPX, tr("Stops for a receiver (GPX)"), "GPX (*.gpx)", optional=True,
            createByDefault=False), tr("Waypoints in WGS 84, numbered in the order to take them."))
        self.described(QgsProcessingParameterFileDestination(
            self.SHEET, tr("Field sheet (PDF)"), "PDF (*.pdf)", optional=True,
            createByDefault=False),
            tr("Map, list of the stops, and blanks for the readings."))
        self.addOutput(QgsProcessingOutputNumber("CHOSEN", tr("Stops planned")))
        self.addOutput(QgsProcessingOutputNumber("LENGTH", tr("Way, metres")))
        self.addOutput(QgsProcessingOutputNumber("SPREAD", tr("Spread (CV) used, percent")))
        self.addOutput(QgsProcessingOutputNumber(
            "REACHED", tr("Precision of the mean with these stops, percent")))
        self.addOutput(QgsProcessingOutputString("CRS", tr("CRS of the stops")))

    def checkParameterValues(self, parameters, context):
        """Refuse what leaves the number of stops open or names it twice, and missing layers."""
        given = {name: parameters.get(name) not in (None, "")
                 for name in (self.COUNT, self.PRECISION, self.CV, self.EARLIER)}
        if given[self.COUNT] == given[self.PRECISION]:
            return False, tr("Give either COUNT, the number of stops, or PRECISION, in % of the "
                             "mean.")
        if given[self.PRECISION] and not (given[self.CV] or given[self.EARLIER]):
            return False, tr("A precision needs the spread between stops: enter CV in %, or choose "
                             "an EARLIER record.")
        if given[self.CV] and given[self.EARLIER]:
            return False, tr("CV is typed and an EARLIER record is chosen. Leave one of them "
                             "empty.")
        refused = self._wrong_number(given, parameters, context)
        if refused:
            return False, refused
        along = DESIGNS[self.parameterAsEnum(parameters, self.DESIGN, context)] == ALONG
        if along and not self.parameterAsLayerList(parameters, self.COVARIATES, context):
            return False, tr("A design along strata needs COVARIATES: rasters of earlier yields or "
                             "soil.")
        for name, end in ((self.GPX, ".gpx"), (self.SHEET, ".pdf")):
            path = self.parameterAsFileOutput(parameters, name, context)
            if path and Path(path).suffix.lower() != end:
                return False, tr("{path}: give the file a name that ends in {end}.").format(
                    path=path, end=end)
        for name in (self.BOUNDARY, self.KEEP_OUT):
            source = self.parameterAsSource(parameters, name, context)
            if source is not None and not source.sourceCrs().isValid():
                return False, tr("{layer} has no CRS, so where it lies is not known. Set the "
                                 "layer's CRS first.").format(layer=source.sourceName())
        return super().checkParameterValues(parameters, context)

    def _wrong_number(self, given, parameters, context):
        if given[self.COUNT]:
            count = self.parameterAsInt(parameters, self.COUNT, context)
            if not 1 <= count <= MOST_STOPS:
                return tr("{count} stops are no walk. Ask for 1 to {most}.").format(
                    count=count, most=MOST_STOPS)
        for name, wanted in ((self.PRECISION, given[self.PRECISION]), (self.CV, given[self.CV])):
            if wanted and not self.parameterAsDouble(parameters, name, context) > 0:
                return tr("{name} is {value} %. Enter a figure above 0.").format(
                    name=name, value=parameters[name])
        return ""

    def prepareAlgorithm(self, parameters, context, feedback):
        """Find the files of the covariates, in the thread in which the project's layers live."""
        self._covariates = [layer.source() for layer in
                            self.parameterAsLayerList(parameters, self.COVARIATES, context)]
        return super().prepareAlgorithm(parameters, context, feedback)

    def processAlgorithm(self, parameters, context, feedback):
        """Find the number, plan the walk, write stops, waypoints and sheet."""
        path = self.parameterAsOutputLayer(parameters, self.STOPS, context)
        driver = driver_of(path)
        try:
            boundary, crs = self._boundary(parameters, context)
            keep_out = self._keep_out(parameters, crs, context)
            ground = walkable_ground(
                boundary, keep_out_wkb=keep_out,
                headland_m=self.parameterAsDouble(parameters, self.HEADLAND, context))
            spread = self._spread(parameters, context)
            count = self._count(spread, parameters, context)
            cells_m, cell_m = cells_of_ground(ground, count)
            walk = self._walk(Ground(cells_m, cell_m, partial(inside_mask, ground)), count, crs,
                              parameters, context, feedback)
            gpx, sheet = (self.parameterAsFileOutput(parameters, name, context)
                          for name in (self.GPX, self.SHEET))
            with all_beside([path, gpx, sheet]) as (aside, gpx_aside, sheet_aside):
                write_vector(aside, driver, [_layer(walk, crs, made(self.ID, self._settings(
                    walk, spread, parameters, context)))], tick=ticker(feedback, 0.8, 0.8))
                if gpx:
                    _write_gpx(gpx_aside, walk, crs)
                if sheet:
                    self._write_sheet(sheet_aside, walk, boundary, ground, crs, parameters, context,
                                      feedback)
                ticker(feedback)(1.0)
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        if len(walk) < LEAST_FOR_MAP:
            feedback.pushWarning(tr("{count} stops give a mean; a map is tried from {least} "
                                    "on.").format(count=len(walk), least=LEAST_FOR_MAP))
        reached = self._reached(walk, spread, parameters, context)
        feedback.pushInfo(_said(walk, reached))
        return {self.STOPS: path, self.GPX: gpx, self.SHEET: sheet, "CHOSEN": len(walk),
                "LENGTH": walk.length_m, "SPREAD": spread, "REACHED": reached, "CRS": crs.authid()}

    def _boundary(self, parameters, context):
        """The boundary as WKB and its CRS, in metres."""
        source = self.parameterAsSource(parameters, self.BOUNDARY, context)
        if source is None:
            raise QgsProcessingException(self.invalidSourceError(parameters, self.BOUNDARY))
        wkb, crs = boundary_of(source), source.sourceCrs()
        if in_metres(crs):
            return wkb, crs
        boundary = QgsGeometry()
        boundary.fromWkb(wkb)
        utm = utm_crs_of(boundary, crs, context)
        transform_boundary(boundary, crs, utm, context)
        return bytes(boundary.asWkb()), utm

    def _keep_out(self, parameters, crs, context):
        source = self.parameterAsSource(parameters, self.KEEP_OUT, context)
        if source is None or not source.featureCount():
            return None
        polygons = QgsGeometry()
        polygons.fromWkb(boundary_of(source))
        transform_boundary(polygons, source.sourceCrs(), crs, context)
        return bytes(polygons.asWkb())

    def _spread(self, parameters, context):
        """The spread in percent, typed or from the earlier record; None where there is neither."""
        if parameters.get(self.CV) not in (None, ""):
            return self.parameterAsDouble(parameters, self.CV, context)
        earlier = self.parameterAsFile(parameters, self.EARLIER, context)
        if not earlier:
            return None
        quantity = list(QUANTITIES)[self.parameterAsEnum(parameters, self.QUANTITY, context)]
        return earlier_spread_percent(earlier, quantity)

    def _count(self, spread, parameters, context):
        if parameters.get(self.COUNT) not in (None, ""):
            return self.parameterAsInt(parameters, self.COUNT, context)
        return stops_needed(
            spread, self.parameterAsDouble(parameters, self.PRECISION, context),
            confidence_percent=self.parameterAsDouble(parameters, self.CONFIDENCE, context))

    def _reached(self, walk, spread, parameters, context):
        if spread is None or len(walk) < 2:
            return None
        return precision_of(len(walk), spread, confidence_percent=self.parameterAsDouble(
            parameters, self.CONFIDENCE, context))

    def _start(self, crs, parameters, context):
        if parameters.get(self.START) in (None, ""):
            return None
        point = self.parameterAsPoint(parameters, self.START, context, crs)
        return (point.x(), point.y())

    def _walk(self, ground, count, crs, parameters, context, feedback):
        design = DESIGNS[self.parameterAsEnum(parameters, self.DESIGN, context)]
        covariates = None
        if design == ALONG:
            covariates = covariates_at(self._covariates, ground.cells_m, crs.toWkt())
        return plan_walk(
            ground, count, design, covariates=covariates,
            strata=self.parameterAsInt(parameters, self.STRATA, context),
            allocation=ALLOCATIONS[self.parameterAsEnum(parameters, self.ALLOCATION, context)],
            start_m=self._start(crs, parameters, context),
            back=self.parameterAsBoolean(parameters, self.BACK, context),
            seed=self.parameterAsInt(parameters, self.SEED, context),
            tick=ticker(feedback, 0.0, 0.8))

    def _settings(self, walk, spread, parameters, context):
        return {self.DESIGN: DESIGNS[self.parameterAsEnum(parameters, self.DESIGN, context)],
                self.COUNT: len(walk), self.CV: spread,
                self.HEADLAND: self.parameterAsDouble(parameters, self.HEADLAND, context),
                self.SEED: self.parameterAsInt(parameters, self.SEED, context),
                self.COVARIATES: [Path(path).name for path in self._covariates],
                "shares": walk.shares.tolist()}

    def _write_sheet(self, path, walk, boundary, ground, crs, parameters, context, feedback):
        units = UNIT_SYSTEMS[self.parameterAsString(parameters, self.UNITS, context)]
        stops = SheetStops(
            walk.stops_m, _degrees(walk.stops_m, crs, context),
            convert(walk.legs_m, "m", units.length), back=walk.back_m > 0,
            length=float(convert(walk.length_m, "m", units.length)),
            strata=walk.strata if len(walk.shares) > 1 else None,
            start_m=self._start(crs, parameters, context))
        chosen = sorted(self.parameterAsEnums(parameters, self.READINGS, context))
        on_main_thread(lambda: write_field_sheet(
            path, stops, title=self.parameterAsString(parameters, self.TITLE, context),
            boundary_wkb=boundary, ground_wkb=ground, crs_wkt=crs.toWkt(), units=units,
            readings=[list(BLANKS)[number] for number in chosen],
            paper=list(PAPERS)[self.parameterAsEnum(parameters, self.PAGE, context)],
            tick=ticker(feedback, 0.8, 1.0)))


def _write_gpx(path, walk, crs):
    width = len(str(len(walk)))
    write_waypoints(path, crs.toWkt(), walk.stops_m,
                    [f"{number + 1:0{width}}" for number in range(len(walk))], [""] * len(walk))


def _degrees(places, crs, context):
    turn = QgsCoordinateTransform(crs, QgsCoordinateReferenceSystem(WGS84),
                                  context.transformContext())
    turned = [turn.transform(QgsPointXY(*map(float, place))) for place in places]
    return np.array([(point.x(), point.y()) for point in turned])


def _said(walk, reached):
    words = tr("{count} stops, a way of {length:,.0f} m.").format(count=len(walk),
                                                                  length=walk.length_m)
    if reached is not None:
        words += " " + tr("With that spread they give the mean within {reached:.1f} %.").format(
            reached=reached)
    return words


def _layer(walk, crs, how):
    columns = (Column("stop", WHOLE), Column("easting", REAL), Column("northing", REAL),
               Column("leg", REAL, "metres from the stop before"), Column("stratum", WHOLE))
    rows = [[number, *place, leg, stratum] for number, (place, leg, stratum) in enumerate(
        zip(walk.stops_m, walk.legs_m, walk.strata), 1)]
    return VectorLayer("stops", crs.toWkt(), columns, points_wkb(walk.stops_m), rows, tr("Stops"),
                       how)
