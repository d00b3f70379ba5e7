"""limeplan: how much lime to spread in which part of a field."""

from qgis.core import (
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterEnum,
    QgsProcessingParameterRasterLayer,
)

from ..core.decide.enough_readings import require_readings
from ..core.decide.lime import lime_plan
from ..core.decide.lime_methods import CLAMP, REFUSE, lime_methods
from ..core.decide.rate_sensitivity import lime_sensitivity
from ..core.decide.rate_zones import APPLY
from ..core.deliver.plan_account import area_of, for_the_whole, plan_account
from ..core.deliver.rate_headlines import lime_headline
from ..core.deliver.sensitivity_account import RATE_TITLES, sensitivity_account
from ..core.deliver.summary import mapped
from ..core.interpolate.draws_of_surface import draws_of_surface
from ..core.problems import InputProblem, Stopped
from ..layers.field_surface import surface_of_field
from ..record.plan_settings import (
    lime_settings,
    setting_titles,
    workable_shape,
)
from .base import ticker, tr
from .lime_quality import chosen_lime_quality, declare_lime_quality
from .plan_algorithm import DRAWS, PlanAlgorithm


class LimePlan(PlanAlgorithm):
    """Lime to spread, zone by zone."""
    ID, NAME = "limeplan", "Lime plan"
    HELP = ("Lime by pH and buffer pH of short cores, by a published method made for the buffer "
            "that the laboratory used, for the depth and the target of the record and the quality "
            "of the lime that is bought. The laboratory's own recommendation and your state's "
            "extension tables come before this plan.")
    PH, BUFFER_PH, METHOD, OUTSIDE = "PH", "BUFFER_PH", "METHOD", "OUTSIDE"
    SURFACES = (PH, BUFFER_PH)

    def initAlgorithm(self, configuration=None):
        """Declare the record, pH and buffer pH, the method, the lime's quality and the plan."""
        self.describe_record(tr(
            "Its field row holds the laboratory's buffer, target pH, depth, rates and price, in"
            " the record's units."))
        self.described(QgsProcessingParameterRasterLayer(self.PH, tr("pH")),
                       tr("Surface of the soil's pH in water: it says where lime is needed."))
        self.described(QgsProcessingParameterRasterLayer(self.BUFFER_PH, tr("Buffer pH")),
                       tr("Surface of the laboratory's buffer pH, on the same grid: it sets the "
                          "rate."))
        self.described(QgsProcessingParameterEnum(
            self.METHOD, tr("Method"), [tr("The record's"), *lime_methods().values()],
            defaultValue=0),
            tr("Published method from buffer pH to lime; take the one of your region and buffer."))
        self.described(QgsProcessingParameterEnum(
            self.OUTSIDE, tr("Buffer pH outside the table"),
            [tr("is refused"), tr("counts as the nearest of the table")], defaultValue=0),
            tr("What to do with a buffer pH that the method's table does not reach."))
        declare_lime_quality(self)
        self.describe_outputs(tr(
            "Polygons: action, lime as bought (ton/ac or t/ha), area, cost, chance that lime is"
            " needed."))
        self.addOutput(QgsProcessingOutputNumber("SPREAD", tr("Area that gets some")))
        self.addOutput(QgsProcessingOutputNumber("AMOUNT", tr("Lime in all")))

    def processAlgorithm(self, parameters, context, feedback):
        """Read record and surfaces, decide, write the plan."""
        files = [self.found_surface(parameters, name) for name in self.SURFACES]
        paths = self.output_paths(parameters, context)
        chosen = self.parameterAsEnum(parameters, self.METHOD, context)
        outside = (REFUSE, CLAMP)[self.parameterAsEnum(parameters, self.OUTSIDE, context)]
        try:
            record = self.opened_record(parameters, context, feedback)
            settings = lime_settings(
                record, list(lime_methods())[chosen - 1] if chosen else None,
                effective_percent=chosen_lime_quality(self, parameters, context))
            ph, buffer_ph = (
                surface_of_field(file, record.boundary_wkb,
                                 tick=ticker(feedback, 0.1 * number, 0.1 + 0.1 * number))
                for number, file in enumerate(files))
            for surface in (ph, buffer_ph):
                require_readings(surface)
            cells, draws = draws_of_surface(buffer_ph, draws=DRAWS,
                                            tick=ticker(feedback, 0.2, 0.7))
            plan = lime_plan(
                ph, buffer_ph, draws, cells, settings.method, settings.spread,
                target_ph=settings.target_ph, depth_m=settings.depth_m,
                depth_unit=record.units.depth, effective_percent=settings.effective_percent,
                outside=outside, area_unit=record.units.area,
                shape=workable_shape(record),
                tick=ticker(feedback, 0.7, 0.9))
            headline = for_the_whole(lime_headline(plan),
                                     mapped(ph.account) or mapped(buffer_ph.account))
            self.write_plan(plan, record, paths, lambda: plan_account(
                plan, title=tr("Lime plan"), headline=headline, names=setting_titles(),
                sensitivity=sensitivity_account(
                    lime_sensitivity(
                        ph, buffer_ph, settings.method, settings.spread,
                        target_ph=settings.target_ph, depth_m=settings.depth_m,
                        depth_unit=record.units.depth,
                        effective_percent=settings.effective_percent),
                    titles=RATE_TITLES, names=setting_titles())),
                tick=ticker(feedback, 0.9, 1.0))
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        feedback.pushInfo(headline)
        return {self.PLAN: paths[0], self.ACCOUNT: paths[1], "SPREAD": area_of(plan, APPLY),
                "AMOUNT": sum(zone.figures["amount"][0] for zone in plan.zones)}
