"""scouting: what was seen on the walk, counted."""
from qgis.core import (
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
)

from ..core.deliver.seen import seen_account
from ..core.problems import InputProblem, Stopped
from ..layers.beside import all_beside
from ..layers.json_files import write_json
from ..record.scouting_readings import LAYERS_READ, scouting_readings
from .base import SpadeworkAlgorithm, ticker, tr


class Scouting(SpadeworkAlgorithm):
    """Stages, seeds dug, notes, roots and photos of a record as figures."""
    ID, NAME, GROUP = "scouting", "Scouting: what was seen", "observe"
    HELP = ("Counts what was seen on the walk: growth stages by leaf collars and BBCH, seeds dug "
            "with their mean depth (90 % interval over the stops) and the share emerged, notes by "
            "subject with incidence and severity, ratings of dug and washed roots, and photos. "
            "Figures of notes are of the places noted, not of the field. Nothing in the record is "
            "changed.")
    RECORD, ACCOUNT = "RECORD", "ACCOUNT"

    def initAlgorithm(self, configuration=None):
        """Declare the record and the account."""
        self.described(QgsProcessingParameterFile(self.RECORD, tr("Field record"),
                                                  extension="gpkg"),
                       tr("The GeoPackage of the field call."))
        self.described(QgsProcessingParameterFileDestination(
            self.ACCOUNT, tr("Account (JSON)"), "JSON (*.json)"),
            tr("Every figure with its unit and its text, as the summary and the report show it."))
        self.addOutput(QgsProcessingOutputNumber("NOTES", tr("Scouting notes")))
        self.addOutput(QgsProcessingOutputNumber("SEEDS", tr("Seeds dug")))
        self.addOutput(QgsProcessingOutputNumber("PHOTOS", tr("Photos")))

    def processAlgorithm(self, parameters, context, feedback):
        """Read the notes, count them, write the account."""
        path = self.parameterAsFileOutput(parameters, self.ACCOUNT, context)
        tick = ticker(feedback)
        try:
            record = self.opened_record(parameters, context, feedback, only=LAYERS_READ, end=0.4)
            tick(0.5)
            seen, photos = scouting_readings(record)
            account = seen_account(seen, photos)
            if account is None:
                raise InputProblem("The record holds no scouting notes, no seeds dug, no growth "
                                   "stages and no photos. Enter what was seen first.")
            for warning in seen.warnings:
                feedback.pushWarning(warning)
            with all_beside([path]) as (aside,):
                write_json(aside, account)
                tick(1.0)
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        return {self.ACCOUNT: path, "NOTES": len(seen.notes), "SEEDS": len(seen.seed_stops),
                "PHOTOS": len(photos)}
