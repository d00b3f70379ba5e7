"""The algorithm that prints the grower's report of a field call."""
from pathlib import Path

from qgis.core import (
    QgsProcessingAlgorithm,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
)

from ..core.problems import InputProblem, Stopped
from ..record.read import open_record
from ..report.grower_pdf import write_report
from ..report.look import PAPERS
from ..report.main_thread import on_main_thread
from ..report.map_layers import folder_holds_maps
from ..report.summary_shape import read_summary
from .base import SpadeworkAlgorithm, ticker, tr


class GrowerReport(SpadeworkAlgorithm):
    """Prints what a field call found as a PDF for the grower."""

    ID = "growerreport"
    NAME = "Grower's report"
    GROUP = "handover"
    HELP = ("Prints a field call as a PDF for the grower: findings and advice in plain sentences, "
            "key figures, a map for each surface and plan with legend, scale bar and how sure it "
            "is, the zones with their rates and money, settings, sources, every caution, and what "
            "was lacking. Figures are printed as the summary words them; text can be searched.")
    SUMMARY, FOLDER, RECORD, PAGE, PDF = "SUMMARY", "FOLDER", "RECORD", "PAGE", "PDF"
    PAGES = "PAGES"

    def flags(self):
        """Return the flags: run by itself, in the main thread, where a print layout belongs.

        An algorithm that works in the background and calls this one gets the same: the report is
        written on the main thread while it waits.
        """
        return super().flags() | QgsProcessingAlgorithm.Flag.FlagNoThreading

    def initAlgorithm(self, configuration=None):  # noqa: ARG002 - given by Processing
        """Declare the parameters and outputs."""
        self.described(QgsProcessingParameterFile(
            self.SUMMARY, tr("Summary"), QgsProcessingParameterFile.Behavior.File,
            fileFilter=tr("Summary (*.json)")),
            tr("The summary.json that the field call wrote; every figure printed comes from it."))
        self.described(QgsProcessingParameterFile(
            self.FOLDER, tr("Folder of the field call"),
            QgsProcessingParameterFile.Behavior.Folder),
            tr("The folder that holds surfaces, zones.gpkg and observations.gpkg. A map whose "
               "layer is missing is left out, and the report says so."))
        self.described(QgsProcessingParameterFile(
            self.RECORD, tr("Field record"), QgsProcessingParameterFile.Behavior.File,
            fileFilter=tr("GeoPackage (*.gpkg)")),
            tr("The record of the field call: the boundary is drawn from it. It isn't changed."))
        self.described(QgsProcessingParameterEnum(
            self.PAGE, tr("Paper"), options=list(PAPERS), defaultValue=0),
            tr("A4 (210 by 297 mm) or US Letter (8.5 by 11 in)."))
        self.described(QgsProcessingParameterFileDestination(
            self.PDF, tr("Report"), fileFilter=tr("PDF (*.pdf)")),
            tr("The PDF to write. After a failure or a cancel no file is left."))
        self.addOutput(QgsProcessingOutputNumber(self.PAGES, tr("Number of pages")))

    def checkParameterValues(self, parameters, context):
        """Refuse a summary of another shape, a folder without layers and an unusable record."""
        summary = self.parameterAsFile(parameters, self.SUMMARY, context)
        folder = self.parameterAsFile(parameters, self.FOLDER, context)
        record = self.parameterAsFile(parameters, self.RECORD, context)
        told = {}
        try:
            if summary:
                told = read_summary(summary)
            units = open_record(record, only=()).units.name if record else None
        except InputProblem as problem:
            return False, str(problem)
        if told and record and told["units"] != units:
            return False, tr("{summary} is in {one} units, {record} in {other}: they are not of "
                             "one field call. Choose the record that the field call was made "
                             "from.").format(summary=Path(summary).name, one=told["units"],
                                             record=Path(record).name, other=units)
        needs_maps = not (told.get("seen") or told.get("soil"))
        if folder and needs_maps and not folder_holds_maps(folder):
            return False, tr("{folder} holds no layers to draw: neither surfaces/*.tif nor "
                             "zones.gpkg nor observations.gpkg. Choose the folder that the field "
                             "call wrote.").format(folder=folder)
        return super().checkParameterValues(parameters, context)

    def processAlgorithm(self, parameters, context, feedback):
        """Write the report; return its path and its number of pages."""
        path = self.parameterAsFileOutput(parameters, self.PDF, context)
        try:
            summary = read_summary(self.file_parameter(parameters, self.SUMMARY, context))
            record = self.opened_record(parameters, context, feedback)
            folder = self.file_parameter(parameters, self.FOLDER, context)
            paper = list(PAPERS)[self.parameterAsEnum(parameters, self.PAGE, context)]
            pages = on_main_thread(lambda: write_report(
                path, summary, folder=folder, boundary_wkb=record.boundary_wkb,
                crs_wkt=record.crs_wkt, paper=paper, photos=Path(record.path).parent,
                tick=ticker(feedback)))
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        feedback.pushInfo(tr("{name}: {pages} pages.").format(name=Path(path).name, pages=pages))
        return {self.PDF: path, self.PAGES: pages}
