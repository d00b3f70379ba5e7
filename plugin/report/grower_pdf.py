"""The grower's report as a PDF file: whole at its path, or not there at all."""
import os
import tempfile
from functools import partial
from pathlib import Path

from qgis.core import Qgis, QgsLayoutExporter, QgsLayoutItem, QgsProject

from ..core.problems import InputProblem
from .causes_section import draw_causes
from .findings import draw_findings
from .look import PAPERS
from .map_layers import FolderMaps
from .phrases import PLANS
from .plan_section import draw_plan
from .sections import draw_method, draw_pan, draw_stand, draw_yields
from .seen_section import draw_seen
from .sheet import Sheet
from .soil_section import draw_soil
from .words import text_of, tr

_DPI = 300.0


def write_report(path, summary, *, folder, boundary_wkb, crs_wkt, paper="A4", photos=None,
                 tick=None):
    """Write the report of one field call and return its number of pages.

    The file is written beside its place and renamed at the end; a failure or a cancel leaves
    what was there before. Everything drawn lives in a project of its own, made and dropped in
    the thread that calls.

    Parameters
        path          the PDF to write
        summary       dict in the shape that read_summary checks
        folder        folder with surfaces/, zones.gpkg and observations.gpkg; some may lack
        boundary_wkb  the field, WKB in crs_wkt
        crs_wkt       the field's CRS, in metres
        paper         "A4" or "Letter"
        photos        folder below which the photos lie; None prints none
        tick          called with the fraction done; may raise Stopped
    Raises   InputProblem: unknown paper, unusable layer or boundary, or the file cannot be written
    """
    if paper not in PAPERS:
        raise InputProblem(tr("{paper} is not a paper size of the report; choose {known}.").format(
            paper=paper, known=", ".join(PAPERS)))
    path = Path(path)
    tick = tick or _no_tick
    project = QgsProject()
    maps = FolderMaps(project, folder=folder, boundary_wkb=boundary_wkb, crs_wkt=crs_wkt,
                      units=summary["units"])
    try:
        sheet = compose(project, summary, maps, paper=paper, photos=photos, tick=tick)
        with tempfile.TemporaryDirectory(prefix=".report", dir=path.parent) as beside:
            written = Path(beside) / "report.pdf"
            export_pdf(sheet, str(written), lambda part: tick(0.5 + 0.5 * part))
            os.replace(written, path)
        return sheet.page + 1
    except OSError as error:
        raise InputProblem(tr("The report cannot be written to {path}: {error}. Choose another "
                              "place, or close the file where it is open.").format(
            path=path, error=error)) from error
    finally:
        maps.close()


def compose(project, summary, maps, *, paper="A4", photos=None, tick=None):
    """Return the filled Sheet of the report; its layout belongs to `project`, as do the maps."""
    tick = tick or _no_tick
    field, made = summary["field"], summary["made"]
    _describe(project, field)
    sheet = Sheet(
        project, PAPERS[paper], running=field["name"],
        tick=lambda _: tick(min(sheet.page / 80.0, 0.5)),
        visited=tr("Visited {date}").format(date=text_of(field.get("visited"))),
        foot=f"{text_of(made.get('program'))} {made.get('version') or ''}".strip())
    draw_findings(sheet, summary)
    if summary["stand"]:
        draw_stand(sheet, summary, maps)
    if summary["pan"]:
        draw_pan(sheet, summary, maps)
    if summary.get("seen"):
        draw_seen(sheet, summary["seen"], photos)
    if summary.get("soil"):
        draw_soil(sheet, summary["soil"])
    if summary.get("findings"):
        draw_causes(sheet, summary["findings"])
    for key in PLANS:
        if summary.get(key):
            draw_plan(sheet, summary, maps, key)
    draw_yields(sheet, summary, maps)
    draw_method(sheet, summary)
    sheet.finish()
    tick(0.5)
    return sheet


def _describe(project, field):
    metadata = project.metadata()
    metadata.setTitle(tr("Field report: {name}").format(name=field["name"]))
    project.setMetadata(metadata)


def export_pdf(sheet, path, tick):
    """Write the finished pages of a Sheet as a PDF of vectors whose text can be searched.

    QGIS writes all pages in one call that nothing can break off. After a page on which `tick`
    raises, what is left is left out of the pages to come, so that the call soon ends.

    Parameters
        tick  called with the fraction done after each page; may raise Stopped, and what is written
              is then no report
    Raises   InputProblem: QGIS could not write it
    """
    settings = QgsLayoutExporter.PdfExportSettings()
    settings.dpi = _DPI
    settings.rasterizeWholeImage = False
    settings.forceVectorOutput = True
    settings.textRenderFormat = Qgis.TextRenderFormat.AlwaysText  # text that can be searched
    settings.appendGeoreference = False  # GDAL would write files of its own beside the report
    raised = []
    for number, item in enumerate(sheet.printed, start=1):
        item.painted = partial(_look, tick, number / len(sheet.printed), sheet.layout, raised)
    result = QgsLayoutExporter(sheet.layout).exportToPdf(path, settings)
    if raised:
        raise raised[0]
    if result != QgsLayoutExporter.ExportResult.Success:
        raise InputProblem(tr("QGIS could not write the PDF ({result}). Choose another place, "
                              "and see that the disk has room.").format(result=result))
    tick(1.0)


def _look(tick, fraction, layout, raised):
    """Tick; keep what it raises in a list, and leave all items of the layout out from now on."""
    if raised:
        return
    try:
        tick(fraction)
    except BaseException as error:  # noqa: BLE001 - Qt's own code lets none through
        raised.append(error)
        for item in layout.items():
            if isinstance(item, QgsLayoutItem):
                item.setExcludeFromExports(True)


def _no_tick(_fraction):
    return None
