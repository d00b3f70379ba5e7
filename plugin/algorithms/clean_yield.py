"""cleanyield: yield-monitor records fit to be mapped, and those left out with their reason."""
from dataclasses import replace
from itertools import repeat

import numpy as np
from qgis.core import (
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterNumber,
    QgsProcessingParameterVectorDestination,
)

from ..core.deliver.observed import yield_account
from ..core.observe.yield_points import KEPT, REASONS, clean_yield
from ..core.problems import InputProblem, Stopped
from ..layers.beside import all_beside
from ..layers.boundary import inside_mask
from ..layers.json_files import write_json
from ..layers.vectors import REAL, TEXT, Column, VectorLayer, points_wkb, write_vector
from ..record.yield_readings import yield_readings
from .base import SpadeworkAlgorithm, driver_of, ticker, tr
from .made import made


class CleanYield(SpadeworkAlgorithm):
    """The yield records of one season, cleaned."""
    ID, NAME, GROUP = "cleanyield", "Clean yield records", "observe"
    HELP = ("Leaves out the yield records that say more of the machine than of the crop: without "
            "yield, outside the field, at the start and end of a pass, on a narrow swath, at a "
            "sudden change of speed, with moisture or yield out of range, far from the mean, or "
            "unlike their neighbours. Each record left out is written with its reason; the record "
            "itself is not changed. Steps after Simbahan and others (2004) and Sudduth and "
            "Drummond (2007); several limits are this program's own or from memory.")
    RECORD, SEASON = "RECORD", "SEASON"
    CLEANED, REMOVED, ACCOUNT = "CLEANED", "REMOVED", "ACCOUNT"

    def initAlgorithm(self, configuration=None):
        """Declare the record, the season and the outputs."""
        self.described(QgsProcessingParameterFile(self.RECORD, tr("Field record"),
                                                  extension="gpkg"),
                       tr("The GeoPackage of the field call, with yield_points."))
        self.described(QgsProcessingParameterNumber(
            self.SEASON, tr("Season"), QgsProcessingParameterNumber.Type.Integer, minValue=1900,
            maxValue=2200), tr("Year of the harvest."))
        self.described(QgsProcessingParameterVectorDestination(self.CLEANED, tr("Cleaned records")),
                       tr("Records kept: dry yield in bu/ac or t/ha."))
        self.described(QgsProcessingParameterVectorDestination(
            self.REMOVED, tr("Records left out"), optional=True, createByDefault=False),
            tr("Records left out, each with its reason."))
        self.described(QgsProcessingParameterFileDestination(
            self.ACCOUNT, tr("Account (JSON)"), "JSON (*.json)", optional=True,
            createByDefault=False), tr("Records kept and left out by reason, for the summary."))
        self.addOutput(QgsProcessingOutputNumber("KEPT", tr("Records kept")))
        self.addOutput(QgsProcessingOutputNumber("LEFT_OUT", tr("Records left out")))

    def processAlgorithm(self, parameters, context, feedback):
        """Read the season, clean, write what is kept and what is not."""
        path = self.parameterAsOutputLayer(parameters, self.CLEANED, context)
        removed_path = self.parameterAsOutputLayer(parameters, self.REMOVED, context)
        account_path = self.parameterAsFileOutput(parameters, self.ACCOUNT, context)
        season = self.parameterAsInt(parameters, self.SEASON, context)
        try:
            record = self.opened_record(parameters, context, feedback,
                                        only=("yield_points",), end=0.4)
            found = yield_readings(record, season)
            inside = inside_mask(record.boundary_wkb, found.positions_m,
                                 tick=ticker(feedback, 0.4, 0.45))
            reasons = clean_yield(
                found.positions_m, found.yields, inside=inside, passes=found.passes,
                interval_s=found.interval_s, distance_m=found.distance_m, swath_m=found.swath_m,
                moisture=found.moisture, tick=ticker(feedback, 0.45, 0.7))
            kept = reasons == REASONS.index(KEPT)
            said = made(self.ID, {self.SEASON: season}, record.sha256)
            with all_beside([path, removed_path, account_path]) as (aside, removed, account):
                for place, chosen, tick in ((aside, kept, ticker(feedback, 0.7, 0.95)),
                                            (removed, ~kept, ticker(feedback, 0.95, 1.0))):
                    if place:
                        write_vector(place, driver_of(place), [replace(
                            _layer(record, found, reasons, chosen, tick), made=said)], tick=tick)
                if account:
                    write_json(account, {**yield_account(season, found.unit, found.yields,
                                                         reasons), "made": said})
                ticker(feedback)(1.0)
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        for number, reason in enumerate(REASONS):
            count = np.count_nonzero(reasons == number)
            if count:
                feedback.pushInfo(tr("{reason}: {count}").format(reason=reason, count=count))
        return {self.CLEANED: path, self.REMOVED: removed_path, self.ACCOUNT: account_path,
                "KEPT": int(kept.sum()), "LEFT_OUT": int((~kept).sum())}


def _layer(record, found, reasons, chosen, tick):
    columns = (Column("yield", REAL), Column("unit", TEXT), Column("reason", TEXT))
    shown = chosen & np.isfinite(found.positions_m).all(axis=1)
    tick(0.0)
    rows = list(zip(found.yields[shown].tolist(), repeat(found.unit),
                    np.array(REASONS, object)[reasons[shown]].tolist()))
    tick(0.0)
    places = points_wkb(found.positions_m[shown])
    tick(0.0)
    return VectorLayer(f"yield_{found.season}", record.crs_wkt, columns, places, rows)
