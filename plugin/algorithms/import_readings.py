"""importreadings: readings from tables and map files into a record, whole and traceable."""
import re
from collections import Counter
from pathlib import Path

from qgis.core import (
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterCrs,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFile,
    QgsProcessingParameterNumber,
    QgsProcessingParameterString,
    QgsProcessingParameterVectorDestination,
)

from ..core.intake.mapping import mapping_to_json
from ..core.intake.values_read import Answers
from ..core.intake.written_angles import DECIMAL, PARTS
from ..core.intake.written_dates import ORDERS
from ..core.intake.written_numbers import COMMA, POINT
from ..core.problems import InputProblem, Stopped
from ..layers.vectors import TEXT, WHOLE, Column, VectorLayer, write_vector
from ..record.intake.importing import Wish, import_readings
from ..record.intake.kinds import KINDS
from ..record.intake.places import AS_WRITTEN, SWAPPED, WGS84
from ..record.intake.saved_mappings import mapping_given, refuse_name, save_mapping
from .base import SpadeworkAlgorithm, ticker, tr

ASK = "ask"
MOST_REASONS = 12


class ImportReadings(SpadeworkAlgorithm):
    """Bring readings from a file into a record."""
    ID, NAME, GROUP = "importreadings", "Import readings", "record"
    HELP = ("Brings readings from a table (CSV, TSV, XLSX, ODS) or a map file (GPX, shapefile, "
            "GeoJSON, GeoPackage, KML) into a record, in the record's units and CRS. The columns "
            "are known by their names and the units in them; a mapping in JSON says otherwise, "
            "and can be saved by name. What can be read in two ways (day and month, decimal "
            "comma, swapped coordinates, degrees and minutes, universal time) is asked about, "
            "never guessed: the run then ends with the question and the parameter that answers "
            "it. Each row is imported or set aside with its number and why. All of it is written "
            "or nothing; rows that are in the record already are known by what they hold, so "
            "that the same file twice adds nothing. The tables imports and imported_rows in the "
            "record keep the file's name, its SHA-256 and the row of each reading. Formulas are "
            "never worked out, and impossible values are not refused but left to the checks.")
    RECORD, SOURCE, SHEET, KIND = "RECORD", "SOURCE", "SHEET", "KIND"
    MAPPING, SAVE_AS, HEADER_ROW = "MAPPING", "SAVE_AS", "HEADER_ROW"
    SOURCE_CRS, AXES, ANGLES = "SOURCE_CRS", "AXES", "ANGLES"
    DECIMAL, DATE_ORDER, UTC_OFFSET = "DECIMAL", "DATE_ORDER", "UTC_OFFSET"
    PHOTOS, ASIDE = "PHOTOS", "ASIDE"

    def initAlgorithm(self, configuration=None):
        """Declare the record, the source, what must be said about it, and the outputs."""
        self.described(QgsProcessingParameterFile(self.RECORD, tr("Field record"),
                                                  extension="gpkg"),
                       tr("The GeoPackage that the readings are added to."))
        self.described(QgsProcessingParameterFile(self.SOURCE, tr("File of readings")),
                       tr("CSV, TSV, text, XLSX, ODS, GPX, shapefile, GeoJSON, GeoPackage or KML. "
                          "It is only read."))
        self.described(QgsProcessingParameterEnum(
            self.KIND, tr("Kind of readings"), [kind.name for kind in KINDS],
            usesStaticStrings=True),
            tr("Which readings the file holds; laboratory joins results to the probe points that "
               "have the same sample number."))
        self.described(QgsProcessingParameterString(
            self.SHEET, tr("Sheet or layer"), optional=True),
            tr("Of a file that has several; the first one with rows where empty."))
        self.described(QgsProcessingParameterString(
            self.MAPPING, tr("Mapping"), optional=True, multiLine=True),
            tr("What each column is read as and its unit: JSON, a file of it, or the name of a "
               "saved mapping. Proposed from the headers where empty; the result MAPPING_USED "
               "shows it."))
        self.described(QgsProcessingParameterCrs(
            self.SOURCE_CRS, tr("CRS of the positions"), optional=True),
            tr("Where empty, that of the map file, or longitude and latitude in WGS 84."))
        self.described(QgsProcessingParameterFile(
            self.PHOTOS, tr("Folder of photos"), QgsProcessingParameterFile.Behavior.Folder,
            optional=True),
            tr("Photos are found by the name in the photo column, else by a geotag within 15 m, "
               "and copied beside the record."))
        self._ask(self.AXES, tr("Axes"), [ASK, AS_WRITTEN, SWAPPED],
                  tr("Whether longitude and latitude are right as written, or swapped."))
        self._ask(self.ANGLES, tr("Angles"), [ASK, DECIMAL, PARTS],
                  tr("Whether positions are decimal degrees, or parts: degrees, minutes and "
                     "perhaps seconds."))
        self._ask(self.DECIMAL, tr("Decimal mark"), [ASK, POINT, COMMA],
                  tr("Mark of decimals, where 1,234 could be a thousand."))
        self._ask(self.DATE_ORDER, tr("Order of dates"), [ASK, *ORDERS],
                  tr("Which part of a date such as 04/05/2026 comes first."))
        self.described(QgsProcessingParameterNumber(
            self.UTC_OFFSET, tr("Offset from UTC"), QgsProcessingParameterNumber.Type.Double,
            optional=True, minValue=-14, maxValue=14),
            tr("Hours from universal time to the field's clock, such as -5; for times that are "
               "UTC, as in GPX. Unit: h (3600 seconds)."), advanced=True)
        self.described(QgsProcessingParameterNumber(
            self.HEADER_ROW, tr("Row of the header"), QgsProcessingParameterNumber.Type.Integer,
            0, minValue=0, maxValue=1000),
            tr("Number of the row with the names of the columns, above the readings; 0 looks "
               "for it."), advanced=True)
        self.described(QgsProcessingParameterString(
            self.SAVE_AS, tr("Save the mapping as"), optional=True),
            tr("Name by which the mapping used is kept in the user's profile."), advanced=True)
        self.described(QgsProcessingParameterVectorDestination(
            self.ASIDE, tr("Rows set aside"), optional=True, createByDefault=False),
            tr("Table (.gpkg) of the rows set aside: number, reason, content."))
        for name, title in (("ROWS", tr("Rows of the file")), ("IMPORTED", tr("Rows imported")),
                            ("SET_ASIDE", tr("Rows set aside")),
                            ("READINGS", tr("Readings added, with their parts"))):
            self.addOutput(QgsProcessingOutputNumber(name, title))
        self.addOutput(QgsProcessingOutputString("MAPPING_USED", tr("Mapping used (JSON)")))
        self.addOutput(QgsProcessingOutputString("REASONS", tr("Why rows were set aside")))

    def _ask(self, name, title, answers, words):
        self.described(QgsProcessingParameterEnum(
            name, title, answers, defaultValue=ASK, usesStaticStrings=True), words, advanced=True)

    def processAlgorithm(self, parameters, context, feedback):
        """Read the source, write what is usable, tell what is not."""
        aside_path = self.parameterAsOutputLayer(parameters, self.ASIDE, context)
        if aside_path and Path(aside_path).suffix.lower() != ".gpkg":
            raise QgsProcessingException(tr("{path}: give the table of rows set aside a name that "
                                            "ends in .gpkg.").format(path=aside_path))
        save_as = self.parameterAsString(parameters, self.SAVE_AS, context)
        try:
            if save_as:
                refuse_name(save_as)
            done = import_readings(
                self.file_parameter(parameters, self.RECORD, context),
                self.file_parameter(parameters, self.SOURCE, context),
                self._wish(parameters, context), ticker(feedback))
            if save_as:
                save_mapping(save_as, done.mapping)
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(self._in_words(str(problem))) from problem
        if aside_path:
            try:
                write_vector(aside_path, "GPKG", [_table(done)])
            except InputProblem as problem:  # the readings are in the record by now
                feedback.pushWarning(str(problem))
                aside_path = None
        return self._told(done, aside_path, feedback)

    def _wish(self, parameters, context):
        def answer(name):
            given = self.parameterAsEnumString(parameters, name, context)
            return "" if given == ASK else given

        crs = self.parameterAsCrs(parameters, self.SOURCE_CRS, context)
        mapping = self.parameterAsString(parameters, self.MAPPING, context)
        offset = parameters.get(self.UTC_OFFSET)
        return Wish(
            kind=self.parameterAsEnumString(parameters, self.KIND, context),
            table=self.parameterAsString(parameters, self.SHEET, context),
            header_row=self.parameterAsInt(parameters, self.HEADER_ROW, context),
            mapping=mapping_given(mapping) if mapping.strip() else None,
            crs=(crs.authid() or crs.toWkt()) if crs.isValid() else "",
            axes=answer(self.AXES),
            answers=Answers(
                decimal=answer(self.DECIMAL), date_order=answer(self.DATE_ORDER),
                utc_offset_h=None if offset is None else self.parameterAsDouble(
                    parameters, self.UTC_OFFSET, context),
                angles=answer(self.ANGLES)),
            photos=self.parameterAsFile(parameters, self.PHOTOS, context))

    def _in_words(self, text):
        """Return a message with each parameter also called as forms show it."""
        titles = {one.name(): one.description() for one in self.parameterDefinitions()}
        return re.sub(r"\b[A-Z][A-Z_]+\b", lambda found: f"“{titles[found[0]]}” ({found[0]})"
                      if found[0] in titles else found[0], text)

    def _told(self, done, aside_path, feedback):
        for warning in done.warnings:
            feedback.pushWarning(self._in_words(warning))
        reasons = [self._in_words(reason) for reason in _reasons(done.set_aside)]
        for reason in reasons[:MOST_REASONS]:
            feedback.pushWarning(reason)
        if len(reasons) > MOST_REASONS:
            feedback.pushWarning(self._in_words(tr(
                "{more} more reasons; ASIDE writes them all.").format(
                    more=len(reasons) - MOST_REASONS)))
        feedback.pushInfo(tr("{imported} of {rows} rows imported, {aside} set aside.").format(
            imported=done.imported, rows=done.rows, aside=len(done.set_aside)))
        return {self.ASIDE: aside_path or None, "ROWS": done.rows, "IMPORTED": done.imported,
                "SET_ASIDE": len(done.set_aside), "READINGS": sum(done.readings.values()),
                "MAPPING_USED": mapping_to_json(done.mapping), "REASONS": "\n".join(reasons)}


def _reasons(set_aside):
    """One sentence a reason, with the rows it holds for."""
    rows, counts = {}, Counter(one.reason for one in set_aside)
    for one in set_aside:
        named = rows.setdefault(one.reason, [])
        if len(named) < 8:
            named.append(str(one.row))
    return [tr("{rows}{more}: {reason}").format(
        rows=tr("row ") + ", ".join(rows[reason]),
        more=tr(" and {number} more").format(number=count - 8) if count > 8 else "",
        reason=reason) for reason, count in counts.most_common()]


def _table(done):
    return VectorLayer(
        "set_aside", WGS84,  # which a table without places has no use for
        (Column("row", WHOLE), Column("reason", TEXT), Column("content", TEXT)),
        [None] * len(done.set_aside),
        [[one.row, one.reason, one.content] for one in done.set_aside],
        title="Rows set aside by an import")
