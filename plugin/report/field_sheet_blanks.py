"""The blanks of a field sheet: a table a kind of reading, a row a stop, to write in."""
from dataclasses import dataclass

from ..record.schema import layer_spec, title_with_unit
from . import look
from .type_setting import wrapped
from .words import tr

_ROW = 8.5  # mm of a row to write in
_PAD = 1.2
_LINE = 0.2


@dataclass(frozen=True)
class Blank:
    """A column to write in: its title, and how wide it is beside the others."""
    title: str
    width: float


def _of_layer(layer, units, *columns):
    """Blanks for columns of the record, titled as in its forms; (name, width) each."""
    spec = layer_spec(layer)
    return [Blank(title_with_unit(spec.column(name), units, ""), width)
            for name, width in columns]


def _depths(units):
    """The depths at which a gauge is read: every notch of a rod, or every 10 cm."""
    return [3, 6, 9, 12, 15, 18] if units.name == "us" else [10, 20, 30, 40, 50, 60]


def _stand_blanks(units):
    return _of_layer("stand_counts", units, ("method", 2.2), ("length", 1.4), ("rows", 1.0),
                     ("plants", 1.4), ("evenness", 1.5), ("leaf_collars", 1.2), ("note", 4))


def _seed_blanks(units):
    depth = title_with_unit(layer_spec("seed_depths").column("depth"), units, "")
    seeds = [Blank(f"{depth} {number}", 1.4) for number in range(1, 6)]
    return [Blank(tr("Row unit"), 1.2), *seeds, Blank(tr("Emerged of 5"), 1.3),
            Blank(tr("Note"), 2.5)]


def _compaction_blanks(units):
    gauge = [Blank(f"{depth} {units.depth} ({units.pressure})", 1.2) for depth in _depths(units)]
    return [*_of_layer("compaction_readings", units, ("place", 1.4), ("cone", 1.1)), *gauge,
            *_of_layer("compaction_readings", units, ("refusal", 1.3), ("note", 2.0))]


def _probe_blanks(units):
    return _of_layer("probe_points", units, ("sample_number", 1.8), ("top_depth", 1.1),
                     ("bottom_depth", 1.3), ("cores", 1.0), ("ph", 1.0), ("soil_moisture", 1.5),
                     ("note", 3.5))


def _scout_blanks(units):
    return _of_layer("scout_notes", units, ("subject", 1.5), ("seen", 4.5), ("severity", 1.4),
                     ("incidence", 1.4), ("root_rating", 1.1), ("note", 2.5))


# In the order in which readings are taken at a stop: first what feet and spade would disturb.
BLANKS = {"stand_counts": _stand_blanks, "scout_notes": _scout_blanks,
          "compaction_readings": _compaction_blanks, "probe_points": _probe_blanks,
          "seed_depths": _seed_blanks}


def draw_blanks(sheet, name, count, units):
    """Draw a table with a row a stop, its cells empty, on as many pages as it takes.

    Parameters
        name   layer of the record that the readings are for, a key of BLANKS
        count  stops
        units  core.units.UnitSystem
    """
    blanks = [Blank(tr("Stop"), 0.9), Blank(tr("Time"), 1.2), *BLANKS[name](units)]
    share = sheet.width / sum(blank.width for blank in blanks)
    widths = [blank.width * share for blank in blanks]
    heads = [wrapped(blank.title, look.CELL_HEAD, wide - 2 * _PAD)
             for blank, wide in zip(blanks, widths)]
    high = max(map(len, heads)) * look.CELL_HEAD.line_mm + 2 * _PAD
    sheet.heading(layer_spec(name).title, keep=high + 3 * _ROW)
    first = True
    for stop in range(1, count + 1):
        if first or sheet.room < _ROW:
            if not first:
                sheet.new_page()
            _draw_titles(sheet, heads, widths, high)
            first = False
        sheet.line(str(stop), look.BODY, sheet.left + _PAD,
                   sheet.y + (_ROW - look.BODY.line_mm) / 2, widths[0])
        _draw_rules(sheet, widths, _ROW)
    sheet.gap()


def _draw_titles(sheet, heads, widths, high):
    sheet.box(sheet.left, sheet.y, sheet.width, high, look.BAND)
    x = sheet.left
    for lines, wide in zip(heads, widths):
        for number, text in enumerate(lines):
            sheet.line(text, look.CELL_HEAD, x + _PAD,
                       sheet.y + _PAD + number * look.CELL_HEAD.line_mm, wide - 2 * _PAD)
        x += wide
    sheet.box(sheet.left, sheet.y, sheet.width, _LINE, look.QUIET)
    _draw_rules(sheet, widths, high)


def _draw_rules(sheet, widths, high):
    """Draw the lines between the cells of a row and below it, and go on below."""
    x = sheet.left
    for wide in [0.0, *widths]:
        x += wide
        sheet.box(x - _LINE / 2, sheet.y, _LINE, high, look.QUIET)
    sheet.y += high
    sheet.box(sheet.left, sheet.y - _LINE / 2, sheet.width, _LINE, look.QUIET)
