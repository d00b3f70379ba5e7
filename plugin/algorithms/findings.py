"""findings: for each possible cause of a thin stand, the evidence for and against."""
from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterNumber,
    QgsProcessingParameterVectorDestination,
)

from ..core.decide.findings.findings import CONSISTENT, NOT_LOOKED_AT, findings
from ..core.deliver.findings_account import findings_account
from ..core.problems import InputProblem, Stopped
from ..layers.beside import all_beside
from ..layers.json_files import write_json
from ..layers.vectors import REAL, TEXT, Column, VectorLayer, write_vector
from ..record.findings_readings import LAYERS_READ, cause_readings
from .base import DRIVERS, SpadeworkAlgorithm, driver_of, ticker, tr
from .made import made

GREATEST_HEADLAND = 1000.0  # ft or m


class FindingsAlgorithm(SpadeworkAlgorithm):
    """Each possible cause against the readings of a record."""
    ID, NAME, GROUP = "findings", "Findings: what the readings point to", "decide"
    HELP = ("For planter row units, seed depth, compaction, crusting or wet places, nitrogen, pH, "
            "insects, disease, and wheel tracks and headland: what the record says for and "
            "against, with the test and its strength, what was not looked at, and what to do next. "
            "Tests across the field allow for neighbouring stops being alike (effective sample "
            "size by Clifford, Richardson and Hémon 1989 and Dutilleul 1993), tests at the stops "
            "shuffle within each stop, and all p values are adjusted for the number of tests (Holm "
            "1979). Readings are at most consistent with a cause; they never prove one.")
    RECORD, HEADLAND, CHECKED = "RECORD", "HEADLAND_WIDTH", "UNITS_CHECKED"
    TABLE, ACCOUNT = "FINDINGS", "ACCOUNT"

    def initAlgorithm(self, configuration=None):
        """Declare the record, the headland, the table and the account."""
        self.described(QgsProcessingParameterFile(self.RECORD, tr("Field record"),
                                                  extension="gpkg"),
                       tr("The GeoPackage of the field call."))
        self.described(QgsProcessingParameterNumber(
            self.HEADLAND, tr("Headland width"), QgsProcessingParameterNumber.Type.Double,
            optional=True, minValue=0.0, maxValue=GREATEST_HEADLAND),
            tr("How far from the row ends the machines turn, ft or m as the record is kept. Empty: "
               "two widths of the planter."))
        self.described(QgsProcessingParameterBoolean(
            self.CHECKED, tr("The units of the pressures are checked"), False),
            tr("Use resistances that look like psi entered as kPa, or the other way round."))
        self.described(QgsProcessingParameterVectorDestination(
            self.TABLE, tr("Findings"), QgsProcessing.SourceType.TypeVector),
            tr("A row a possible cause: verdict, evidence for and against, tests and strength, "
               "what was not looked at, what to do next."))
        self.described(QgsProcessingParameterFileDestination(
            self.ACCOUNT, tr("Account (JSON)"), "JSON (*.json)", optional=True,
            createByDefault=False), tr("The findings in figures and words."))
        self.addOutput(QgsProcessingOutputNumber("TESTS", tr("Tests made")))
        self.addOutput(QgsProcessingOutputNumber(
            "CONSISTENT", tr("Causes the readings are consistent with")))
        self.addOutput(QgsProcessingOutputNumber("NOT_LOOKED_AT", tr("Causes not looked at")))
        self.addOutput(QgsProcessingOutputString("HEADLINE", tr("What the readings point to")))

    def processAlgorithm(self, parameters, context, feedback):
        """Read the record, weigh the causes, write the table."""
        path = self.parameterAsOutputLayer(parameters, self.TABLE, context)
        driver = driver_of(path)
        if driver == DRIVERS[".shp"]:
            raise QgsProcessingException(tr(
                "{path}: a shapefile has no room for sentences. Give the findings a file name that "
                "ends in .gpkg or .geojson.").format(path=path))
        account_path = self.parameterAsFileOutput(parameters, self.ACCOUNT, context)
        headland = parameters.get(self.HEADLAND)
        if headland is not None:
            headland = self.parameterAsDouble(parameters, self.HEADLAND, context)
        checked = self.parameterAsBool(parameters, self.CHECKED, context)
        try:
            record = self.opened_record(parameters, context, feedback, only=LAYERS_READ,
                                        end=0.2)
            readings = cause_readings(record, headland=headland, units_checked=checked)
            for warning in readings.warnings:
                feedback.pushWarning(warning)
            found = findings(readings.walk, tick=ticker(feedback, 0.2, 1.0))
            account = findings_account(found, readings.warnings)
            with all_beside([path, account_path]) as (aside, account_aside):
                write_vector(aside, driver, [_table(account, record.crs_wkt, made(
                    self.ID, {self.HEADLAND: headland, self.CHECKED: checked}, record.sha256))])
                if account_path:
                    write_json(account_aside, account)
                ticker(feedback)(1.0)
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        feedback.pushInfo(account["headline"])
        return {self.TABLE: path, self.ACCOUNT: account_path, "TESTS": found.tests,
                "CONSISTENT": len(found.of(CONSISTENT)),
                "NOT_LOOKED_AT": len(found.of(NOT_LOOKED_AT)), "HEADLINE": account["headline"]}


def _table(account, crs_wkt, said):
    columns = (Column("cause", TEXT), Column("verdict", TEXT),
               Column("for", TEXT, "evidence for it"), Column("against", TEXT),
               Column("test", TEXT), Column("strength", TEXT),
               Column("p", REAL, "of the test behind the strength"),
               Column("adjusted_p", REAL, "allowing for all tests made"),
               Column("not_looked", TEXT, "what was not looked at and should be"),
               Column("next_step", TEXT, "what to do to make sure"))
    rows = [[one["title"], one["verdict"], " ".join(one["for"]), " ".join(one["against"]),
             "; ".join(one["tests"]), one["strength"], one["p"], one["adjusted_p"],
             " ".join(one["not_looked_at"]), one["next_step"]] for one in account["causes"]]
    return VectorLayer("findings", crs_wkt, columns, [None] * len(rows), rows,
                       account["title"], made=said)
