"""replantplan: which parts of the stand to keep, which to replant, and what that pays."""
from dataclasses import replace

from qgis.core import (
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterRasterLayer,
    QgsProcessingParameterVectorDestination,
)

from ..core.decide.enough_readings import require_readings
from ..core.decide.replant import break_even_stand, replant_plan
from ..core.deliver.plan_account import (
    area_of,
    for_the_whole,
    plan_account,
    replant_headline,
)
from ..core.deliver.summary import mapped
from ..core.interpolate.draws_of_surface import draws_of_surface
from ..core.problems import InputProblem, Stopped
from ..core.zone.workable import radius_of_width
from ..layers.beside import all_beside
from ..layers.field_surface import surface_of_field
from ..layers.json_files import write_json
from ..layers.vectors import write_vector
from ..layers.zone_layers import plan_layer
from ..record.plan_settings import (
    machine_width_m,
    replant_doubts,
    replant_not_entered,
    replant_settings,
    setting_titles,
    smallest_zone_m2,
)
from ..record.read import open_record
from .base import SpadeworkAlgorithm, driver_of, ticker, tr
from .made import made
from .yield_table import chosen_yield_table, declare_yield_table

DRAWS = 400


class ReplantPlan(SpadeworkAlgorithm):
    """Keep or replant, zone by zone."""
    ID, NAME, GROUP = "replantplan", "Replant plan", "decide"
    HELP = ("For each cell, the money that replanting is expected to bring over keeping the stand, "
            "from a published table of yield by stand and planting date, with the record's dates, "
            "prices and costs, over the uncertainty of the stand. Cells become zones that a "
            "planter can work. Talk to your extension office, seed supplier and insurance agent "
            "before replanting.")
    RECORD, STAND, PLAN, ACCOUNT = "RECORD", "STAND", "PLAN", "ACCOUNT"
    SURFACES = (STAND,)

    def initAlgorithm(self, configuration=None):
        """Declare the record, the stand, the yield table and the plan."""
        self.described(QgsProcessingParameterFile(self.RECORD, tr("Field record"),
                                                  extension="gpkg"),
                       tr("Its field row holds dates, prices and costs, in the record's units."))
        self.described(QgsProcessingParameterRasterLayer(self.STAND, tr("Stand")),
                       tr("Surface of the stand, plants per acre or hectare."))
        declare_yield_table(self)
        self.described(QgsProcessingParameterVectorDestination(self.PLAN, tr("Plan")),
                       tr("Polygons: action, seeds per acre or hectare, area, gain with its 90 % "
                          "interval, chance that replanting gains."))
        self.described(QgsProcessingParameterFileDestination(
            self.ACCOUNT, tr("Account (JSON)"), "JSON (*.json)", optional=True,
            createByDefault=False), tr("Figures, settings, sources and cautions of the plan."))
        self.addOutput(QgsProcessingOutputNumber("REPLANTED", tr("Area to replant")))
        self.addOutput(QgsProcessingOutputNumber("GAIN", tr("Expected gain")))

    def processAlgorithm(self, parameters, context, feedback):
        """Read record and stand, decide, write the plan."""
        stand_file = self.found_surface(parameters, self.STAND)
        path = self.parameterAsOutputLayer(parameters, self.PLAN, context)
        account_path = self.parameterAsFileOutput(parameters, self.ACCOUNT, context)
        try:
            record = open_record(self.file_parameter(parameters, self.RECORD, context),
                                 only=())
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
                smallest_area_m2=smallest_zone_m2(record),
                smooth_radius_cells=radius_of_width(machine_width_m(record), stand.grid.cell_m),
                tick=ticker(feedback, 0.7, 0.9))
            said = made(self.ID, plan.settings, record.sha256)
            headline = for_the_whole(replant_headline(plan), mapped(stand.account))
            layer = plan_layer(plan, record.boundary_wkb, tick=ticker(feedback, 0.9, 1.0))
            with all_beside([path, account_path]) as (aside, account_aside):
                write_vector(aside, driver_of(path), [replace(layer, made=said)])
                if account_path:
                    at = break_even_stand(table, settings)
                    write_json(account_aside, {**plan_account(
                        plan, title=tr("Replant plan"), headline=headline,
                        break_even=None if at is None else (at, record.units.population),
                        names=setting_titles(), not_entered=replant_not_entered(record)),
                        "made": said})
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        feedback.pushInfo(headline)
        return {self.PLAN: path, self.ACCOUNT: account_path,
                "REPLANTED": area_of(plan, "replant"), "GAIN": plan.gain}
