"""The field sheet: a map of the stops, their list, and blanks for the readings, to take along."""
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

from qgis.core import QgsProject

from ..core.problems import InputProblem
from . import look
from .field_sheet_blanks import draw_blanks
from .field_sheet_map import map_of_stops
from .grower_pdf import export_pdf
from .sheet import Sheet
from .tables import draw_table
from .type_setting import width_mm
from .words import tr

_LINE = 0.2  # mm


@dataclass(frozen=True)
class SheetStops:
    """What the field sheet says of the stops, in the order they are taken.

    stops_m, legs, back, length   places (n, 2) in metres; ways in the sheet's unit of length
    degrees    (n, 2) longitude and latitude, WGS 84
    strata     (n,) stratum of each, or None where there are none
    start_m    where the walk begins, or None
    """
    stops_m: object
    degrees: object
    legs: object
    back: float
    length: float
    strata: object = None
    start_m: tuple = None


def write_field_sheet(path, stops, *, title, boundary_wkb, ground_wkb, crs_wkt, units, readings,
                      paper="A4", tick=None):
    """Write the field sheet as a PDF, whole or not at all; return its number of pages.

    Parameters
        path          the PDF
        stops         SheetStops
        title         name of the field, "" for a line to write it on
        boundary_wkb  the field, metres
        ground_wkb    the part of it in which stops may lie
        crs_wkt       of both
        units         core.units.UnitSystem of the blanks
        readings      layers of the record that readings are taken for, keys of BLANKS
        paper         a key of look.PAPERS
        tick          called with the fraction done; may raise Stopped
    Raises   InputProblem: the file cannot be written
    """
    path, tick = Path(path), tick or _no_tick
    project = QgsProject()
    try:
        sheet = Sheet(project, look.PAPERS[paper], running=title or tr("Field sheet"),
                      visited=tr("Field sheet"), foot="Spadework",
                      tick=lambda _: tick(0.0))
        _draw_head(sheet, title)
        map_of_stops(project, stops, boundary_wkb, ground_wkb, crs_wkt, units).draw(sheet)
        _draw_list(sheet, stops, units)
        for number, name in enumerate(readings, 1):
            tick(0.5 * number / (len(readings) + 1))
            draw_blanks(sheet, name, len(stops.stops_m), units)
        sheet.finish()
        with tempfile.TemporaryDirectory(prefix=".sheet", dir=path.parent) as beside:
            written = Path(beside) / "sheet.pdf"
            export_pdf(sheet, str(written), lambda part: tick(0.5 + 0.5 * part))
            os.replace(written, path)
        return sheet.page + 1
    except OSError as error:
        raise InputProblem(tr("The field sheet cannot be written to {path}: {error}. Choose "
                              "another place, or close the file where it is open.").format(
            path=path, error=error)) from error
    finally:
        project.clear()


def _draw_head(sheet, title):
    sheet.box(sheet.left, sheet.y, sheet.width, 1.2, look.ACCENT)
    sheet.y += 3.4
    sheet.paragraph(tr("FIELD SHEET"), look.KICKER, after=0.4)
    if title:
        sheet.paragraph(title, look.TITLE, after=1.0)
    asked = [tr("Date"), tr("Taken by"), tr("Soil moisture"), tr("Weather")]
    if not title:
        asked.insert(0, tr("Field"))
    wide = sheet.width / len(asked)
    sheet.y += 3.0
    for number, words in enumerate(asked):
        x = sheet.left + number * wide
        sheet.line(words, look.NOTE, x, sheet.y, wide)
        start = x + width_mm(words, look.NOTE) + 1.5
        sheet.box(start, sheet.y + 4.2, x + wide - start - 3.0, _LINE, look.INK)
    sheet.y += 8.0


def _draw_list(sheet, stops, units):
    titles = [tr("Stop"), tr("Longitude"), tr("Latitude"), tr("Easting (m)"), tr("Northing (m)"),
              tr("From the one before ({unit})").format(unit=units.length)]
    rows = []
    for number, (place, degrees, leg) in enumerate(zip(stops.stops_m, stops.degrees, stops.legs)):
        rows.append([str(number + 1), f"{degrees[0]:.6f}", f"{degrees[1]:.6f}", f"{place[0]:.0f}",
                     f"{place[1]:.0f}", f"{leg:,.0f}" if leg else ""])
    if stops.strata is not None:
        titles.append(tr("Stratum"))
        for row, stratum in zip(rows, stops.strata):
            row.append(str(stratum))
    draw_table(sheet, titles, rows, right=tuple(range(1, len(titles))),
               heading=tr("Stops in the order of the walk, WGS 84 and the field's grid"))


def _no_tick(_fraction):
    return None
