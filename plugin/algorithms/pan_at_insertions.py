"""panatinsertions: the hard layer at each stop of a record."""
from dataclasses import replace

import numpy as np
from qgis.core import (
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterNumber,
    QgsProcessingParameterVectorDestination,
)

from ..core.deliver.observed import pan_account
from ..core.observations import ABOVE, BELOW, EXACT
from ..core.problems import InputProblem, Stopped
from ..core.units import convert
from ..layers.beside import all_beside
from ..layers.json_files import write_json
from ..layers.vectors import REAL, TEXT, WHOLE, Column, VectorLayer, points_wkb, write_vector
from ..record.pan_readings import pan_readings
from .base import SpadeworkAlgorithm, driver_of, ticker, tr
from .made import made

CENSORING_WORDS = {EXACT: "", ABOVE: "above", BELOW: "below"}


class PanAtInsertions(SpadeworkAlgorithm):
    """Top, bottom, thickness and peak of the pan at each stop, with what stays unknown."""
    ID, NAME, GROUP = "panatinsertions", "Pan at the insertions", "observe"
    HELP = ("Finds the hard layer in each penetrometer profile: the depth where resistance first "
            "stays over the limit, where it falls below it again, and the peak between. A profile "
            "that never reaches the limit is no depth: its top is deeper than its last reading. "
            "One hard from the first reading is shallower than that. A stone is no pan. Insertions "
            "with the same stop number are one stop (median). Felt depths count with a larger "
            "error. Nothing in the record is changed.")
    RECORD, LIMIT, REACH, UNITS_CHECKED = "RECORD", "LIMIT", "REACH", "UNITS_CHECKED"
    OBSERVATIONS, ACCOUNT = "OBSERVATIONS", "ACCOUNT"

    def initAlgorithm(self, configuration=None):
        """Declare the record, the limit, the observations and the account."""
        self.described(QgsProcessingParameterFile(self.RECORD, tr("Field record"),
                                                  extension="gpkg"),
                       tr("The GeoPackage of the field call."))
        self.described(QgsProcessingParameterNumber(
            self.LIMIT, tr("Limit"), QgsProcessingParameterNumber.Type.Double, optional=True,
            minValue=1e-9),
            tr("Resistance from which soil counts as hard, in the record's unit (psi or kPa). "
               "Empty: the record's own limit."))
        self.described(QgsProcessingParameterNumber(
            self.REACH, tr("Reach"), QgsProcessingParameterNumber.Type.Double, optional=True,
            minValue=1e-9),
            tr("How deep the tool goes, in or cm: column pan says whether there is one within it. "
               "Empty: the record's greatest tillage depth, else the deepest reading."))
        self.described(QgsProcessingParameterBoolean(
            self.UNITS_CHECKED, tr("Units are checked"), False),
            tr("The pressures look like another unit, and are right all the same."), advanced=True)
        self.described(QgsProcessingParameterVectorDestination(
            self.OBSERVATIONS, tr("Pan at the stops")),
            tr("A point a stop: pan (1, 0 or empty where not known), top, bottom, thickness (in or "
               "cm), peak (psi or kPa), and whether a depth is only known to lie above or below "
               "its figure."))
        self.described(QgsProcessingParameterFileDestination(
            self.ACCOUNT, tr("Account (JSON)"), "JSON (*.json)", optional=True,
            createByDefault=False), tr("What was used, left out and doubted, for the summary."))
        self.addOutput(QgsProcessingOutputNumber("STOPS", tr("Stops")))
        self.addOutput(QgsProcessingOutputNumber("WITH_PAN", tr("Stops with a pan")))
        self.addOutput(QgsProcessingOutputNumber("LEFT_OUT", tr("Insertions left out")))

    def processAlgorithm(self, parameters, context, feedback):
        """Read the profiles, observe, write the points."""
        path = self.parameterAsOutputLayer(parameters, self.OBSERVATIONS, context)
        account_path = self.parameterAsFileOutput(parameters, self.ACCOUNT, context)
        limit, reach = (self.parameterAsDouble(parameters, name, context)
                        if parameters.get(name) is not None else None
                        for name in (self.LIMIT, self.REACH))
        checked = self.parameterAsBool(parameters, self.UNITS_CHECKED, context)
        try:
            record = self.opened_record(parameters, context, feedback,
                                        only=("compaction_readings", "compaction_profile"), end=0.4)
            found = pan_readings(record, limit=limit, units_checked=checked)
            for warning in found.warnings:
                feedback.pushWarning(warning)
            ticker(feedback)(0.5)
            said = made(self.ID, {self.LIMIT: found.limit, self.REACH: reach}, record.sha256)
            with all_beside([path, account_path]) as (aside, account_aside):
                write_vector(aside, driver_of(path), [replace(_layer(found, record, reach),
                                                              made=said)],
                             tick=ticker(feedback, 0.5, 1.0))
                if account_path:
                    write_json(account_aside, {**pan_account(
                        found.pans, found.stops, found.over_table_limit, limit=found.limit,
                        reach_m=_reach_m(found, record, reach),
                        pressure_unit=record.units.pressure, warnings=found.warnings,
                        left_out=found.left_out), "made": said})
                ticker(feedback)(1.0)
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        with_pan = sum(stop.found for stop in found.stops)
        feedback.pushInfo(tr("{stops} stops; {with_pan} met a pan.").format(
            stops=len(found.stops), with_pan=with_pan))
        return {self.OBSERVATIONS: path, self.ACCOUNT: account_path, "STOPS": len(found.stops),
                "WITH_PAN": with_pan, "LEFT_OUT": found.left_out}


def _layer(found, record, reach):
    unit, reach_m = record.units.depth, _reach_m(found, record, reach)
    columns = (Column("stop", WHOLE), Column("insertions", WHOLE), Column("kind", TEXT),
               Column("pan", REAL),
               Column("top", REAL), Column("top_censor", TEXT), Column("bottom", REAL),
               Column("bottom_censor", TEXT), Column("thickness", REAL), Column("error", REAL),
               Column("unit", TEXT), Column("peak", REAL), Column("peak_unit", TEXT))
    rows = []
    for stop in found.stops:
        top, bottom, thickness, error = convert(
            [stop.top_m, stop.bottom_m, stop.thickness_m, np.sqrt(stop.error_variance_m2)],
            "m", unit)
        rows.append([stop.stop, stop.insertions, stop.kind, stop.pan_within(reach_m), top,
                     CENSORING_WORDS[stop.top_censoring], bottom,
                     CENSORING_WORDS[stop.bottom_censoring] if stop.found else "", thickness, error,
                     unit, stop.peak, record.units.pressure])
    return VectorLayer("pan", record.crs_wkt, columns,
                       points_wkb([stop.position_m for stop in found.stops]), rows,
                       tr("Pan at the stops"))


def _reach_m(found, record, reach):
    """How deep the tool goes: as asked, else as the record says, else the deepest reading."""
    reach = record.field["tillage_greatest"] if reach is None else reach
    if reach is None:
        return max(stop.reached_m for stop in found.stops)
    return float(convert(reach, record.units.depth, "m"))
