"""Readings of a source into a record: read, placed, known again, written or set aside."""
import itertools
import json
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ...core.intake.header import header_words
from ...core.intake.mapping import Mapping, mapping_to_json
from ...core.intake.no_reading import shown_row, why_no_reading
from ...core.intake.proposal import is_known_header
from ...core.intake.values_read import Answers, read_block, readers_of
from ...core.problems import InputProblem
from ..read import open_record
from .assembled import RowsRead, finished_times
from .batch import Batch, write_batch
from .kinds import kind_named, proposed_mapping, targets_of
from .known import known_readings
from .laboratory import completions_of
from .new_rows import new_rows
from .photos import KeptPhotos
from .places import AS_WRITTEN, SWAPPED, WGS84, is_geographic, question_of_axes
from .sources import Block, open_source

LOOKED_AT = 5_000  # rows from which it is told how numbers, dates and positions are written
ANGLES = ("lat", "latitude", "lon", "long", "lng", "longitude", "gps", "position", "coordinates")


@dataclass(frozen=True)
class Wish:
    """What is to be imported, and how: what the user chose.

    mapping     Mapping, or None for the one that the headers suggest
    crs         of the positions, authority id or WKT; "" for that of the source
    axes        "as_written", "swapped", or "" to ask where they make no sense
    photos      folder of photos, "" for none
    """
    kind: str
    table: str = ""
    header_row: int = 0
    mapping: Mapping = None
    crs: str = ""
    axes: str = ""
    answers: Answers = Answers()
    photos: str = ""


@dataclass(frozen=True)
class SetAside:
    """One row that was not imported: its number in the source, why, and what stood in it."""
    row: int
    reason: str
    content: str


@dataclass(frozen=True)
class Imported:
    """What an import did.

    rows, imported  rows of the source, and how many of them are in the record now
    set_aside       the others
    readings        dict of layer to rows added
    mapping         the Mapping used
    warnings        sentences
    number          of the import in the record, None where nothing was written
    """
    rows: int
    imported: int
    set_aside: tuple
    readings: dict
    mapping: Mapping
    warnings: tuple
    number: int = None


@dataclass(frozen=True)
class Preview:
    """What a source looks like before it is imported.

    names      of its columns
    sample     its first rows, as texts
    tables     its sheets or layers, and `table` the one looked at
    targets    dict of name to Target, what columns can be read as
    mapping    the Mapping that the names suggest
    questions  what must be answered before it can be imported
    """
    names: tuple
    sample: tuple
    tables: tuple
    table: str
    targets: dict
    mapping: Mapping
    questions: tuple


def preview_source(record_path, source_path, wish, *, rows=8):
    """Return the Preview of a source for a record; nothing is written.

    Raises   InputProblem: the record or the source cannot be read, or the mapping not be used
    """
    record, kind = open_record(record_path, only=()), kind_named(wish.kind)
    with _opened(record, kind, source_path, wish) as source:
        targets = targets_of(kind, record, placed=source.placed)
        block = next(source.blocks, None) or Block([], [])
        cells = block.rows[:LOOKED_AT]
        mapping = wish.mapping or proposed_mapping(kind, _filled_first(source, block), targets)
        questions = ()
        if mapping.columns and cells:
            _, questions = _readers(mapping, targets, source, cells, wish, record)
        sample = tuple(tuple("" if cell is None else str(cell) for cell in row)
                       for row in cells[:rows])
        return Preview(source.names, sample, source.tables, source.table, targets, mapping,
                       tuple(questions))


def import_readings(record_path, source_path, wish, tick=None):
    """Bring the readings of a source into a record: each row is added, or set aside with why.

    Rows that the record has from an earlier import are known by what they hold and set aside. A
    refusal, a cancel or a kill leaves the record as it was, and so does an import that adds
    nothing. Memory grows with the rows: some 500 bytes each.

    Parameters
        record_path  the record
        source_path  see `open_source`
        wish         Wish
        tick         called with the fraction done; may raise Stopped
    Returns  Imported
    Raises   InputProblem: the record or the source cannot be read, the mapping not be used,
             something must be answered first, or the record not be written
    """
    tick = tick or (lambda fraction: None)
    record = open_record(record_path, only=(), tick=lambda fraction: tick(0.0))
    kind = kind_named(wish.kind)
    with _opened(record, kind, source_path, wish, tick) as source:
        targets = targets_of(kind, record, placed=source.placed)
        first = next(source.blocks, None)
        if first is None:
            raise InputProblem(f"{source.path.name}: there is no row below the header.")
        mapping = wish.mapping or proposed_mapping(kind, _filled_first(source, first), targets)
        _refuse_useless(source, kind, mapping)
        rows, shown, crs = _read(source, itertools.chain([first], source.blocks), mapping,
                                 targets, wish, record, tick)
    finished_times(rows)
    warnings = _unit_warnings(mapping, targets, source) + _unread_warnings(source)
    known = known_readings(
        record_path, [kind.layer, *filter(None, [kind.child])], source_sha256=source.sha256,
        source_table=source.table, kind=kind.name, tick=lambda _: tick(0.4))
    written, completions, number = (), (), None
    with KeptPhotos(record_path) as kept:
        if kind.name == "laboratory":
            completions = completions_of(rows, mapping.values, known)
        else:
            written = new_rows(kind, rows, crs=crs, mapping=mapping, record=record, known=known,
                               photos=wish.photos, kept=kept, warnings=warnings,
                               tick=lambda fraction: tick(0.4 + 0.2 * fraction))
        if rows.usable.any():
            entry = _entry(source, kind, rows, read_as=_read_as(mapping, crs, wish))
            _refuse_another_way(source, known, entry)
            number = write_batch(Path(record_path), Batch(entry, written, completions),
                                 lambda fraction: tick(0.6 + 0.4 * fraction))
    return Imported(
        rows.count, int(rows.usable.sum()),
        tuple(SetAside(int(rows.numbers[place]), rows.reasons[place], shown.get(int(place), ""))
              for place in np.flatnonzero(~rows.usable)),
        {kind.layer: len(completions)} if completions else
        {one.layer: len(one.ids) for one in written if one.ids},
        mapping, tuple(warnings), number)


def _read_as(mapping, crs, wish):
    """How a source was read, as JSON text that is the same whatever the order of its columns."""
    said = json.loads(mapping_to_json(mapping))
    said["columns"].sort(key=lambda use: (use["header"], use["target"]))
    return json.dumps({**said, "crs": crs, "axes": wish.axes or AS_WRITTEN,
                       "answers": {name: value for name, value in vars(wish.answers).items()
                                   if value not in ("", None)}}, ensure_ascii=False)


def _entry(source, kind, rows, *, read_as):
    imported = int(rows.usable.sum())
    return {"source_name": source.path.name, "source_sha256": source.sha256,
            "source_table": source.table, "kind": kind.name, "read_as": read_as,
            "source_rows": rows.count, "imported": imported, "set_aside": rows.count - imported}


def _refuse_another_way(source, known, entry):
    """Refuse what would bring the rows of one source twice, read in two ways."""
    for number, name, at, read_as in known.earlier:
        if read_as != entry["read_as"]:
            raise InputProblem(
                f"{source.path.name} was imported before, as {name} on {at[:10]} (import "
                f"{number}), with other columns, units or answers. Its readings would be there "
                "twice. Delete those readings first, or import it as before.")


def _opened(record, kind, source_path, wish, tick=None):
    every = list(targets_of(kind, record).values())
    return open_source(source_path, lambda text: is_known_header(text, every), table=wish.table,
                       header_row=wish.header_row, tick=tick)


def _filled_first(source, block):
    """The names of a source's columns, those without a value in its first rows last."""
    def bare(name):
        place = source.names.index(name)
        return all(place >= len(row) or row[place] in (None, "") for row in block.rows)
    return sorted(source.names, key=bare)


def _refuse_useless(source, kind, mapping):
    """Refuse a mapping that reads nothing a reading consists of."""
    if not mapping.columns:
        raise InputProblem(f"{source.path.name}: none of its columns "
                           f"({', '.join(source.names[:12])}) is known. Give a MAPPING.")
    used = {use.target for use in mapping.columns}
    used -= {"stop", "x", "y", "position_text", "taken_at", "time_of_day"}
    if not used or (kind.name == "plant_positions" and kind.part not in used):
        raise InputProblem(
            f"{source.path.name}: none of its columns ({', '.join(source.names[:12])}) holds "
            f"values of {kind.title.lower()}. Choose another KIND, or give a MAPPING.")
    if kind.name == "laboratory" and not mapping.uses("sample_number"):
        raise InputProblem(f"{source.path.name}: no column holds the sample number. Read one as "
                           "sample_number in the MAPPING.")


def _unit_warnings(mapping, targets, source):
    silent = [f"{use.header} ({targets[use.target].unit})" for use in mapping.columns
              if targets[use.target].unit and not use.unit]
    return [f"{source.path.name}: no unit is given for {', '.join(silent)}; the record's was "
            "taken. Check it."] if silent else []


def _unread_warnings(source):
    return [f"{source.path.name}: {source.table} was read; {', '.join(source.unread)} too "
            f"{'hold' if len(source.unread) > 1 else 'holds'} rows, which were not. Import each by "
            "its name as SHEET."] if source.unread else []


def _readers(mapping, targets, source, cells, wish, record):
    crs = wish.crs or source.crs_wkt
    uses = [use for use in mapping.columns if targets.get(use.target) is not None
            and targets[use.target].kind in ("x", "y", "xy")]
    angles = any(set(header_words(use.header).words.split()) & set(ANGLES) for use in uses)
    geographic = is_geographic(crs) if crs else (angles or _in_degrees(uses, source, cells))
    answers = replace(wish.answers, crop=wish.answers.crop or record.field["crop"] or "")
    try:
        readers, questions = readers_of(mapping, targets, list(source.names), cells,
                                        geographic=geographic, answers=answers)
    except InputProblem as problem:
        raise InputProblem(f"{source.path.name}: {problem}") from problem
    if uses and not crs and not geographic:
        questions += ("The positions are no longitudes and latitudes. Give their CRS as "
                      "SOURCE_CRS.",)
    return readers, questions


def _in_degrees(uses, source, cells):
    """Whether more than half of the plain numbers in the columns of positions are degrees."""
    numbers = []
    for use in uses:
        place = source.names.index(use.header) if use.header in source.names else None
        for row in cells if place is not None else ():
            try:
                numbers.append(float(row[place]))
            except (IndexError, TypeError, ValueError):
                continue
    return sum(abs(number) <= 360 for number in numbers) * 2 > len(numbers) or not numbers


def _read(source, every_block, mapping, targets, wish, record, tick):
    """Read all blocks; returns RowsRead with positions as written, rows shown, and their CRS."""
    blocks, numbers, reasons, positions, shown = [], [], [], [], {}
    readers, read = None, 0
    for block in every_block:
        if readers is None:
            first = block.rows[:LOOKED_AT]
            readers, questions = _readers(mapping, targets, source, first, wish, record)
            questions = questions or tuple(filter(None, (
                _question_of_axes(block, readers, source, wish, record),)))
            if questions:
                raise InputProblem(f"{source.path.name}: " + "\n".join(questions))
        values, wrong = read_block(block.rows, readers)
        why = np.full(len(block.rows), None, object)
        for place, reason in wrong.items():
            why[place] = reason
        for place, row in enumerate(block.rows):
            unusable = why_no_reading(row, source.names, source.placed)
            if unusable:
                why[place] = unusable
            if why[place] is not None:
                shown[read + place] = shown_row(row)
        blocks.append(values)
        numbers += block.numbers
        reasons.append(why)
        if block.positions is not None:
            positions.append(block.positions)
        read += len(block.rows)
        tick(0.4 * min(read / max(source.size, read), 1.0))
    values = {key: np.concatenate([block[key] for block in blocks]) for key in blocks[0]}
    if positions:
        places = np.concatenate(positions)
        values["x", None], values["y", None] = places[:, 0].copy(), places[:, 1].copy()
    if wish.axes == SWAPPED and ("x", None) in values and ("y", None) in values:
        values["x", None], values["y", None] = values["y", None], values["x", None]
    rows = RowsRead(np.array(numbers), values, np.concatenate(reasons))
    return rows, shown, wish.crs or source.crs_wkt or WGS84


def _question_of_axes(block, readers, source, wish, record):
    if wish.axes:
        return ""
    values, _ = read_block(block.rows[:LOOKED_AT], readers)
    positions = block.positions
    if positions is None:
        if ("x", None) not in values or ("y", None) not in values:
            return ""
        positions = np.column_stack([values["x", None], values["y", None]])
    positions = positions[np.isfinite(positions).all(axis=1)]
    if not len(positions):
        return ""
    return question_of_axes(positions, wish.crs or source.crs_wkt or WGS84, record)
