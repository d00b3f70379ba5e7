"""The work order of a plan's rate files as a PDF of one page."""
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsFeature,
    QgsGeometry,
    QgsProject,
    QgsVectorLayer,
)

from ..core.deliver.work_order import area_unit_of, span_text
from ..core.problems import InputProblem
from . import look
from .grower_pdf import export_pdf
from .maps import LegendEntry, MapBlock
from .polygon_style import BEYOND, IDLE, label_zones, paint_plan, plan_symbols
from .sheet import Sheet
from .tables import draw_pairs, draw_table
from .words import NOTHING, capital, tr

_MOST_COLOURS = 6  # rates told apart on the map; more go into classes
_MOST_LABELS = 40  # zones numbered on the map
_LEAST_ROWS = 3
_READABLE = 50.0  # mm: the page shows which zone is where, the controller the rest
_SIZES = (8.0, 7.0, 6.5)  # points of the small print
_KEY = "work"


def write_work_order(path, order, zones, *, paper, made, tick=None):
    """Write a WorkOrder as a PDF of one page.

    What is too much for the page is printed smaller; then, of the table of zones, the rows with the
    highest rates, and how many more there are.

    Parameters
        path   the PDF; made as it is, so give a path beside the final one
        order  WorkOrder
        zones  RateZones, in the controller's unit
        paper  a look.Paper
        made   dict of program, version and time
        tick   called with the fraction done; may raise Stopped
    Raises   InputProblem: QGIS could not write it
    """
    tick = tick or (lambda fraction: None)
    for size, most_rows in _attempts(len(order.rows)):
        tick(0.0)
        project = QgsProject()
        try:
            sheet = _compose(project, order, zones, paper, made, size, most_rows)
            if sheet.page == 0:
                export_pdf(sheet, str(path), tick)
                return
        finally:
            project.clear()
    raise InputProblem(tr("The work order does not fit on one page. Write fewer formats at a time, "
                          "or give the field a shorter name."))


def _attempts(rows):
    """Yield (points of the small print, rows of the table), the best first."""
    yield from ((size, rows) for size in _SIZES)
    while rows > _LEAST_ROWS:
        rows = max(min(rows - 1, rows * 3 // 4), _LEAST_ROWS)
        yield _SIZES[-1], rows


def _compose(project, order, zones, paper, made, size, most_rows):
    sheet = Sheet(
        project, paper, running=order.title, tick=lambda _: None,
        visited=tr("Written {date}").format(date=made["at"][:10]),
        foot=f"{made['program']} {made['version']}, {made['at']}")
    pieces = [
        lambda on: _draw_zones(on, order.rows, most_rows),
        lambda on: draw_pairs(on, order.facts),
        lambda on: draw_table(on, [tr("File"), tr("What it holds"), tr("Where it goes")],
                              order.files, styles=lambda _: look.CELL.smaller(size)),
        lambda on: _draw_words(on, order, look.Type(size))]
    sheet.paragraph(order.title, look.TITLE, after=0.6)
    sheet.paragraph(order.headline, look.LEAD)
    block = _map(project, zones)
    block.draw(sheet, most=sheet.room - sum(map(sheet.height_of, pieces)))
    for piece in pieces:
        piece(sheet)
    sheet.finish()
    return sheet


def _draw_zones(sheet, rows, most):
    totals = any(row.total for row in rows)
    titles = [tr("Zones"), tr("Action"), tr("Rate"), tr("Area"), *([tr("Total")] if totals else [])]
    cells = [[row.zones, capital(tr(row.action)) or NOTHING, row.rate, row.area,
              *([row.total] if totals else [])] for row in rows[:most]]
    draw_table(sheet, titles, cells, right=tuple(range(2, len(titles))))
    if len(rows) > most:
        sheet.paragraph(tr("And {count} more, with lower rates: see the files.").format(
            count=len(rows) - most), look.NOTE)


def _draw_words(sheet, order, style):
    sheet.subheading(tr("Checked, and to mind"))
    *cautions, note = order.cautions
    sheet.bullets([order.check, *cautions], style)
    sheet.paragraph(note, look.NOTE_ITALIC, after=0.0)


def _map(project, zones):
    crs = QgsCoordinateReferenceSystem.fromWkt(zones.metres_wkt)
    project.setCrs(crs)
    keys, works, texts = _classes(zones.rows)
    layer = _layer(zones, crs, keys)
    project.addMapLayer(layer, False)
    symbols = plan_symbols(works)
    paint_plan(layer, {str(number): symbols[work].clone() for number, work in enumerate(works)},
               _KEY)
    if len(zones.rows) <= _MOST_LABELS:
        label_zones(layer, "zone")
    unit = zones.rows[0].unit
    return MapBlock(
        identifier="work_order", layers=[layer], extent=layer.extent(), crs=crs,
        length="ft" if area_unit_of(unit) == "ac" else "m",
        entries=[LegendEntry(symbols[work], text) for work, text in zip(works, texts)],
        caption=tr("Rates in {unit}; numbers are zones.").format(unit=unit), readable=_READABLE)


def _layer(zones, crs, keys):
    layer = QgsVectorLayer(f"MultiPolygon?field=zone:integer&field={_KEY}:string", "zones",
                           "memory")
    layer.setCrs(crs)
    features = []
    for row, wkb, key in zip(zones.rows, zones.measured_shapes(), keys):
        feature, geometry = QgsFeature(layer.fields()), QgsGeometry()
        geometry.fromWkb(wkb)
        feature.setGeometry(geometry)
        feature.setAttributes([row.zone, str(key)])
        features.append(feature)
    layer.dataProvider().addFeatures(features)
    layer.updateExtents()
    return layer


def _classes(rows):
    """Return the number of each row's class, and of each class (action, rate) and its text.

    Rates at work share a class with their neighbours where there are more than the map can tell
    apart; ground where nothing is done has a class for each action.
    """
    unit = rows[0].unit
    busy = sorted({row.rate for row in rows if row.rate > 0})
    size = -(-len(busy) // _MOST_COLOURS)
    spans = [busy[first:first + size] for first in range(0, len(busy), max(size, 1))]
    idle = sorted({row.action for row in rows if row.rate == 0})
    works = [(action if action == BEYOND else IDLE[0], 0.0) for action in idle]
    works += [("", span[0]) for span in spans]
    texts = [tr("{action}: rate 0").format(action=capital(tr(action or NOTHING)))
             for action in idle]
    texts += [span_text(span[0], span[-1], unit) for span in spans]
    place = {rate: len(idle) + number for number, span in enumerate(spans) for rate in span}
    keys = [place[row.rate] if row.rate > 0 else idle.index(row.action) for row in rows]
    return keys, works, texts
