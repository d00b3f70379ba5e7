"""sidedressplan: how much nitrogen to sidedress in which part of a corn field."""

from qgis.core import (
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterEnum,
    QgsProcessingParameterRasterLayer,
)

from ..core.decide.enough_readings import require_readings
from ..core.decide.nitrate_rules import nitrate_rules
from ..core.decide.rate_sensitivity import sidedress_sensitivity
from ..core.decide.rate_zones import APPLY
from ..core.decide.sidedress import sidedress_plan
from ..core.deliver.plan_account import area_of, for_the_whole, plan_account
from ..core.deliver.rate_headlines import sidedress_headline
from ..core.deliver.sensitivity_account import RATE_TITLES, sensitivity_account
from ..core.deliver.summary import mapped
from ..core.interpolate.draws_of_surface import draws_of_surface
from ..core.problems import InputProblem, Stopped
from ..layers.field_surface import surface_of_field
from ..record.plan_settings import (
    setting_titles,
    sidedress_settings,
    workable_shape,
)
from .base import ticker, tr
from .plan_algorithm import DRAWS, PlanAlgorithm


class SidedressPlan(PlanAlgorithm):
    """Nitrogen to sidedress, zone by zone."""
    ID, NAME = "sidedressplan", "Sidedress plan"
    HELP = ("Nitrogen to sidedress on corn by the nitrate in the top 12 in (30 cm), taken when the "
            "corn is 6 to 12 in tall, by a published rule, within the least and the greatest rate "
            "and the step of the record. Each rule was made for one region: your state's "
            "extension table and a licensed adviser come before this plan. Rates are of nitrogen, "
            "not of product.")
    NITRATE, RULE = "NITRATE", "RULE"
    SURFACES = (NITRATE,)

    def initAlgorithm(self, configuration=None):
        """Declare the record, the nitrate, the rule and the plan."""
        self.describe_record(tr(
            "Its field row holds manure, the crop before, rates and price, in the record's "
            "units."))
        self.described(QgsProcessingParameterRasterLayer(self.NITRATE, tr("Nitrate")),
                       tr("Surface of nitrate nitrogen in the top 12 in (30 cm), ppm."))
        self.described(QgsProcessingParameterEnum(
            self.RULE, tr("Rule"), [tr("The record's"), *nitrate_rules().values()],
            defaultValue=0),
            tr("Published rule from nitrate to nitrogen; take the one of your region."))
        self.describe_outputs(tr(
            "Polygons: action, nitrogen (lb/ac or kg/ha), area, money saved against the usual "
            "rate, chance that nitrogen is needed."))
        self.addOutput(QgsProcessingOutputNumber("SPREAD", tr("Area that gets some")))
        self.addOutput(QgsProcessingOutputNumber("AMOUNT", tr("Nitrogen in all")))

    def processAlgorithm(self, parameters, context, feedback):
        """Read record and nitrate, decide, write the plan."""
        nitrate_file = self.found_surface(parameters, self.NITRATE)
        paths = self.output_paths(parameters, context)
        chosen = self.parameterAsEnum(parameters, self.RULE, context)
        try:
            record = self.opened_record(parameters, context, feedback)
            rule, site, spread = sidedress_settings(
                record, list(nitrate_rules())[chosen - 1] if chosen else None)
            nitrate = surface_of_field(nitrate_file, record.boundary_wkb,
                                       tick=ticker(feedback, 0.0, 0.2))
            require_readings(nitrate)
            cells, draws = draws_of_surface(nitrate, draws=DRAWS,
                                            tick=ticker(feedback, 0.2, 0.7))
            plan = sidedress_plan(
                nitrate, draws, cells, rule, site, spread, area_unit=record.units.area,
                shape=workable_shape(record),
                tick=ticker(feedback, 0.7, 0.9))
            headline = for_the_whole(sidedress_headline(plan), mapped(nitrate.account))
            self.write_plan(plan, record, paths, lambda: plan_account(
                plan, title=tr("Sidedress plan"), headline=headline, names=setting_titles(),
                sensitivity=sensitivity_account(
                    sidedress_sensitivity(nitrate, rule, site, spread,
                                          yield_unit=record.units.grain_yield),
                    titles=RATE_TITLES, names=setting_titles())),
                tick=ticker(feedback, 0.9, 1.0))
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        feedback.pushInfo(headline)
        return {self.PLAN: paths[0], self.ACCOUNT: paths[1], "SPREAD": area_of(plan, APPLY),
                "AMOUNT": sum(zone.figures["amount"][0] for zone in plan.zones)}
