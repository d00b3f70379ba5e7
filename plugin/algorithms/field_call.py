"""fieldcall: everything a record's readings support, from observations to the grower's report."""
from pathlib import Path

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsProcessingException,
    QgsProcessingMultiStepFeedback,
    QgsProcessingOutputFile,
    QgsProcessingOutputString,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFile,
    QgsProcessingParameterFolderDestination,
    QgsProcessingParameterNumber,
)

from ..core.problems import InputProblem, Stopped
from ..layers.rasters import without_side_files
from ..layers.whole_folder import refuse_folder, whole_folder
from ..report.look import PAPERS
from .base import SpadeworkAlgorithm, tr
from .drift_parameters import (
    COVARIATES,
    DRIFT,
    describe_drift,
    layer_elsewhere,
    layers_followed,
)
from .field_call_steps import STEPS, FieldCallWork

PAGES = tuple(PAPERS)


class FieldCall(SpadeworkAlgorithm):
    """The whole road for one record."""
    ID, NAME, GROUP = "fieldcall", "Field call: everything the record supports", "handover"
    HELP = ("Takes a field record from readings to hand-over: the stand and the pan at the stops, "
            "their surfaces, the yields of earlier seasons, what was seen, zones, the plans of "
            "replanting, tillage, sidedressing and lime, rate files, the grower's report, a "
            "summary of every figure and a project that opens. What the record does not support is "
            "left out and named. The folder is written whole or not at all; the record is not "
            "changed. Plans defer to local extension advice; have buried utilities located before "
            "deep tillage.")
    RECORD, OUTPUT_FOLDER, PAGE = "RECORD", "OUTPUT_FOLDER", "PAGE"
    CELL, REPLACE, UNITS_CHECKED = "CELL", "REPLACE", "UNITS_CHECKED"

    def initAlgorithm(self, configuration=None):
        """Declare the record, the folder, paper and cell."""
        self.described(QgsProcessingParameterFile(self.RECORD, tr("Field record"),
                                                  extension="gpkg"),
                       tr("The GeoPackage of the field call. It is not changed."))
        self.described(QgsProcessingParameterFolderDestination(
            self.OUTPUT_FOLDER, tr("Folder for the results")),
            tr("A folder that is not there yet, or is empty."))
        self.described(QgsProcessingParameterEnum(self.PAGE, tr("Paper"), list(PAGES),
                                                  defaultValue=0), tr("Paper of the report."))
        self.described(QgsProcessingParameterNumber(
            self.CELL, tr("Cell"), QgsProcessingParameterNumber.Type.Double, 5.0, minValue=0.5),
            tr("Side of a cell of the surfaces, metres."))
        self.described(QgsProcessingParameterBoolean(self.REPLACE, tr("Replace earlier results"),
                                                     False),
                       tr("Results of an earlier field call in that folder are given up for "
                          "these."))
        describe_drift(self)
        self.described(QgsProcessingParameterBoolean(
            self.UNITS_CHECKED, tr("Units are checked"), False),
            tr("The pressures look like another unit, psi or kPa, and are right all the same."),
            advanced=True)
        self.addOutput(QgsProcessingOutputFile("REPORT", tr("Report")))
        self.addOutput(QgsProcessingOutputFile("SUMMARY", tr("Summary")))
        self.addOutput(QgsProcessingOutputFile("PROJECT", tr("Project")))
        self.addOutput(QgsProcessingOutputString("LACKING", tr("What could not be done")))

    def checkParameterValues(self, parameters, context):
        """Refuse a folder that holds something else, or earlier results not to be replaced."""
        sound, why = super().checkParameterValues(parameters, context)
        if not sound:
            return sound, why
        folder = self.parameterAsFileOutput(parameters, self.OUTPUT_FOLDER, context)
        refused = refuse_folder(folder, replace=self.parameterAsBool(
            parameters, self.REPLACE, context)) if Path(folder).is_absolute() else ""
        return not refused, refused

    def prepareAlgorithm(self, parameters, context, feedback):
        """Find the layers that values follow, in the thread in which the project's layers live."""
        self._followed = layers_followed(self, parameters, context)
        return super().prepareAlgorithm(parameters, context, feedback)

    def processAlgorithm(self, parameters, context, feedback):
        """Run every step in a folder beside the one asked for, then put it in its place."""
        folder = Path(self.parameterAsFileOutput(parameters, self.OUTPUT_FOLDER,
                                                 context)).absolute()
        refused = refuse_folder(folder, replace=self.parameterAsBool(parameters, self.REPLACE,
                                                                     context))
        if refused:
            raise QgsProcessingException(refused)
        try:
            record = self.opened_record(parameters, context, feedback)
            elsewhere = layer_elsewhere(
                self._followed, QgsCoordinateReferenceSystem.fromWkt(record.crs_wkt),
                Path(record.path).name)
            if elsewhere:
                raise InputProblem(elsewhere)
            with without_side_files(), whole_folder(folder) as work_folder:
                lacking = self._work(record, work_folder, parameters, context, feedback)
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        return {self.OUTPUT_FOLDER: str(folder), "REPORT": str(folder / "report.pdf"),
                "SUMMARY": str(folder / "summary.json"), "PROJECT": str(folder / "project.qgz"),
                "LACKING": "\n".join(lacking)}

    def _work(self, record, folder, parameters, context, feedback):
        steps = QgsProcessingMultiStepFeedback(len(STEPS), feedback)
        work = FieldCallWork(
            record=record, folder=folder, context=context, feedback=steps,
            cell_m=self.parameterAsDouble(parameters, self.CELL, context),
            page=self.parameterAsEnum(parameters, self.PAGE, context),
            mean={DRIFT: self.parameterAsEnum(parameters, DRIFT, context),
                  COVARIATES: [layer.path for layer in self._followed]},
            units_checked=self.parameterAsBool(parameters, self.UNITS_CHECKED, context))
        for number, (words, step) in enumerate(STEPS):
            work.look()
            work.begin(number)
            feedback.setProgressText(tr(words))
            step(work)
        work.look()
        feedback.setProgress(100.0)
        for sentence in work.lacking:
            feedback.pushWarning(sentence)
        return work.lacking
