"""placereadings: points for readings that were written down by row and paces."""
import numpy as np
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterField,
    QgsProcessingParameterFile,
    QgsProcessingParameterNumber,
    QgsProcessingParameterPoint,
    QgsProcessingParameterString,
    QgsProcessingParameterVectorDestination,
)

from ..core.observe.pace import Pace, calibrated_pace, require_pace
from ..core.observe.placement_value_error import value_error_of_placement
from ..core.observe.row_places import placement_error_m, places_in_rows, row_along, row_between
from ..core.problems import InputProblem, Stopped
from ..core.units import convert
from ..layers.boundary import inside_mask
from ..layers.true_north import grid_heading
from ..layers.vectors import POINT, REAL, Column, VectorLayer, points_wkb, write_vector
from ..layers.written_rows import read_rows
from ..record.stops import rows_named
from .base import SpadeworkAlgorithm, driver_of, ticker, tr
from .made import made

IN_PACES = "paces"
DISTANCE_UNITS = (IN_PACES, "ft", "m")
RIGHT, LEFT = "right", "left"
SIDES = (RIGHT, LEFT)
ADDED = ("easting", "northing", "placement_error_m", "value_error")


class PlaceReadings(SpadeworkAlgorithm):
    """Places of readings that were taken without a receiver."""
    ID, NAME, GROUP = "placereadings", "Place readings by row and paces", "record"
    HELP = ("Gives points to readings that were written down as row number and paces, or wheel "
            "distance, from a corner or along a line. Two known points, the start and a second on "
            "the row, or the start and a heading, say where row 1 lies; the row width in the "
            "record says where the others lie. Each point carries placement_error_m, the root of "
            "the mean squared distance from its true place: from the errors of the known points, "
            "of the heading or the line, of the paces and of counting rows (propagation of errors, "
            "Ghilani 2017, from memory). With a value's column it also carries value_error, what "
            "that distance does to the value, by how the values vary over the field (Cressie and "
            "Kornak 2003, from memory): give it to Surface from readings as the column of errors, "
            "and the map trusts surely placed readings more. Rows that cannot be placed are named "
            "and left out; the table is not changed.")
    RECORD, INPUT, ROW_FIELD, DISTANCE_FIELD = "RECORD", "INPUT", "ROW_FIELD", "DISTANCE_FIELD"
    START, SECOND, HEADING = "START", "SECOND", "HEADING"
    FIRST_ROW, ROWS_GROW, DISTANCE_UNIT = "FIRST_ROW", "ROWS_GROW", "DISTANCE_UNIT"
    PACE, PACE_ERROR = "PACE", "PACE_ERROR"
    KNOWN_DISTANCE, PACES = "KNOWN_DISTANCE", "PACES"
    POINT_ERROR, HEADING_ERROR, ROW_ERROR = "POINT_ERROR", "HEADING_ERROR", "ROW_ERROR"
    VALUE_FIELD, PLACED = "VALUE_FIELD", "PLACED"

    def initAlgorithm(self, configuration=None):
        """Declare the record, the table, the two points, the paces and the errors."""
        self.described(QgsProcessingParameterFile(self.RECORD, tr("Field record"),
                                                  extension="gpkg"),
                       tr("Its field row holds the row width; its CRS and units are used. It is "
                          "not changed."))
        self.described(QgsProcessingParameterFeatureSource(
            self.INPUT, tr("Readings as written down"), [QgsProcessing.SourceType.TypeVector]),
            tr("A table, such as CSV, with a row a reading; every column is kept."))
        self.described(QgsProcessingParameterField(
            self.ROW_FIELD, tr("Column of the row number"), parentLayerParameterName=self.INPUT,
            optional=True), tr("Number of the crop row. Empty: all lie in the row of the start, "
                               "along the line."))
        self.described(QgsProcessingParameterField(
            self.DISTANCE_FIELD, tr("Column of the distance"),
            parentLayerParameterName=self.INPUT),
            tr("Paces, feet or metres along the row, from the start."))
        self._declare_row()
        self._declare_paces()
        self._declare_errors()
        self.described(QgsProcessingParameterVectorDestination(self.PLACED, tr("Placed readings")),
                       tr("Points with every column of the table, easting, northing and "
                          "placement_error_m, all in metres, and value_error where asked for."))
        self.addOutput(QgsProcessingOutputNumber("PLACED_ROWS", tr("Readings placed")))
        self.addOutput(QgsProcessingOutputNumber("LEFT_OUT", tr("Rows left out")))
        self.addOutput(QgsProcessingOutputNumber("OUTSIDE", tr("Readings placed outside")))
        self.addOutput(QgsProcessingOutputNumber("GREATEST_ERROR",
                                                 tr("Greatest placement error, metres")))
        self.addOutput(QgsProcessingOutputString("PACE_USED", tr("Pace used")))

    def _declare_row(self):
        number = QgsProcessingParameterNumber.Type
        self.described(QgsProcessingParameterPoint(self.START, tr("Start")),
                       tr("Known point at distance 0 in row FIRST_ROW: a corner, or the head of a "
                          "line."))
        self.described(QgsProcessingParameterPoint(self.SECOND, tr("Second point on the row"),
                                                   optional=True),
                       tr("Known point further along the same row. Empty: by the heading."))
        self.described(QgsProcessingParameterNumber(
            self.HEADING, tr("Heading of the walk"), number.Double, optional=True,
            minValue=-360.0, maxValue=360.0),
            tr("Degrees clockwise from true north in which distances grow, where no second point "
               "is known: a compass set to its declination shows it."))
        self.described(QgsProcessingParameterNumber(
            self.FIRST_ROW, tr("Row of the start"), number.Integer, 1),
            tr("Row number, no unit, of the row that the start lies in."))
        self.described(QgsProcessingParameterEnum(
            self.ROWS_GROW, tr("Row numbers grow to the"), [tr("right"), tr("left")],
            defaultValue=0),
            tr("Side of the walk, looking along the heading, on which rows of higher number lie."))

    def _declare_paces(self):
        number = QgsProcessingParameterNumber.Type
        self.described(QgsProcessingParameterEnum(
            self.DISTANCE_UNIT, tr("Distances are in"), [tr("paces"), tr("feet"), tr("metres")],
            defaultValue=0), tr("Unit of the column of the distance."))
        self.described(QgsProcessingParameterNumber(
            self.PACE, tr("Length of a pace"), number.Double, optional=True, minValue=0.0),
            tr("In the record's unit of length, ft or m. Empty: from a walk over a known "
               "distance."))
        self.described(QgsProcessingParameterNumber(
            self.KNOWN_DISTANCE, tr("Known distance"), number.Double, optional=True, minValue=0.0),
            tr("Distance that was paced to find the length of a pace, in the record's unit of "
               "length, ft or m."))
        self.described(QgsProcessingParameterString(
            self.PACES, tr("Paces over it"), optional=True),
            tr("Paces counted over the known distance on each walk, two walks or more: 38; 39; "
               "37.5."))

    def _declare_errors(self):
        for name, title, default, words in (
                (self.PACE_ERROR, tr("Error of a pace or the wheel"), 3.0,
                 tr("Standard error in % of the distance: 3 is a practised pace, 1 a wheel on "
                    "crop ground; common practice. Not used where paces over a known distance are "
                    "given: these tell it.")),
                (self.POINT_ERROR, tr("Error of the known points"), 3.0,
                 tr("Standard error along either axis, metres: 3 off a picture or a telephone, "
                    "0.5 at a surveyed corner; common practice.")),
                (self.HEADING_ERROR, tr("Error of the heading"), 2.0,
                 tr("Standard error in degrees, where the heading is typed.")),
                (self.ROW_ERROR, tr("Error of counting rows"), 1.0,
                 tr("Rows by which a count of 100 rows is likely to be off; it grows with the "
                    "root of the rows counted. Standard error, in the unit rows."))):
            self.described(QgsProcessingParameterNumber(
                name, title, QgsProcessingParameterNumber.Type.Double, default, minValue=0.0),
                words, advanced=True)
        self.described(QgsProcessingParameterField(
            self.VALUE_FIELD, tr("Column of a value"), parentLayerParameterName=self.INPUT,
            optional=True),
            tr("A reading to be mapped, in any unit: it is written as a number, and its error from "
               "the error of place as value_error. Needs 10 readings or more."))

    def checkParameterValues(self, parameters, context):
        """Refuse a row that is not known, or known twice, and paces of no length."""
        given = {name: parameters.get(name) not in (None, "") for name in (
            self.SECOND, self.HEADING, self.PACE, self.KNOWN_DISTANCE, self.PACES)}
        if given[self.SECOND] == given[self.HEADING]:
            return False, tr("Where the row leads: give either SECOND, a second known point on it, "
                             "or HEADING, in degrees.")
        calibrated = given[self.KNOWN_DISTANCE] and given[self.PACES]
        if given[self.KNOWN_DISTANCE] != given[self.PACES]:
            return False, tr("KNOWN_DISTANCE and PACES belong together: enter both, or neither.")
        paced = self._unit(parameters, context) == IN_PACES
        if paced and given[self.PACE] == calibrated:
            return False, tr("Distances are in paces: enter PACE, the length of one, or "
                             "KNOWN_DISTANCE and the PACES over it.")
        if not paced and (given[self.PACE] or calibrated):
            return False, tr("Distances are not in paces, so PACE, KNOWN_DISTANCE and PACES have "
                             "no use. Leave them empty, or choose paces.")
        return super().checkParameterValues(parameters, context)

    def processAlgorithm(self, parameters, context, feedback):
        """Read the table, place its rows, write the points."""
        path = self.parameterAsOutputLayer(parameters, self.PLACED, context)
        driver = driver_of(path)
        source = self.parameterAsSource(parameters, self.INPUT, context)
        if source is None:
            raise QgsProcessingException(self.invalidSourceError(parameters, self.INPUT))
        try:
            record = self.opened_record(parameters, context, feedback)
            written = read_rows(source, tick=ticker(feedback, 0.0, 0.4))
            _refuse_columns(written)
            value = self.parameterAsString(parameters, self.VALUE_FIELD, context)
            written = written.with_numbers(value) if value else written
            rows_right, distances = self._written(written, parameters, context)
            used = np.isfinite(rows_right) & np.isfinite(distances)
            if not used.any():
                raise InputProblem(tr("{table}: none of {count} rows has a distance and a row "
                                      "number. Choose the columns that hold them.").format(
                    table=written.name, count=len(used)))
            pace = self._pace(record, parameters, context)
            places, errors = self._place(record, rows_right[used], distances[used], pace,
                                         parameters, context)
            added = [*places.T, errors, *self._value_errors(written, used, places, errors,
                                                            parameters, context, feedback)]
            write_vector(path, driver, [_layer(written, used, places, added, record,
                                               made(self.ID, self._settings(pace, parameters,
                                                                            context),
                                                    record.sha256))],
                         tick=ticker(feedback, 0.9, 1.0))
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        outside = ~inside_mask(record.boundary_wkb, places)
        self._warn(written, used, outside, feedback)
        said = tr("{length:.3f} m, error {error:.1%}").format(length=pace.length_m,
                                                              error=pace.error)
        feedback.pushInfo(tr("{count} readings placed; the placement error is {least:.1f} to "
                             "{most:.1f} m.").format(count=len(places), least=errors.min(),
                                                     most=errors.max()))
        return {self.PLACED: path, "PLACED_ROWS": len(places),
                "LEFT_OUT": int(np.count_nonzero(~used)),
                "OUTSIDE": int(np.count_nonzero(outside)),
                "GREATEST_ERROR": float(errors.max()), "PACE_USED": said}

    def _written(self, written, parameters, context):
        """Rows to the right of the start's, and distances as written down, NaN where empty."""
        distances = written.numbers(self.parameterAsString(parameters, self.DISTANCE_FIELD,
                                                           context))
        column = self.parameterAsString(parameters, self.ROW_FIELD, context)
        if not column:
            return np.zeros(len(distances)), distances
        over = written.numbers(column) - self.parameterAsInt(parameters, self.FIRST_ROW, context)
        left = SIDES[self.parameterAsEnum(parameters, self.ROWS_GROW, context)] == LEFT
        return (-over if left else over), distances

    def _unit(self, parameters, context):
        return DISTANCE_UNITS[self.parameterAsEnum(parameters, self.DISTANCE_UNIT, context)]

    def _pace(self, record, parameters, context):
        """Length, metres, of what the distances count, and its error as a share."""
        unit = self._unit(parameters, context)
        error = self.parameterAsDouble(parameters, self.PACE_ERROR, context) / 100
        if unit != IN_PACES:
            return Pace(float(convert(1.0, unit, "m")), error)
        if parameters.get(self.PACE) not in (None, ""):
            length_m = float(convert(self.parameterAsDouble(parameters, self.PACE, context),
                                     record.units.length, "m"))
            require_pace(length_m)
            return Pace(length_m, error)
        known = self.parameterAsDouble(parameters, self.KNOWN_DISTANCE, context)
        return calibrated_pace(
            float(convert(known, record.units.length, "m")),
            _counts(self.parameterAsString(parameters, self.PACES, context)))

    def _place(self, record, rows_right, distances, pace, parameters, context):
        line = self._line(record, parameters, context)
        width_m = float(convert(record.field_value("row_width"), record.units.depth, "m"))
        distance_m = distances * pace.length_m
        places = places_in_rows(line, rows_right, distance_m, row_width_m=width_m)
        errors = placement_error_m(
            line, rows_right, distance_m, row_width_m=width_m, pace_error=pace.error,
            row_error=self.parameterAsDouble(parameters, self.ROW_ERROR, context))
        return places, errors

    def _line(self, record, parameters, context):
        crs = QgsCoordinateReferenceSystem.fromWkt(record.crs_wkt)
        start, second = (self.parameterAsPoint(parameters, name, context, crs)
                         for name in (self.START, self.SECOND))
        start_m = (start.x(), start.y())
        error = self.parameterAsDouble(parameters, self.POINT_ERROR, context)
        if parameters.get(self.SECOND) not in (None, ""):
            return row_between(start_m, (second.x(), second.y()), point_error_m=error)
        heading = self.parameterAsDouble(parameters, self.HEADING, context)
        return row_along(
            start_m, grid_heading(heading, start_m, record.crs_wkt), point_error_m=error,
            heading_error_deg=self.parameterAsDouble(parameters, self.HEADING_ERROR, context))

    def _value_errors(self, written, used, places, errors, parameters, context, feedback):
        """The error of the value of each placed row as one list, or none; NaN without a value."""
        column = self.parameterAsString(parameters, self.VALUE_FIELD, context)
        if not column:
            return []
        values = written.numbers(column)[used]
        known = np.isfinite(values)
        found = np.full(len(values), np.nan)
        found[known] = value_error_of_placement(places[known], values[known], errors[known],
                                                tick=ticker(feedback, 0.2, 0.9))
        return [found]

    def _settings(self, pace, parameters, context):
        numbers = {name: self.parameterAsDouble(parameters, name, context)
                   for name in (self.POINT_ERROR, self.HEADING_ERROR, self.ROW_ERROR)}
        return {**numbers, "pace_m": pace.length_m, "pace_error": pace.error,
                self.ROWS_GROW: SIDES[self.parameterAsEnum(parameters, self.ROWS_GROW, context)],
                self.FIRST_ROW: self.parameterAsInt(parameters, self.FIRST_ROW, context)}

    def _warn(self, written, used, outside, feedback):
        if not used.all():
            feedback.pushWarning(tr("{table}, {rows}: no distance, or no row number. Left "
                                    "out.").format(table=written.name,
                                                   rows=rows_named(written.fids[~used])))
        if outside.any():
            feedback.pushWarning(tr("{table}, {rows}: placed outside the field. Check the side on "
                                    "which row numbers grow, the heading and the start.").format(
                table=written.name, rows=rows_named(written.fids[used][outside])))


def _counts(text):
    """Paces as typed, parted by semicolons or spaces; commas are decimal marks."""
    words = text.replace(";", " ").split()
    try:
        return [float(word.replace(",", ".")) for word in words]
    except ValueError as problem:
        raise InputProblem(tr("PACES: {text} is no list of numbers. Write them parted by "
                              "semicolons, such as 38; 39; 37.5.").format(text=text)) from problem


def _refuse_columns(written):
    taken = [column.name for column in written.columns if column.name.lower() in ADDED]
    if taken:
        raise InputProblem(tr("{table} has a column {name} already, which placing would write. "
                              "Rename it.").format(table=written.name, name=taken[0]))


def _layer(written, used, places, added, record, how):
    columns = (*(column for column in written.columns if column.name.lower() != "fid"),
               *(Column(name, REAL) for name in ADDED[:len(added)]))
    kept = [number for number, column in enumerate(written.columns)
            if column.name.lower() != "fid"]
    rows = [[*(written.rows[number][place] for place in kept), *more]
            for number, more in zip(np.flatnonzero(used), zip(*added))]
    return VectorLayer("placed", record.crs_wkt, columns, points_wkb(places), rows,
                       tr("Placed readings"), how, POINT)
