"""The Processing provider: the list of Spadework's algorithms, and what they need to run."""
from importlib.util import find_spec
from pathlib import Path

from qgis.core import QgsProcessingException, QgsProcessingProvider
from qgis.PyQt.QtGui import QIcon

from .base import SpadeworkAlgorithm, tr

ICON = Path(__file__).parents[1] / "gui" / "spadework.svg"

# Every algorithm's id, known without importing one: a missing package must not hide them.
IDS = (
    "newrecord",
    "placereadings",
    "checkrecord",
    "planstops",
    "importreadings",
    "standatstops",
    "panatinsertions",
    "cleanyield",
    "rowunittest",
    "soilatprobes",
    "scouting",
    "surface",
    "chancemap",
    "nextstops",
    "zonesbylimits",
    "zonesbylikeness",
    "replantplan",
    "tillageplan",
    "sidedressplan",
    "limeplan",
    "findings",
    "ratefile",
    "growerreport",
    "fieldcall",
)


def lacking():
    """Return what is missing before any algorithm can run, in one sentence, or "" if nothing is.

    QGIS brings numpy; on some systems, Debian among them, it does not bring scipy.
    """
    if find_spec("scipy") is not None:
        return ""
    return tr("The Python package scipy is missing. Install it (Debian: apt install "
              "python3-scipy), then restart QGIS.")


def algorithm_classes():
    """Return the class of every algorithm; imported when called, because core needs scipy."""
    from .chance_map import ChanceMap
    from .check_record import CheckRecord
    from .clean_yield import CleanYield
    from .field_call import FieldCall
    from .findings import FindingsAlgorithm
    from .grower_report import GrowerReport
    from .import_readings import ImportReadings
    from .lime_plan import LimePlan
    from .new_record import NewRecord
    from .next_stops import NextStops
    from .pan_at_insertions import PanAtInsertions
    from .place_readings import PlaceReadings
    from .plan_stops import PlanStops
    from .rate_file import RateFile
    from .replant_plan import ReplantPlan
    from .row_unit_test import RowUnitTest
    from .scouting import Scouting
    from .sidedress_plan import SidedressPlan
    from .soil_at_probes import SoilAtProbes
    from .stand_at_stops import StandAtStops
    from .surface import SurfaceAlgorithm
    from .tillage_plan import TillagePlan
    from .zones_by_likeness import ZonesByLikeness
    from .zones_by_limits import ZonesByLimits

    return (
        NewRecord,
        PlaceReadings,
        CheckRecord,
        PlanStops,
        ImportReadings,
        StandAtStops,
        PanAtInsertions,
        CleanYield,
        RowUnitTest,
        SoilAtProbes,
        Scouting,
        SurfaceAlgorithm,
        ChanceMap,
        NextStops,
        ZonesByLimits,
        ZonesByLikeness,
        ReplantPlan,
        TillagePlan,
        SidedressPlan,
        LimePlan,
        FindingsAlgorithm,
        RateFile,
        GrowerReport,
        FieldCall,
    )


class WithoutScipy(SpadeworkAlgorithm):
    """Keeps an algorithm's id while scipy is missing and says so, whatever way it is started."""
    GROUP = "record"
    HELP = ("Spadework computes with the Python package scipy. Install it (on Debian and Ubuntu: "
            "apt install python3-scipy) and start QGIS again.")

    def __init__(self, algorithm_id):
        super().__init__()
        self.ID = algorithm_id
        self.NAME = f"{algorithm_id} (needs scipy)"

    def createInstance(self):
        """Return another one for the same id."""
        return WithoutScipy(self.ID)

    def initAlgorithm(self, configuration=None):
        """Ask for nothing."""

    def canExecute(self):
        """Return False with the sentence that says what to install."""
        return False, lacking()

    def checkParameterValues(self, parameters, context):
        """Refuse any parameters with the same sentence."""
        return False, lacking()

    def processAlgorithm(self, parameters, context, feedback):
        """Refuse with the same sentence."""
        raise QgsProcessingException(lacking())


class SpadeworkProvider(QgsProcessingProvider):
    """All of Spadework's algorithms, under the id `spadework`."""

    def id(self):
        """Return the first part of every algorithm's id."""
        return "spadework"

    def name(self):
        """Return the name shown in the toolbox."""
        return tr("Spadework")

    def icon(self):
        """Return the spade blade."""
        return QIcon(str(ICON))

    def svgIconPath(self):
        """Return the path of the spade blade, for lists that draw it at their own size."""
        return str(ICON)

    def warningMessage(self):
        """Return what is missing, for the toolbox to show, or an empty text."""
        return lacking()

    def loadAlgorithms(self):
        """Add every algorithm; while a package is missing, ones that say which."""
        made = (WithoutScipy(one) for one in IDS) if lacking() else (
            one() for one in algorithm_classes())
        for algorithm in made:
            self.addAlgorithm(algorithm)
