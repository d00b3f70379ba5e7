"""rowunittest: whether the stand follows the planter's row units, or the ground."""
from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterVectorDestination,
)

from ..core.deliver.row_unit_account import row_unit_account
from ..core.observe.row_sets import row_unit_tests
from ..core.observe.spacing import spacing_indices
from ..core.problems import InputProblem, Stopped
from ..core.units import convert
from ..layers.beside import all_beside
from ..layers.json_files import write_json
from ..layers.vectors import REAL, WHOLE, Column, VectorLayer, write_vector
from ..record.row_readings import row_readings, spacing_set_m, taped_runs_m
from .base import SpadeworkAlgorithm, driver_of, ticker, tr
from .made import made


class RowUnitTest(SpadeworkAlgorithm):
    """Each row unit against the others, stop by stop."""
    ID, NAME, GROUP = "rowunittest", "Planter row units", "observe"
    HELP = ("Compares the plants in rows counted one by one, stop by stop, so that thin ground "
            "counts against no row unit. For each unit: its difference to the middle unit, a 95 % "
            "interval that holds for all units at once, and the chance of as large a difference "
            "were all alike, by shuffling the units within each stop. Units that never share a "
            "stop are compared in sets of their own. Where plants were taped: spread, multiples, "
            "misses and quality of the spacing, in the classes of ISO 7256-1.")
    RECORD, UNITS, ACCOUNT = "RECORD", "ROW_UNITS", "ACCOUNT"

    def initAlgorithm(self, configuration=None):
        """Declare the record, the table of row units and the account."""
        self.described(QgsProcessingParameterFile(self.RECORD, tr("Field record"),
                                                  extension="gpkg"),
                       tr("The GeoPackage of the field call, with rows counted one by one."))
        self.described(QgsProcessingParameterVectorDestination(
            self.UNITS, tr("Row units"), QgsProcessing.SourceType.TypeVector),
            tr("A row a planter row unit: rows counted, difference to the middle unit and its "
               "interval in %, p; where taped, deviation in in or cm, and multiples, misses and "
               "quality in % of the spacings."))
        self.described(QgsProcessingParameterFileDestination(
            self.ACCOUNT, tr("Account (JSON)"), "JSON (*.json)", optional=True,
            createByDefault=False), tr("The test in figures and words."))
        self.addOutput(QgsProcessingOutputNumber("P", tr("p of the row units")))
        self.addOutput(QgsProcessingOutputString("VERDICT", tr("What the test says")))
        self.addOutput(QgsProcessingOutputNumber("LEFT_OUT", tr("Rows left out")))

    def processAlgorithm(self, parameters, context, feedback):
        """Read the rows, test, write the table."""
        path = self.parameterAsOutputLayer(parameters, self.UNITS, context)
        account_path = self.parameterAsFileOutput(parameters, self.ACCOUNT, context)
        try:
            record = self.opened_record(parameters, context, feedback,
                                        only=("stand_counts", "row_counts", "plant_positions"),
                                        end=0.2)
            rows = row_readings(record)
            for warning in rows.warnings:
                feedback.pushWarning(warning)
            found = row_unit_tests(rows.stops, rows.units, rows.plants, rows.length_m,
                                   tick=ticker(feedback, 0.2, 1.0))
            spacings = _spacings(record)
            account = row_unit_account(
                found, spacings, depth_unit=record.units.depth, warnings=rows.warnings,
                left_out=rows.left_out + found.left_out)
            with all_beside([path, account_path]) as (aside, account_aside):
                write_vector(aside, driver_of(path), [_table(found, spacings, record, made(
                    self.ID, {}, record.sha256))])
                if account_path:
                    write_json(account_aside, account)
                ticker(feedback)(1.0)
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        feedback.pushInfo(account["verdict"])
        return {self.UNITS: path, self.ACCOUNT: account_path, "P": found.p_planter,
                "VERDICT": account["verdict"], "LEFT_OUT": account["left_out"]}


def _spacings(record):
    """Return the Spacing of each taped row unit, and of all together (None), in depth units."""
    runs = taped_runs_m(record)
    if not runs:
        return {}
    unit = record.units.depth
    set_to = float(convert(spacing_set_m(record), "m", unit))
    groups = {None: [positions for _, positions in runs]}
    for number, positions in runs:
        if number is not None:
            groups.setdefault(number, []).append(positions)
    return {number: spacing_indices([convert(run, "m", unit) for run in group], set_to)
            for number, group in groups.items() if sum(len(run) - 1 for run in group) > 1}


def _table(found, spacings, record, said):
    unit = record.units.depth
    columns = (Column("row_unit", WHOLE, "counted from the left"),
               Column("compared_in", WHOLE, "set of units counted side by side"),
               Column("rows", WHOLE),
               Column("difference", REAL, "to the middle unit, % of the mean stand"),
               Column("low", REAL, "%"), Column("high", REAL, "%"), Column("p", REAL),
               Column("spacings", WHOLE), Column("deviation", REAL, f"of the spacings, {unit}"),
               Column("multiples", REAL, "%"), Column("misses", REAL, "%"),
               Column("quality", REAL, "%"))
    rows = []
    for number, one in ((number, one) for number, test in enumerate(found.tests, 1)
                        for one in test.units):
        taped = spacings.get(one.unit)
        rows.append([one.unit, number, one.rows, 100 * one.effect, 100 * one.low, 100 * one.high,
                     one.p,
                     *([None] * 5 if taped is None else
                       [taped.spacings, taped.deviation, 100 * taped.multiples,
                        100 * taped.misses, 100 * taped.quality])])
    return VectorLayer("row_units", record.crs_wkt, columns, [None] * len(rows), rows,
                       tr("Planter row units"), made=said)
