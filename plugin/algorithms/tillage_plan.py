"""tillageplan: how deep to loosen which part of the field, and where to leave it alone."""

from qgis.core import (
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterNumber,
    QgsProcessingParameterRasterLayer,
)

from ..core.decide.enough_readings import require_readings
from ..core.decide.tillage_depth import LIKELY, require_some_pan, tillage_plan
from ..core.decide.tillage_sensitivity import tillage_sensitivity
from ..core.deliver.plan_account import (
    area_of,
    for_the_whole,
    not_told,
    plan_account,
    tillage_headline,
)
from ..core.deliver.sensitivity_account import TILLAGE_TITLES, sensitivity_account
from ..core.deliver.summary import mapped
from ..core.problems import InputProblem, Stopped
from ..layers.field_surface import surface_of_field
from ..record.plan_settings import (
    setting_titles,
    tillage_rig,
    tillage_settings,
    workable_shape,
)
from ..record.tillage_evidence import tillage_evidence
from .base import ticker, tr
from .plan_algorithm import PlanAlgorithm


class TillagePlan(PlanAlgorithm):
    """Depth to loosen, zone by zone."""
    ID, NAME = "tillageplan", "Tillage plan"
    HELP = ("Depth is the bottom of the pan plus a margin, rounded up to what the tool can be set "
            "to, within its reach; ground where a pan within reach is not likely enough is left "
            "alone. Where the record names tool, tractor and soil, draft, power, fuel and hours "
            "are told against one uniform depth (ASABE D497). Have buried utilities and tile lines "
            "located before any deep tillage, and check moisture and erosion rules.")
    RECORD, BOTTOM, CHANCE = "RECORD", "BOTTOM", "CHANCE"
    CHANCE_LIMIT, PLAN, ACCOUNT = "CHANCE_LIMIT", "PLAN", "ACCOUNT"
    SURFACES = (BOTTOM, CHANCE)

    def initAlgorithm(self, configuration=None):
        """Declare the record, bottom and chance of the pan, the limit and the plan."""
        self.describe_record(tr(
            "Its field row holds the tool's reach, step, margin and cost, and the tractor; its "
            "insertions are rated."))
        self.described(QgsProcessingParameterRasterLayer(self.BOTTOM, tr("Bottom of the pan")),
                       tr("Surface of the pan's bottom, in or cm."))
        self.described(QgsProcessingParameterRasterLayer(self.CHANCE, tr("Chance of a pan")),
                       tr("Chance map of a pan within the tool's reach, 0 to 1."))
        self.described(QgsProcessingParameterNumber(
            self.CHANCE_LIMIT, tr("Least chance"), QgsProcessingParameterNumber.Type.Double, LIKELY,
            minValue=0.0, maxValue=1.0),
            tr("Ground is left alone where a pan within reach is less likely than this, 0 to 1."))
        self.describe_outputs(tr(
            "Polygons: action, depth (in or cm), area, money saved, chance of a pan."))
        self.addOutput(QgsProcessingOutputNumber("TILLED", tr("Area to loosen")))
        self.addOutput(QgsProcessingOutputNumber("LEFT", tr("Area left alone")))

    def processAlgorithm(self, parameters, context, feedback):
        """Read record and surfaces, decide, write the plan."""
        files = [self.found_surface(parameters, name) for name in self.SURFACES]
        paths = self.output_paths(parameters, context)
        try:
            record = self.opened_record(parameters, context, feedback,
                                        only=("compaction_readings", "compaction_profile"))
            settings = tillage_settings(record, chance_limit=self.parameterAsDouble(
                parameters, self.CHANCE_LIMIT, context))
            bottom, chance = (
                surface_of_field(file, record.boundary_wkb,
                                 tick=ticker(feedback, 0.2 * number, 0.2 + 0.2 * number))
                for number, file in enumerate(files))
            require_readings(chance)
            require_some_pan(chance)
            rig, lacking = tillage_rig(record)
            plan = tillage_plan(
                bottom, chance, settings, area_unit=record.units.area,
                shape=workable_shape(record),
                rig=rig, tick=ticker(feedback, 0.4, 0.8))
            headline = for_the_whole(tillage_headline(plan), mapped(chance.account))
            self.write_plan(plan, record, paths, lambda: _account(
                plan, headline, record, lacking,
                tillage_sensitivity(plan, bottom, chance, settings, record.units.area)),
                tick=ticker(feedback, 0.8, 1.0))
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        feedback.pushInfo(headline)
        return {self.PLAN: paths[0], self.ACCOUNT: paths[1], "TILLED": area_of(plan, "till"),
                "LEFT": area_of(plan, "leave")}


def _account(plan, headline, record, lacking, turning):
    evidence, names = tillage_evidence(record), setting_titles()
    return plan_account(
        plan, title=tr("Tillage plan"), headline=headline, names=names,
        cautions=(*not_told(lacking), *evidence.cautions), rating=evidence.rating,
        sensitivity=sensitivity_account(turning, titles=TILLAGE_TITLES, names=names))
