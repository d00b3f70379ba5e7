"""sidedressplan: how much nitrogen to sidedress in which part of a corn field."""
from dataclasses import replace

from qgis.core import (
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterRasterLayer,
    QgsProcessingParameterVectorDestination,
)

from ..core.decide.enough_readings import require_readings
from ..core.decide.nitrate_rules import nitrate_rules
from ..core.decide.rate_zones import APPLY
from ..core.decide.sidedress import sidedress_plan
from ..core.deliver.plan_account import area_of, for_the_whole, plan_account
from ..core.deliver.rate_headlines import sidedress_headline
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
    setting_titles,
    sidedress_settings,
    smallest_zone_m2,
)
from ..record.read import open_record
from .base import SpadeworkAlgorithm, driver_of, ticker, tr
from .made import made

DRAWS = 400


class SidedressPlan(SpadeworkAlgorithm):
    """Nitrogen to sidedress, zone by zone."""
    ID, NAME, GROUP = "sidedressplan", "Sidedress plan", "decide"
    HELP = ("Nitrogen to sidedress on corn by the nitrate in the top 12 in (30 cm), taken when the "
            "corn is 6 to 12 in tall, by a published rule, within the least and the greatest rate "
            "and the step of the record. Each rule was made for one region: your state's "
            "extension table and a licensed adviser come before this plan. Rates are of nitrogen, "
            "not of product.")
    RECORD, NITRATE, RULE, PLAN, ACCOUNT = "RECORD", "NITRATE", "RULE", "PLAN", "ACCOUNT"
    SURFACES = (NITRATE,)

    def initAlgorithm(self, configuration=None):
        """Declare the record, the nitrate, the rule and the plan."""
        self.described(QgsProcessingParameterFile(self.RECORD, tr("Field record"),
                                                  extension="gpkg"),
                       tr("Its field row holds manure, the crop before, rates and price, in the "
                          "record's units."))
        self.described(QgsProcessingParameterRasterLayer(self.NITRATE, tr("Nitrate")),
                       tr("Surface of nitrate nitrogen in the top 12 in (30 cm), ppm."))
        self.described(QgsProcessingParameterEnum(
            self.RULE, tr("Rule"), [tr("The record's"), *nitrate_rules().values()],
            defaultValue=0),
            tr("Published rule from nitrate to nitrogen; take the one of your region."))
        self.described(QgsProcessingParameterVectorDestination(self.PLAN, tr("Plan")),
                       tr("Polygons: action, nitrogen (lb/ac or kg/ha), area, money saved against "
                          "the usual rate, chance that nitrogen is needed."))
        self.described(QgsProcessingParameterFileDestination(
            self.ACCOUNT, tr("Account (JSON)"), "JSON (*.json)", optional=True,
            createByDefault=False), tr("Figures, settings, sources and cautions of the plan."))
        self.addOutput(QgsProcessingOutputNumber("SPREAD", tr("Area that gets some")))
        self.addOutput(QgsProcessingOutputNumber("AMOUNT", tr("Nitrogen in all")))

    def processAlgorithm(self, parameters, context, feedback):
        """Read record and nitrate, decide, write the plan."""
        nitrate_file = self.found_surface(parameters, self.NITRATE)
        path = self.parameterAsOutputLayer(parameters, self.PLAN, context)
        account_path = self.parameterAsFileOutput(parameters, self.ACCOUNT, context)
        chosen = self.parameterAsEnum(parameters, self.RULE, context)
        try:
            record = open_record(self.file_parameter(parameters, self.RECORD, context),
                                 only=())
            rule, site, spread = sidedress_settings(
                record, list(nitrate_rules())[chosen - 1] if chosen else None)
            nitrate = surface_of_field(nitrate_file, record.boundary_wkb,
                                       tick=ticker(feedback, 0.0, 0.2))
            require_readings(nitrate)
            cells, draws = draws_of_surface(nitrate, draws=DRAWS,
                                            tick=ticker(feedback, 0.2, 0.7))
            plan = sidedress_plan(
                nitrate, draws, cells, rule, site, spread, area_unit=record.units.area,
                smallest_area_m2=smallest_zone_m2(record),
                smooth_radius_cells=radius_of_width(machine_width_m(record), nitrate.grid.cell_m),
                tick=ticker(feedback, 0.7, 0.9))
            said = made(self.ID, plan.settings, record.sha256)
            headline = for_the_whole(sidedress_headline(plan), mapped(nitrate.account))
            layer = plan_layer(plan, record.boundary_wkb, tick=ticker(feedback, 0.9, 1.0))
            with all_beside([path, account_path]) as (aside, account_aside):
                write_vector(aside, driver_of(path), [replace(layer, made=said)])
                if account_path:
                    write_json(account_aside, {**plan_account(
                        plan, title=tr("Sidedress plan"), headline=headline,
                        names=setting_titles()), "made": said})
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        feedback.pushInfo(headline)
        return {self.PLAN: path, self.ACCOUNT: account_path, "SPREAD": area_of(plan, APPLY),
                "AMOUNT": sum(zone.figures["amount"][0] for zone in plan.zones)}
