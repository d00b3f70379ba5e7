"""Processing algorithm `newrecord`: a new field record from the boundary of a field."""
import datetime
import math
import re
from pathlib import Path

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsCsException,
    QgsGeometry,
    QgsProcessing,
    QgsProcessingAlgorithm,
    QgsProcessingException,
    QgsProcessingOutputString,
    QgsProcessingParameterDateTime,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterNumber,
    QgsProcessingParameterString,
)

from ..core.problems import InputProblem
from ..core.units import METRIC, UNIT_SYSTEMS, US
from ..layers.polygons import features_of
from ..record.create import create_record
from ..record.schema import layer_spec, unit_of
from ..record.utm import utm_authority_id
from .base import SpadeworkAlgorithm, tr

MADE_BY_ITSELF = ("reading_id", "units")
ASKED_FIRST = ("name", "grower", "crop", "season", "planting_date", "visit_date",
               "seeds_planted", "row_width")
ABOVE_0 = ("seeds_planted", "row_width", "expected_yield", "crop_price", "target_stand",
           "expected_emergence", "pan_limit", "tillage_step", "nitrogen_step",
           "lime_step", "lime_depth", "lime_quality")
WGS84 = "EPSG:4326"
YES, NO = "yes", "no"  # a truth may also be left open, which a box to tick cannot
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?", re.ASCII | re.IGNORECASE)
CURRENCY = re.compile(r"[A-Z]{3}")


class NewRecord(SpadeworkAlgorithm):
    """Make a new, empty field record for one field."""
    ID = "newrecord"
    NAME = "New field record"
    GROUP = "record"
    HELP = ("Makes the GeoPackage that holds everything of one field call, empty but for the "
            "field itself. It is kept in the WGS 84 / UTM zone of the field, whatever the CRS of "
            "the boundary. Forms, value lists, symbols and a project are stored in it, so that "
            "any QGIS can fill it. All numbers are in the record's units, US or metric, and "
            "money in its currency; whatever is left empty can be entered later. An existing "
            "file is never overwritten. Give it the name it is to keep: it may be moved, but the "
            "project inside finds the layers by the file's name.")
    BOUNDARY, UNITS, RECORD, CRS = "BOUNDARY", "UNITS", "RECORD", "CRS"

    def flags(self):
        """Run on the main thread: a QGIS project is put together, and it takes a second."""
        return super().flags() | QgsProcessingAlgorithm.Flag.FlagNoThreading

    def initAlgorithm(self, configuration=None):
        """Declare the boundary, the units, one parameter for each column of `field`, the file."""
        self.described(
            QgsProcessingParameterFeatureSource(
                self.BOUNDARY, tr("Boundary"), [QgsProcessing.SourceType.TypeVectorPolygon]),
            tr("The one polygon of the field, in any CRS. Holes and several parts are kept."))
        self.described(
            QgsProcessingParameterEnum(
                self.UNITS, tr("Units"), list(UNIT_SYSTEMS), defaultValue=US.name,
                usesStaticStrings=True),
            tr("us: inches, feet, acres, psi, bushels. metric: centimetres, metres, hectares, "
               "kPa, tonnes. Fixed for the whole record."))
        for column in field_columns():
            self.described(_parameter(column), _help(column),
                           advanced=column.name not in ASKED_FIRST)
        self.described(
            QgsProcessingParameterFileDestination(
                self.RECORD, tr("Record"), tr("GeoPackage (*.gpkg)")),
            tr("The record to make. There must be no such file yet."))
        self.addOutput(QgsProcessingOutputString(self.CRS, tr("CRS of the record")))

    def checkParameterValues(self, parameters, context):
        """Refuse a file that is there, a boundary without a CRS, and what is no number."""
        path = self.parameterAsFileOutput(parameters, self.RECORD, context)
        if path and Path(path).exists():
            return False, tr("{file} is already there, and a record is never overwritten. Choose "
                             "another name.").format(file=Path(path).name)
        source = self.parameterAsSource(parameters, self.BOUNDARY, context)
        if source is not None and not source.sourceCrs().isValid():
            return False, tr("{layer} has no CRS, so where the field lies is not known. Set the "
                             "layer's CRS first.").format(layer=source.sourceName())
        for column in field_columns():
            wrong = _what_is_wrong(column, parameters.get(column.name.upper()))
            if wrong:
                return False, f"{column.name.upper()}: {wrong}"
        return super().checkParameterValues(parameters, context)

    def processAlgorithm(self, parameters, context, feedback):
        """Reproject the boundary to its UTM zone and make the record."""
        source = self.parameterAsSource(parameters, self.BOUNDARY, context)
        if source is None:
            raise QgsProcessingException(self.invalidSourceError(parameters, self.BOUNDARY))
        boundary = _one_polygon(source)
        field = {column.name: self._value(parameters, column, context)
                 for column in field_columns()}
        path = self.parameterAsFileOutput(parameters, self.RECORD, context)
        try:
            crs = utm_crs_of(boundary, source.sourceCrs(), context)
            transform_boundary(boundary, source.sourceCrs(), crs, context)
            if feedback.isCanceled():
                return {}
            create_record(path, bytes(boundary.asWkb()), crs.authid(),
                          units=self.parameterAsString(parameters, self.UNITS, context),
                          field=field)
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        feedback.pushInfo(tr("{file} is kept in {crs}.").format(
            file=Path(path).name, crs=crs.userFriendlyIdentifier()))
        return {self.RECORD: path, self.CRS: crs.authid()}

    def _value(self, parameters, column, context):
        name = column.name.upper()
        if name in parameters and parameters[name] in (None, ""):
            return None
        if name not in parameters and column.default is None:
            return None
        if column.kind == "date":
            moment = self.parameterAsDateTime(parameters, name, context)
            if not moment.isValid():
                raise QgsProcessingException(tr(
                    "{name}: {value} is no date. Write it as year-month-day.").format(
                        name=name, value=parameters[name]))
            day = moment.date()
            return datetime.date(day.year(), day.month(), day.day())
        if column.kind == "bool":
            return self.parameterAsString(parameters, name, context) == YES
        if column.kind == "int":
            return self.parameterAsInt(parameters, name, context)
        if column.kind == "real":
            return self.parameterAsDouble(parameters, name, context)
        return self.parameterAsString(parameters, name, context)


def field_columns():
    """Return the columns of `field` that a user enters."""
    return tuple(column for column in layer_spec("field").columns
                 if column.name not in MADE_BY_ITSELF)


def _what_is_wrong(column, given):
    """Say what is wrong with a value as given: Processing takes text it cannot read for 0."""
    if given is None or given == "":
        return ""
    if column.name == "currency" and not CURRENCY.fullmatch(str(given)):
        return tr("{value} is no code of three capital letters. Write one such as USD or "
                  "EUR.").format(value=given)
    if column.kind not in ("int", "real") or not isinstance(given, (str, int, float)):
        return ""
    if isinstance(given, str) and not NUMBER.fullmatch(given.strip()):
        return tr("{value} is no number. Write digits alone, with a point before the decimals and "
                  "nothing between the thousands, such as {example}.").format(
                      value=given, example="75" if column.kind == "int" else "75.5")
    value = float(given)
    if not math.isfinite(value) or (column.kind == "int" and value % 1):
        return tr("{value} is no {kind}. Enter one.").format(
            value=given, kind=tr("whole number") if column.kind == "int" else tr("number"))
    if column.name in ABOVE_0 and value <= 0:
        return tr("{value} is not above 0. Enter a number above 0, or leave it empty.").format(
            value=given)
    if column.low is not None and value < column.low:
        return tr("{value} is below {least}, the least that can be.").format(
            value=given, least=f"{column.low:g}")
    if column.high is not None and value > column.high:
        return tr("{value} is above {most}, the most that can be.").format(
            value=given, most=f"{column.high:g}")
    return ""


def _parameter(column):
    name, title = column.name.upper(), tr(column.title)
    words = [YES, NO] if column.kind == "bool" else list(column.values)
    if words:
        return QgsProcessingParameterEnum(name, title, words, optional=True,
                                          usesStaticStrings=True)
    if column.kind == "date":
        return QgsProcessingParameterDateTime(
            name, title, QgsProcessingParameterDateTime.Type.Date, optional=True)
    if column.kind in ("int", "real"):
        kind = QgsProcessingParameterNumber.Type.Integer if column.kind == "int" \
            else QgsProcessingParameterNumber.Type.Double
        limits = {key: value for key, value in (("minValue", column.low),
                                                ("maxValue", column.high)) if value is not None}
        return QgsProcessingParameterNumber(name, title, kind, column.default, True, **limits)
    return QgsProcessingParameterString(name, title, column.default, column.name == "note", True)


def _help(column):
    units = [unit_of(column, system, "USD") for system in (US, METRIC)]
    if not units[0]:
        return tr(column.description)
    return tr("{description} In {units}.").format(
        description=tr(column.description),
        units=units[0] if units[0] == units[1] else tr("{us} (US) or {metric} (metric)").format(
            us=units[0], metric=units[1]))


def _one_polygon(source):
    features = list(features_of(source))
    if len(features) != 1:
        raise QgsProcessingException(tr(
            "{layer} has {count} features, and a record is of one field. Select the field's "
            "polygon and use selected features only, or dissolve the layer first.").format(
                layer=source.sourceName(), count=len(features)))
    if features[0].geometry().isEmpty():
        raise QgsProcessingException(tr(
            "{layer}: the boundary is empty. Draw the outline of the field.").format(
                layer=source.sourceName()))
    return features[0].geometry()


def utm_crs_of(boundary, crs, context):
    """Return the QgsCoordinateReferenceSystem of the UTM zone in which a boundary has its middle.

    Raises   QgsProcessingException: it has no middle, or that cannot be placed on earth
    """
    middle = boundary.centroid()
    if middle.isEmpty():
        raise QgsProcessingException(tr(
            "The boundary has no middle that could be placed. Draw the outline of the field."))
    transform_boundary(middle, crs, QgsCoordinateReferenceSystem(WGS84), context)
    place = middle.asPoint()
    return QgsCoordinateReferenceSystem(utm_authority_id(place.x(), place.y()))


def transform_boundary(geometry, crs, to, context):
    """Bring a QgsGeometry from one CRS to another, in place.

    Raises   QgsProcessingException: it cannot be brought there
    """
    try:
        code = geometry.transform(QgsCoordinateTransform(crs, to, context.transformContext()))
    except QgsCsException as problem:
        raise QgsProcessingException(tr(
            "The boundary cannot be brought from {crs} to {to}: {problem}. Check the layer's "
            "CRS.").format(crs=crs.userFriendlyIdentifier(), to=to.userFriendlyIdentifier(),
                           problem=problem)) from problem
    if code != QgsGeometry.OperationResult.Success:
        raise QgsProcessingException(tr(
            "The boundary cannot be brought from {crs} to {to}. Check the layer's CRS.").format(
                crs=crs.userFriendlyIdentifier(), to=to.userFriendlyIdentifier()))
