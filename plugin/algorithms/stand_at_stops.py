"""standatstops: what the stand counts of a record say, stop by stop."""
from dataclasses import replace

from qgis.core import (
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterVectorDestination,
)

from ..core.deliver.observed import stand_account
from ..core.problems import InputProblem, Stopped
from ..layers.beside import all_beside
from ..layers.json_files import write_json
from ..layers.vectors import REAL, TEXT, WHOLE, Column, VectorLayer, points_wkb, write_vector
from ..record.stand_readings import stand_readings
from .base import SpadeworkAlgorithm, driver_of, ticker, tr
from .made import made


class StandAtStops(SpadeworkAlgorithm):
    """Population and its error at each stop of a record."""
    ID, NAME, GROUP = "standatstops", "Stand at the stops", "observe"
    HELP = ("Turns row-length, wheel and hoop counts into plants per area at each stop, with the "
            "standard error of the count: from the spread between rows counted side by side, else "
            "from the seeds dropped, else as for counts at random. Counts with the same stop "
            "number are one stop. Nothing in the record is changed.")
    RECORD, OBSERVATIONS, ACCOUNT = "RECORD", "OBSERVATIONS", "ACCOUNT"

    def initAlgorithm(self, configuration=None):
        """Declare the record, the observations and the account."""
        self.described(QgsProcessingParameterFile(self.RECORD, tr("Field record"),
                                                  extension="gpkg"),
                       tr("The GeoPackage of the field call."))
        self.described(QgsProcessingParameterVectorDestination(
            self.OBSERVATIONS, tr("Stand at the stops")),
            tr("A point a stop: population and its standard error in plants per acre or hectare, "
               "plants counted, counts."))
        self.described(QgsProcessingParameterFileDestination(
            self.ACCOUNT, tr("Account (JSON)"), "JSON (*.json)", optional=True,
            createByDefault=False), tr("What was used, left out and doubted, for the summary."))
        self.addOutput(QgsProcessingOutputNumber("STOPS", tr("Stops")))
        self.addOutput(QgsProcessingOutputNumber("LEFT_OUT", tr("Counts left out")))

    def processAlgorithm(self, parameters, context, feedback):
        """Read the counts, observe, write the points."""
        path = self.parameterAsOutputLayer(parameters, self.OBSERVATIONS, context)
        account_path = self.parameterAsFileOutput(parameters, self.ACCOUNT, context)
        try:
            record = self.opened_record(parameters, context, feedback,
                                        only=("stand_counts", "row_counts"), end=0.4)
            found = stand_readings(record)
            for warning in found.warnings:
                feedback.pushWarning(warning)
            ticker(feedback)(0.5)
            said = made(self.ID, {}, record.sha256)
            with all_beside([path, account_path]) as (aside, account_aside):
                write_vector(aside, driver_of(path), [replace(_layer(found, record), made=said)],
                             tick=ticker(feedback, 0.5, 1.0))
                if account_path:
                    write_json(account_aside, {**stand_account(
                        found.stand, found.observations, found.warnings, found.left_out),
                        "made": said})
                ticker(feedback)(1.0)
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        feedback.pushInfo(tr("{stops} stops; the error of a count rests on {source}.").format(
            stops=len(found.observations), source=found.stand.error_source))
        return {self.OBSERVATIONS: path, self.ACCOUNT: account_path,
                "STOPS": len(found.observations), "LEFT_OUT": found.left_out}


def _layer(found, record):
    columns = (Column("stop", WHOLE), Column("population", REAL), Column("error", REAL),
               Column("unit", TEXT), Column("plants", REAL), Column("area_m2", REAL),
               Column("counts", WHOLE))
    observed, stand = found.observations, found.stand
    rows = [list(row) for row in zip(
        stand.stops, observed.values, observed.error_variance**0.5, [observed.unit] * len(observed),
        stand.plants, stand.area_m2, found.counts)]
    return VectorLayer("stand", record.crs_wkt, columns, points_wkb(observed.positions_m), rows,
                       tr("Stand at the stops"))
