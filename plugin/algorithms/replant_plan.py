"""replantplan: which parts of the stand to keep, which to replant, and what that pays."""

from qgis.core import (
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterNumber,
    QgsProcessingParameterRasterDestination,
    QgsProcessingParameterRasterLayer,
)

from ..core.decide.break_even_curve import break_even_by_date, break_even_by_price
from ..core.decide.enough_readings import require_readings
from ..core.decide.look_again import KEEP, REPLANT, DoubtLimits
from ..core.decide.replant import break_even_stand, replant_plan
from ..core.decide.replant_cells import gains_of_cells
from ..core.decide.replant_sensitivity import replant_sensitivity
from ..core.deliver.plan_account import (
    area_of,
    for_the_whole,
    plan_account,
    replant_headline,
)
from ..core.deliver.sensitivity_account import (
    REPLANT_TITLES,
    break_even_account,
    sensitivity_account,
)
from ..core.deliver.summary import mapped
from ..core.interpolate.draws_of_surface import draws_of_surface
from ..core.problems import InputProblem, Stopped
from ..layers.field_surface import surface_of_field
from ..layers.json_files import json_text
from ..layers.rasters import write_bands
from ..record.plan_settings import (
    replant_doubts,
    replant_not_entered,
    replant_settings,
    setting_titles,
    workable_shape,
)
from .base import geotiff, ticker, tr
from .plan_algorithm import DRAWS, PlanAlgorithm
from .yield_table import chosen_yield_table, declare_yield_table


class ReplantPlan(PlanAlgorithm):
    """Keep or replant, zone by zone."""
    ID, NAME = "replantplan", "Replant plan"
    HELP = ("For each cell, the money that replanting is expected to bring over keeping the stand, "
            "from a published table of yield by stand and planting date, with the record's dates, "
            "prices and costs, over the uncertainty of the stand. Cells become zones that a "
            "planter can work; where it is in doubt whether replanting gains, they are to be "
            "looked at again. Talk to your extension office, seed supplier and insurance agent "
            "before replanting.")
    RECORD, STAND, PLAN, ACCOUNT = "RECORD", "STAND", "PLAN", "ACCOUNT"
    CHANCE_KEEP, CHANCE_REPLANT, CELL_GAIN = "CHANCE_KEEP", "CHANCE_REPLANT", "CELL_GAIN"
    SURFACES = (STAND,)

    def initAlgorithm(self, configuration=None):
        """Declare the record, the stand, the yield table and the plan."""
        self.describe_record(tr(
            "Its field row holds dates, prices and costs, in the record's units."))
        self.described(QgsProcessingParameterRasterLayer(self.STAND, tr("Stand")),
                       tr("Surface of the stand, plants per acre or hectare."))
        declare_yield_table(self)
        for name, title, value, words in (
                (self.CHANCE_KEEP, tr("Chance up to which to keep"), KEEP,
                 tr("Chance that replanting gains, 0 to 1: zones above it and below the next one "
                    "are to be looked at again. Equal chances decide every zone.")),
                (self.CHANCE_REPLANT, tr("Chance from which to replant"), REPLANT,
                 tr("Chance that replanting gains, 0 to 1: from it on a zone is decided again."))):
            self.described(QgsProcessingParameterNumber(
                name, title, QgsProcessingParameterNumber.Type.Double, value, minValue=0.0,
                maxValue=1.0), words)
        self.describe_outputs(tr(
            "Polygons: action, seeds per acre or hectare, area, gain with its 90 % interval, "
            "chance that replanting gains."))
        self.described(QgsProcessingParameterRasterDestination(
            self.CELL_GAIN, tr("Gain of each cell"), optional=True, createByDefault=False),
            tr("GeoTIFF: band 1 the expected gain, money per acre or hectare; band 2 the chance, 0 "
               "to 1, that it is above 0."))
        self.addOutput(QgsProcessingOutputNumber("REPLANTED", tr("Area to replant")))
        self.addOutput(QgsProcessingOutputNumber("DOUBTFUL", tr("Area to look at again")))
        self.addOutput(QgsProcessingOutputNumber("GAIN", tr("Expected gain")))

    def checkParameterValues(self, parameters, context):
        """Refuse chances of which the lower is above the upper."""
        try:
            self._doubt(parameters, context)
        except InputProblem as problem:
            return False, str(problem)
        return super().checkParameterValues(parameters, context)

    def _doubt(self, parameters, context):
        return DoubtLimits(*(self.parameterAsDouble(parameters, name, context)
                             for name in (self.CHANCE_KEEP, self.CHANCE_REPLANT)))

    def processAlgorithm(self, parameters, context, feedback):
        """Read record and stand, decide, write the plan."""
        stand_file = self.found_surface(parameters, self.STAND)
        cells_path = self.parameterAsOutputLayer(parameters, self.CELL_GAIN, context)
        cells_path = geotiff(cells_path) if cells_path else None
        paths = (*self.output_paths(parameters, context), cells_path)
        try:
            record = self.opened_record(parameters, context, feedback)
            table = chosen_yield_table(self, parameters, context, record)
            settings = replant_settings(record)
            for doubt in replant_doubts(record):
                feedback.pushWarning(doubt)
            stand = surface_of_field(stand_file, record.boundary_wkb,
                                     tick=ticker(feedback, 0.0, 0.2))
            require_readings(stand)
            cells, draws = draws_of_surface(stand, draws=DRAWS,
                                            tick=ticker(feedback, 0.2, 0.7))
            plan = replant_plan(
                stand, draws, cells, table, settings, area_unit=record.units.area,
                shape=workable_shape(record),
                doubt=self._doubt(parameters, context), tick=ticker(feedback, 0.7, 0.85))
            self.write_plan(
                plan, record, paths,
                lambda: self._account(plan, stand, table, settings, record,
                                      ticker(feedback, 0.85, 0.9)),
                further=lambda aside, said: _write_cells(
                    aside, stand, gains_of_cells(stand, table, settings), settings, said),
                tick=ticker(feedback, 0.9, 1.0))
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        feedback.pushInfo(_headline(plan, stand))
        return {self.PLAN: paths[0], self.ACCOUNT: paths[1], self.CELL_GAIN: cells_path,
                "REPLANTED": area_of(plan, "replant"), "DOUBTFUL": area_of(plan, "look again"),
                "GAIN": plan.gain}

    def _account(self, plan, stand, table, settings, record, tick):
        at, names = break_even_stand(table, settings), {
            **setting_titles(), **{name.lower(): self.parameterDefinition(name).description()
                                   for name in (self.CHANCE_KEEP, self.CHANCE_REPLANT)}}
        population = record.units.population
        return plan_account(
            plan, title=tr("Replant plan"), headline=_headline(plan, stand),
            break_even=None if at is None else (at, population),
            names=names, not_entered=replant_not_entered(record),
            sensitivity=sensitivity_account(
                replant_sensitivity(plan, stand, table, settings, tick=tick),
                titles=REPLANT_TITLES, names=names),
            break_even_curve=break_even_account(
                break_even_by_date(table, settings, record.field["visit_date"]),
                break_even_by_price(table, settings),
                now=(settings.replant_date, settings.crop_price), stand_unit=population,
                price_unit=f"{record.currency}/{record.units.grain}"))


def _headline(plan, stand):
    return for_the_whole(replant_headline(plan), mapped(stand.account))


def _write_cells(path, stand, cells, settings, how):
    per_area = f"{settings.currency}/{settings.area_unit}"
    write_bands(path, stand.grid, ((f"expected gain, {per_area}", cells.gain),
                                   ("chance that it is above 0", cells.chance)),
                metadata={"NAME": "Gain by replanting", "MADE": json_text(how)})
