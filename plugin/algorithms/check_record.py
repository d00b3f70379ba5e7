"""checkrecord: what is doubtful about the readings of a record; nothing in it is changed."""
import datetime

from qgis.core import (
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterVectorDestination,
)

from ..core.check.flag import KINDS, counts_by_kind
from ..core.problems import InputProblem, Stopped
from ..layers.beside import all_beside
from ..layers.json_files import write_json
from ..layers.vectors import POINT, TEXT, WHOLE, Column, VectorLayer, points_wkb, write_vector
from ..record.record_checks import CHECKED, record_flags
from .base import SpadeworkAlgorithm, driver_of, ticker, tr
from .made import made


class CheckRecord(SpadeworkAlgorithm):
    """Flags of what is doubtful in a record."""
    ID, NAME, GROUP = "checkrecord", "Check a field record", "record"
    HELP = ("Looks for what is doubtful before anything is mapped: readings outside the field or "
            "without a place, rows entered twice, impossible and unlikely values by crop and unit, "
            "depths in the other unit, plants per acre typed as plants counted, penetrometer dials "
            "read on the scale of the other cone, mixed cones, dry soil, nitrate from cores that "
            "are not 12 in (30 cm) deep, isolated outliers, missing dates, too few readings for a "
            "map, and stops in clusters. Each flag says what, why and what to do. A flag asks; the "
            "record is not changed, and a flagged reading may well be right. Limits of values are "
            "this program's own choice after common practice. Harvest records are judged by Clean "
            "yield records. Clusters: Clark and Evans (1954), Ecology 35:445-453, with Donnelly's "
            "(1978) correction of the edge.")
    RECORD, FLAGS, ACCOUNT = "RECORD", "FLAGS", "ACCOUNT"

    def initAlgorithm(self, configuration=None):
        """Declare the record, the flags, and a count for each kind."""
        self.described(QgsProcessingParameterFile(self.RECORD, tr("Field record"),
                                                  extension="gpkg"),
                       tr("The GeoPackage of the field call. It is not changed."))
        self.described(QgsProcessingParameterVectorDestination(self.FLAGS, tr("Flags")),
                       tr("A row a flag: kind, layer and row of the record, what, why, what to do; "
                          "with a point where the reading has one."))
        self.described(QgsProcessingParameterFileDestination(
            self.ACCOUNT, tr("Account (JSON)"), "JSON (*.json)", optional=True,
            createByDefault=False), tr("Count and name of each kind, for the summary."))
        self.addOutput(QgsProcessingOutputNumber("FOUND", tr("Flags")))
        for kind, title in KINDS.items():
            self.addOutput(QgsProcessingOutputNumber(kind.upper(), tr(title)))

    def processAlgorithm(self, parameters, context, feedback):
        """Read the record, check, write the flags."""
        path = self.parameterAsOutputLayer(parameters, self.FLAGS, context)
        driver = driver_of(path)
        account_path = self.parameterAsFileOutput(parameters, self.ACCOUNT, context)
        tick = ticker(feedback)
        try:
            record = self.opened_record(parameters, context, feedback, only=CHECKED, end=0.3)
            tick(0.3)
            flags = record_flags(record, today=datetime.date.today())
            counts = counts_by_kind(flags)
            with all_beside([path, account_path]) as (aside, account_aside):
                write_vector(aside, driver, [_layer(flags, record, made(self.ID, {},
                                                                        record.sha256))],
                             tick=ticker(feedback, 0.9, 1.0))
                if account_path:
                    write_json(account_aside, {"flags": len(flags), "kinds": [
                        {"kind": kind, "title": KINDS[kind], "count": count}
                        for kind, count in counts.items() if count]})
                tick(1.0)
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        for kind, count in counts.items():
            if count:
                feedback.pushInfo(tr("{title}: {count}").format(title=tr(KINDS[kind]),
                                                                count=count))
        feedback.pushInfo(tr("{count} flags; nothing in the record was changed.").format(
            count=len(flags)))
        return {self.FLAGS: path, self.ACCOUNT: account_path, "FOUND": len(flags),
                **{kind.upper(): count for kind, count in counts.items()}}


def _layer(flags, record, how):
    columns = (Column("kind", TEXT, width=20), Column("title", TEXT, width=40),
               Column("layer", TEXT, width=30), Column("row", WHOLE),
               Column("what", TEXT, width=254), Column("why", TEXT, width=254),
               Column("remedy", TEXT, width=254))
    places = [None if flag.position_m is None else points_wkb([flag.position_m])[0]
              for flag in flags]
    rows = [[flag.kind, tr(KINDS[flag.kind]), flag.layer, flag.fid, flag.what, flag.why,
             flag.remedy] for flag in flags]
    return VectorLayer("flags", record.crs_wkt, columns, places, rows, tr("Flags"), how, POINT)
