"""nextstops: where one more reading is worth most for the decision at hand."""
from dataclasses import replace
from pathlib import Path

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterNumber,
    QgsProcessingParameterRasterLayer,
    QgsProcessingParameterVectorDestination,
)

from ..core.decide.linear_loss import LinearLoss, pan_loss, replant_loss
from ..core.decide.next_stops import ALL_CHOSEN, MOST_STOPS, NOT_WORTH, next_stops
from ..core.decide.tillage_depth import LIKELY
from ..core.problems import InputProblem, Stopped
from ..core.units import convert
from ..layers.beside import all_beside
from ..layers.crs import crs_named, in_metres
from ..layers.field_surface import surface_of_field
from ..layers.gpx import write_waypoints
from ..layers.polygons import boundary_of
from ..layers.rasters import read_surface
from ..layers.vectors import REAL, TEXT, WHOLE, Column, VectorLayer, points_wkb, write_vector
from ..record.plan_settings import replant_settings
from .base import SpadeworkAlgorithm, driver_of, ticker, tr
from .made import made
from .yield_table import chosen_yield_table, declare_yield_table

OWN, REPLANT, PAN = "own", "replant", "pan"
DECISIONS = (OWN, REPLANT, PAN)
AREA_UNITS = ("ha", "ac")


class NextStops(SpadeworkAlgorithm):
    """The next best places to take a reading."""
    ID, NAME, GROUP = "nextstops", "Next stops", "interpolate"
    HELP = ("Where should the next reading be taken? Where it is likely to change what you would "
            "do, and where that pays: not where the map errs most, but where its error can turn "
            "the decision. For each place the money that a reading there is expected to save is "
            "computed in closed form (expected value of sample information for two actions with "
            "linear loss, from the covariance of the surface): Raiffa and Schlaifer (1961), "
            "Applied Statistical Decision Theory. Stops are chosen one after the other, each "
            "taking those before it as read, so their values add up. A stop worth less than it "
            "costs is not named. Where the surface is the mean, every place tells the same; stops "
            "then lie far from all other readings.")
    SURFACE, DECISION, LIMIT, LOSS = "SURFACE", "DECISION", "LIMIT", "LOSS"
    AREA_UNIT, RECORD, COUNT = "AREA_UNIT", "RECORD", "COUNT"
    ERROR, COST, DISTANCE, BOUNDARY = "ERROR", "COST", "DISTANCE", "BOUNDARY"
    STOPS, GPX = "STOPS", "GPX"
    SURFACES = (SURFACE,)

    def initAlgorithm(self, configuration=None):
        """Declare the surface, the decision, the stops wanted and the outputs."""
        self.described(QgsProcessingParameterRasterLayer(self.SURFACE, tr("Surface")),
                       tr("A GeoTIFF that Surface from readings made, from at most 600 readings."))
        self.described(QgsProcessingParameterEnum(
            self.DECISION, tr("Decision"),
            [tr("a limit of my own"), tr("keep or replant, by the record"),
             tr("leave or till a pan, by the record")], defaultValue=0),
            tr("What the surface decides. Replant: limit and loss follow from the record's prices, "
               "dates and yield table. Pan: of a surface of the chance of a pan, they follow from "
               "the record's cost of tillage."))
        self._declare_numbers()
        self.described(QgsProcessingParameterFeatureSource(
            self.BOUNDARY, tr("Boundary"), [QgsProcessing.SourceType.TypeVectorPolygon],
            optional=True),
            tr("The field, in the CRS of the surface. Empty: the record's boundary, or without a "
               "record the cells that the surface covers."))
        self.described(QgsProcessingParameterVectorDestination(self.STOPS, tr("Stops")),
                       tr("Points in the order to take them: easting, northing (metres), value "
                          "(money saved), estimate, chance (0 to 1) that the decision there is now "
                          "the wrong one, note."))
        self.described(QgsProcessingParameterFileDestination(
            self.GPX, tr("Stops for a receiver (GPX)"), "GPX (*.gpx)", optional=True,
            createByDefault=False), tr("Waypoints in WGS 84, numbered in the order to take them."))
        self.addOutput(QgsProcessingOutputNumber("CHOSEN", tr("Stops chosen")))
        self.addOutput(QgsProcessingOutputNumber("VALUE", tr("Money that they save together")))
        self.addOutput(QgsProcessingOutputNumber(
            "LOST_NOW", tr("Money that deciding without them is expected to lose")))
        self.addOutput(QgsProcessingOutputNumber("LIMIT_USED", tr("Limit")))
        self.addOutput(QgsProcessingOutputNumber("LOSS_USED", tr("Loss per unit and area")))
        self.addOutput(QgsProcessingOutputString("VERDICT", tr("Verdict")))

    def _declare_numbers(self):
        number = QgsProcessingParameterNumber.Type
        self.described(QgsProcessingParameterNumber(
            self.LIMIT, tr("Limit"), number.Double, optional=True),
            tr("In the unit of the surface: what parts the two actions. Of a pan: the chance (0 to "
               "1) from which ground is tilled; empty: 0.5, or as the loss asks. Not for "
               "replanting."))
        self.described(QgsProcessingParameterNumber(
            self.LOSS, tr("Loss"), number.Double, optional=True, minValue=0.0),
            tr("Money lost per hectare or acre for each unit (of the surface) beyond the limit "
               "where the wrong action is taken. Of a pan: money lost per hectare or acre where a "
               "pan is left; empty: as the limit asks. Not for replanting."))
        self.described(QgsProcessingParameterEnum(
            self.AREA_UNIT, tr("Loss is per"), [tr("hectare"), tr("acre")], defaultValue=0),
            tr("Area that the loss is for: hectare or acre."))
        self.described(QgsProcessingParameterFile(
            self.RECORD, tr("Field record"), extension="gpkg", optional=True),
            tr("Its field row holds dates, prices and costs; needed for replanting and for a pan."))
        declare_yield_table(self)
        self.described(QgsProcessingParameterNumber(
            self.COUNT, tr("Stops wanted"), number.Integer, 5, minValue=1, maxValue=MOST_STOPS),
            tr("Most stops to name, each one of the next readings."))
        self.described(QgsProcessingParameterNumber(
            self.ERROR, tr("Error of a reading"), number.Double, optional=True, minValue=0.0),
            tr("Standard error of one more reading, in the unit of the surface. Empty: the median "
               "of those the surface was made from."))
        self.described(QgsProcessingParameterNumber(
            self.COST, tr("Cost of a stop"), number.Double, 0.0, minValue=0.0),
            tr("Money per stop, in the unit of the loss; a stop that saves less is not named."))
        self.described(QgsProcessingParameterNumber(
            self.DISTANCE, tr("Least distance"), number.Double, 10.0, minValue=0.0),
            tr("Metres from a stop to any other and to any reading."))

    def checkParameterValues(self, parameters, context):
        """Refuse what a decision lacks, a boundary in another CRS, and a file that is no GPX."""
        decision = DECISIONS[self.parameterAsEnum(parameters, self.DECISION, context)]
        given = {name: parameters.get(name) is not None for name in (self.LIMIT, self.LOSS)}
        if decision == OWN and not all(given.values()):
            return False, tr("A limit of your own needs LIMIT, in the unit of the surface, and "
                             "LOSS, the money lost per unit beyond it and per hectare or acre.")
        if decision == REPLANT and any(given.values()):
            return False, tr("For replanting, limit and loss follow from the record. Leave LIMIT "
                             "and LOSS empty, or choose a limit of your own.")
        if decision == PAN and all(given.values()):
            return False, tr("Of a pan, the limit and the loss follow from each other and the cost "
                             "of tillage. Leave LIMIT or LOSS empty.")
        if decision != OWN and not self.parameterAsFile(parameters, self.RECORD, context):
            return False, tr("This decision rests on the prices and costs in RECORD. Choose the "
                             "field record, or a limit of your own.")
        path = self.parameterAsFileOutput(parameters, self.GPX, context)
        if path and Path(path).suffix.lower() != ".gpx":
            return False, tr("{path}: give the file a name that ends in .gpx.").format(path=path)
        return self._check_places(parameters, context)

    def _check_places(self, parameters, context):
        boundary = self.parameterAsSource(parameters, self.BOUNDARY, context)
        crs = self.crs_of_surface(parameters, self.SURFACE, context)
        if crs is not None and not in_metres(crs):
            return False, tr("The surface is in {crs}, which does not count in metres. Make it in "
                             "the field's UTM zone.").format(crs=crs_named(crs))
        refused = self.another_crs(boundary, crs)
        if refused:
            return False, refused
        return super().checkParameterValues(parameters, context)

    def processAlgorithm(self, parameters, context, feedback):
        """Read surface and decision, choose the stops, write them."""
        surface_file = self.found_surface(parameters, self.SURFACE)
        path = self.parameterAsOutputLayer(parameters, self.STOPS, context)
        driver = driver_of(path)
        gpx_path = self.parameterAsFileOutput(parameters, self.GPX, context)
        source = self.parameterAsSource(parameters, self.BOUNDARY, context)
        record_path = self.parameterAsFile(parameters, self.RECORD, context)
        try:
            record = (self.opened_record(parameters, context, feedback)
                      if record_path else None)
            boundary = boundary_of(source) if source is not None else (
                None if record is None else record.boundary_wkb)
            read = ticker(feedback, 0.0, 0.3)
            surface = (read_surface(surface_file, tick=read) if boundary is None
                       else surface_of_field(surface_file, boundary, tick=read))
            decision = self._decision(surface, record, parameters, context)
            found = next_stops(
                surface, decision, tick=ticker(feedback, 0.3, 1.0),
                count=self.parameterAsInt(parameters, self.COUNT, context),
                reading_error=self._number(parameters, self.ERROR, context),
                cost=self.parameterAsDouble(parameters, self.COST, context),
                spacing_m=self.parameterAsDouble(parameters, self.DISTANCE, context))
            notes = [_note(found, number, surface, decision) for number in range(len(found))]
            said = made(self.ID, {
                self.DECISION: DECISIONS[self.parameterAsEnum(parameters, self.DECISION, context)],
                self.LIMIT: decision.limit, self.LOSS: decision.loss,
                self.AREA_UNIT: decision.area_unit, self.ERROR: found.reading_error,
                self.DISTANCE: found.spacing_m, self.SURFACE: surface.account["made"]},
                None if record is None else record.sha256)
            with all_beside([path, gpx_path]) as (aside, gpx_aside):
                write_vector(aside, driver, [replace(_layer(found, notes, surface, decision),
                                                     made=said)])
                if gpx_path:
                    width = len(str(len(found)))
                    write_waypoints(gpx_aside, surface.grid.crs_wkt, found.positions_m,
                                    [f"{number + 1:0{width}}" for number in range(len(found))],
                                    notes)
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        verdict = _verdict(found, decision)
        feedback.pushInfo(verdict)
        return {self.STOPS: path, self.GPX: gpx_path, "CHOSEN": len(found),
                "VALUE": float(found.value.sum()), "LOST_NOW": found.lost_now,
                "LIMIT_USED": decision.limit, "LOSS_USED": decision.loss, "VERDICT": verdict}

    def _number(self, parameters, name, context):
        given = parameters.get(name) is not None
        return self.parameterAsDouble(parameters, name, context) if given else None

    def _decision(self, surface, record, parameters, context):
        decision = DECISIONS[self.parameterAsEnum(parameters, self.DECISION, context)]
        limit, loss = (self._number(parameters, name, context) for name in (self.LIMIT, self.LOSS))
        area_unit = AREA_UNITS[self.parameterAsEnum(parameters, self.AREA_UNIT, context)]
        currency = "" if record is None else record.currency
        if decision == OWN:
            return LinearLoss(limit, loss, area_unit, currency=currency,
                              below=tr("below the limit"), above=tr("above the limit"))
        if decision == REPLANT:
            _require_stand(surface, record.units.population)
            return replant_loss(chosen_yield_table(self, parameters, context, record),
                                replant_settings(record))
        _require_chance(surface)
        own_area = record.units.area
        return pan_loss(
            record.field_value("tillage_cost"), area_unit=own_area, currency=currency,
            chance_limit=LIKELY if limit is None and loss is None else limit,
            left_pan=None if loss is None else float(convert(
                loss, f"money/{area_unit}", f"money/{own_area}")))


def _require_stand(surface, unit):
    if surface.unit != unit:
        raise InputProblem(tr("{name} is in {unit}; keeping or replanting rests on the stand in "
                              "{needed}. Choose that surface, or a limit of your own.").format(
            name=surface.name, unit=surface.unit or tr("no unit"), needed=unit))


def _require_chance(surface):
    if surface.unit:
        raise InputProblem(tr("{name} is in {unit}; leaving or tilling rests on the chance of a "
                              "pan, 0 to 1, which has no unit. Choose the surface of the chance, "
                              "or, for a depth, a limit of your own.").format(
            name=surface.name, unit=surface.unit))


def _note(found, number, surface, decision):
    estimate = found.estimate[number]
    said = tr("Now: {action} ({estimate} against {limit}); wrong with chance {chance:.0%}.").format(
        action=decision.above if estimate > decision.limit else decision.below,
        estimate=_figure(estimate), chance=found.chance_wrong[number],
        limit=f"{_figure(decision.limit)} {surface.unit}".strip())
    if found.alike:
        said += " " + tr("The surface is the mean: any place tells the same of it; this one lies "
                         "far from the others.")
    return said


def _figure(number):
    """A number with four digits that count."""
    return f"{float(f'{number:.4g}'):,.10g}"


def _verdict(found, decision):
    currency = f" {decision.currency}" if decision.currency else ""
    lost = f"{found.lost_now:,.2f}{currency}"
    if len(found):
        said = [tr("Stops chosen: {count}. Together they are expected to save {value:,.2f} of the "
                   "{lost} that deciding without them is expected to lose.").format(
            count=len(found), value=found.value.sum(), lost=lost)]
    else:
        said = [tr("No stop is chosen; deciding by the surface as it is, is expected to lose "
                   "{lost}.").format(lost=lost)]
    if found.ended == NOT_WORTH:
        said.append(tr("The best place left would save {value:,.2f}{currency}, less than a stop "
                       "must be worth to be named.").format(
            value=found.best_left, currency=currency))
    elif found.ended != ALL_CHOSEN:
        said.append(tr("No place is left that is {distance:g} m from every reading and "
                       "stop.").format(distance=found.spacing_m))
    if found.alike:
        said.append(tr("The surface is the mean, so the field is one decision and every place is "
                       "worth the same; the stops lie far from all readings."))
    return " ".join(said)


def _layer(found, notes, surface, decision):
    columns = (Column("stop", WHOLE), Column("easting", REAL), Column("northing", REAL),
               Column("value", REAL), Column("currency", TEXT, width=20), Column("estimate", REAL),
               Column("unit", TEXT, width=40), Column("chance", REAL),
               Column("note", TEXT, width=254))
    rows = [[number, easting, northing, value, decision.currency, estimate, surface.unit, chance,
             note] for number, ((easting, northing), value, estimate, chance, note) in enumerate(
        zip(found.positions_m, found.value, found.estimate, found.chance_wrong, notes), 1)]
    return VectorLayer("next_stops", surface.grid.crs_wkt, columns, points_wkb(found.positions_m),
                       rows, tr("Next stops"))
