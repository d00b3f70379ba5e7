"""soilatprobes: one soil result of a record, at the samples whose depth it counts from."""
from dataclasses import replace

from qgis.core import (
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterVectorDestination,
)

from ..core.deliver.soil_account import soil_account
from ..core.problems import InputProblem, Stopped
from ..core.units import convert
from ..layers.beside import all_beside
from ..layers.json_files import write_json
from ..layers.vectors import REAL, TEXT, WHOLE, Column, VectorLayer, points_wkb, write_vector
from ..record.probe_readings import LAYER, QUANTITIES, acid_surface_samples
from ..record.schema import layer_spec
from .base import SpadeworkAlgorithm, driver_of, ticker, tr
from .made import made


class SoilAtProbes(SpadeworkAlgorithm):
    """One soil result and its error at each usable sample of a record."""
    ID, NAME, GROUP = "soilatprobes", "Soil results at the probes", "observe"
    HELP = ("Takes one result of the soil samples, such as nitrate or pH, from the samples whose "
            "depth it counts from: nitrate from cores of 12 in (30 cm), the others from short "
            "cores of about 7 in (18 cm), surface pH from the top 4 in (10 cm). What does not fit "
            "is named and left out; nothing in the record is changed.")
    RECORD, RESULT, OBSERVATIONS, ACCOUNT = "RECORD", "RESULT", "OBSERVATIONS", "ACCOUNT"

    def initAlgorithm(self, configuration=None):
        """Declare the record, the result wanted, the observations and the account."""
        self.described(QgsProcessingParameterFile(self.RECORD, tr("Field record"),
                                                  extension="gpkg"),
                       tr("The GeoPackage of the field call."))
        self.described(QgsProcessingParameterEnum(
            self.RESULT, tr("Result"),
            [tr(layer_spec(LAYER).column(name).title) for name in QUANTITIES], defaultValue=0),
            tr("Which result of the samples: nitrogen and nutrients in ppm, organic matter in %."))
        self.described(QgsProcessingParameterVectorDestination(
            self.OBSERVATIONS, tr("Soil result at the probes")),
            tr("A point a sample: value and its standard error in ppm, % or pH, how it was "
               "found, depths in in or cm."))
        self.described(QgsProcessingParameterFileDestination(
            self.ACCOUNT, tr("Account (JSON)"), "JSON (*.json)", optional=True,
            createByDefault=False), tr("What was used, left out and doubted, for the summary."))
        self.addOutput(QgsProcessingOutputNumber("USED", tr("Samples used")))
        self.addOutput(QgsProcessingOutputNumber("LEFT_OUT", tr("Samples left out")))

    def processAlgorithm(self, parameters, context, feedback):
        """Read the samples, choose, write the points."""
        path = self.parameterAsOutputLayer(parameters, self.OBSERVATIONS, context)
        account_path = self.parameterAsFileOutput(parameters, self.ACCOUNT, context)
        name = list(QUANTITIES)[self.parameterAsEnum(parameters, self.RESULT, context)]
        try:
            record = self.opened_record(parameters, context, feedback, only=(LAYER,), end=0.4)
            found = QUANTITIES[name](record)
            for warning in found.warnings:
                feedback.pushWarning(warning)
            ticker(feedback)(0.5)
            said = made(self.ID, {"result": name}, record.sha256)
            with all_beside([path, account_path]) as (aside, account_aside):
                write_vector(aside, driver_of(path), [replace(_layer(name, found, record),
                                                              made=said)],
                             tick=ticker(feedback, 0.5, 1.0))
                if account_path:
                    write_json(account_aside, soil_account(
                        name, found.observations, methods=found.methods, bottom_m=found.bottom_m,
                        depth_unit=record.units.depth, left_out=len(found.left_out),
                        warnings=found.warnings, acid_surfaces=len(acid_surface_samples(record))
                        if name == "surface_ph" else 0))
                ticker(feedback)(1.0)
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        return {self.OBSERVATIONS: path, self.ACCOUNT: account_path,
                "USED": len(found.observations), "LEFT_OUT": len(found.left_out)}


def _layer(name, found, record):
    unit = record.units.depth
    columns = (Column("row", WHOLE), Column("value", REAL), Column("error", REAL),
               Column("unit", TEXT), Column("method", TEXT), Column("top", REAL, f"in {unit}"),
               Column("bottom", REAL, f"in {unit}"))
    observed = found.observations
    rows = [list(row) for row in zip(
        found.fids, observed.values, observed.error_variance**0.5,
        [observed.unit] * len(observed), found.methods, convert(found.top_m, "m", unit),
        convert(found.bottom_m, "m", unit))]
    return VectorLayer(name, record.crs_wkt, columns, points_wkb(observed.positions_m), rows,
                       observed.name)
