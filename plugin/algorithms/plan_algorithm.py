"""What all plans share: a record goes in, the polygons of a plan and its account come out."""
from dataclasses import replace

from qgis.core import (
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterVectorDestination,
)

from ..layers.beside import all_beside
from ..layers.json_files import write_json
from ..layers.vectors import write_vector
from ..layers.zone_layers import plan_layer
from .base import SpadeworkAlgorithm, driver_of, tr
from .made import made

DRAWS = 400  # of a surface: the ends of a 90 % interval are then known to about 2 % of chance


class PlanAlgorithm(SpadeworkAlgorithm):
    """An algorithm that makes a Plan from a record and surfaces."""
    GROUP = "decide"
    RECORD, PLAN, ACCOUNT = "RECORD", "PLAN", "ACCOUNT"

    def describe_record(self, help_text):
        """Add the parameter of the field record."""
        self.described(QgsProcessingParameterFile(self.RECORD, tr("Field record"),
                                                  extension="gpkg"), help_text)

    def describe_outputs(self, help_text):
        """Add the plan's layer, which the help tells the columns of, and the account."""
        self.described(QgsProcessingParameterVectorDestination(self.PLAN, tr("Plan")), help_text)
        self.described(QgsProcessingParameterFileDestination(
            self.ACCOUNT, tr("Account (JSON)"), "JSON (*.json)", optional=True,
            createByDefault=False), tr("Figures, settings, sources and cautions of the plan."))

    def output_paths(self, parameters, context):
        """Return the paths of the plan and of its account; the latter empty where not wanted."""
        return (self.parameterAsOutputLayer(parameters, self.PLAN, context),
                self.parameterAsFileOutput(parameters, self.ACCOUNT, context))

    def write_plan(self, plan, record, paths, account, *, tick, further=None):
        """Write a plan with what goes with it, all of it or nothing.

        Parameters
            plan     Plan
            record   Record that it was made from
            paths    of the plan, of the account, and of what `further` writes; empty: not wanted
            account  function that returns the account, a dict; called where it is wanted
            further  function of a path and of how the plan was made; called where it is wanted
            tick     called with the fraction done; may raise Stopped
        """
        said = made(self.ID, plan.settings, record.sha256)
        told = {**account(), "made": said} if paths[1] else None
        layer = plan_layer(plan, record.boundary_wkb, tick=tick)
        with all_beside(paths) as (plan_aside, account_aside, *others):
            write_vector(plan_aside, driver_of(paths[0]), [replace(layer, made=said)])
            if told is not None:
                write_json(account_aside, told)
            if others and others[0]:
                further(others[0], said)
