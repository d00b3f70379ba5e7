"""Sources of readings, whatever their format: names of columns, and rows block by block."""
import itertools
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from osgeo import gdal, ogr

from ...core.intake.header import LOOKED_AT, find_header
from ...core.intake.no_reading import CutOff
from ...core.intake.text_table import (
    SAMPLE_ROWS,
    bounded_lines,
    encoding_of,
    rows_of_text,
    separator_of,
)
from ...core.problems import InputProblem
from ...layers.strict_ogr import strict_ogr
from ..at_rest import chunks_of, copy_at_rest, sha256_of
from .archives import refuse_bursting

BLOCK_ROWS = 5_000  # read between two looks at whether the user has cancelled: some 0.1 s
TEXT = (".csv", ".tsv", ".txt", ".tab")
SPREADSHEETS = {".xlsx": "XLSX", ".ods": "ODS"}
VECTORS = {".gpx": ("GPX",), ".shp": ("ESRI Shapefile",), ".dbf": ("ESRI Shapefile",),
           ".geojson": ("GeoJSON",), ".json": ("GeoJSON",), ".gpkg": ("GPKG",),
           ".kml": ("LIBKML", "KML"), ".kmz": ("LIBKML",), ".fgb": ("FlatGeobuf",)}
ZIPPED = (".xlsx", ".ods", ".kmz")
# Cells come as they stand, so that one road reads the numbers and dates of every format.
CELLS_AS_TEXT = {"OGR_XLSX_HEADERS": "DISABLE", "OGR_XLSX_FIELD_TYPES": "STRING",
                 "OGR_ODS_HEADERS": "DISABLE", "OGR_ODS_FIELD_TYPES": "STRING"}
EXTENSIONS = (*TEXT, *SPREADSHEETS, *VECTORS)


@dataclass(frozen=True)
class Block:
    """Some rows of a source: their numbers, their cells, and positions where it has them."""
    numbers: list
    rows: list
    positions: np.ndarray = None


@dataclass(frozen=True)
class Source:
    """An open source.

    names      of its columns, each once
    placed     whether its rows bring positions
    crs_wkt    of the positions, "" where not told
    tables     names of the sheets or layers in the file
    table      the one that is read, "" in a text file
    unread     names of those with rows that are not read, though none was chosen
    size       rows as far as known, or 0
    blocks     iterator of Blocks, to be used once
    """
    path: Path
    sha256: str
    names: tuple
    placed: bool
    crs_wkt: str
    tables: tuple
    table: str
    size: int
    blocks: object
    unread: tuple = ()


@contextmanager
def open_source(path, known, *, table="", header_row=0, tick=None):
    """Open a file of readings for as long as the block lasts.

    Parameters
        path        CSV, TSV, text, XLSX, ODS, GPX, shapefile, GeoJSON, GeoPackage or KML
        known       function of a text: whether it is known as a header
        table       name of the sheet or layer; "" for the first one that has rows
        header_row  number of the header's row in tables; 0 to look for it
        tick        called with 0 now and then until it is open; may raise Stopped
    Raises   InputProblem: it cannot be read, or has no such table
    """
    path = Path(path)
    if not path.is_file():
        raise InputProblem(f"There is no file {path}.")
    ending = path.suffix.lower()
    if ending not in EXTENSIONS:
        raise InputProblem(f"{path.name}: files ending in {ending or 'nothing'} are not read. Save "
                           f"the readings as one of {', '.join(EXTENSIONS)}.")
    if not path.stat().st_size:
        raise InputProblem(f"{path.name} is empty.")
    with ExitStack() as until:
        try:
            if ending in ZIPPED:
                refuse_bursting(path)
            if ending in TEXT:
                opened = _text(path, known, header_row, until, tick)
            elif ending in SPREADSHEETS:
                opened = _spreadsheet(path, known, table, header_row, until, tick)
            else:
                opened = _vector(path, table, until, tick)
        except InputProblem as problem:
            raise _named(path, problem) from problem
        except (OSError, RuntimeError) as problem:
            raise InputProblem(f"{path.name} cannot be read: {problem}. Save or copy it "
                               "again.") from problem
        yield opened


def _named(path, problem):
    words = str(problem)
    return problem if words.startswith(path.name) else InputProblem(f"{path.name}: {words}")


def _looked_at(chunks, tick):
    for chunk in chunks:
        if tick is not None:
            tick(0.0)
        yield chunk


def _text(path, known, header_row, until, tick):
    encoding = encoding_of(_looked_at(chunks_of(path), tick))
    file = until.enter_context(open(path, encoding=encoding, errors="replace", newline=""))
    lines = bounded_lines(file)
    first = list(itertools.islice(lines, SAMPLE_ROWS))
    separator = separator_of(first)
    rows = rows_of_text(itertools.chain(first, lines), separator)
    whole = _ends_its_last_line(path)
    return _table(path, rows, known, header_row, size=_size_by(path, first), whole=whole,
                  tick=tick)


def _ends_its_last_line(path):
    with open(path, "rb") as file:
        file.seek(max(path.stat().st_size - 4, 0))
        end = file.read()
    return b"\n" in end or b"\r" in end


def _size_by(path, lines):
    used = sum(len(line) for line in lines) or 1
    return round(path.stat().st_size / used * len(lines))


def _table(path, rows, known, header_row, *, size, tables=(), table="", unread=(), whole=True,
           tick=None):
    first = list(itertools.islice(rows, max(LOOKED_AT, header_row + 1)))
    header = find_header(first, known, header_row)
    width = len(header.names)
    rest = (row for row in itertools.chain(first, rows) if row[0] > header.last_row)
    digest = sha256_of(path, tick=tick and (lambda fraction: tick(0.0)))
    return Source(path, digest, header.names, False, "", tuple(tables), table, size,
                  _blocks(path, rest, width, whole), tuple(unread))


def _blocks(path, rows, width, whole):
    def named():
        try:
            yield from rows
        except InputProblem as problem:
            raise _named(path, problem) from problem
        except RuntimeError as problem:
            raise InputProblem(f"{path.name} breaks off: {problem}. Save or copy it "
                               "again.") from problem
    told = named()
    held = None
    while True:
        block = list(itertools.islice(told, BLOCK_ROWS))
        if held is not None:
            if not block and not whole and held.rows and 0 < len(held.rows[-1]) < width:
                held.rows[-1] = CutOff(held.rows[-1])
            yield held
        if not block:
            return
        held = Block([number for number, _ in block], [cells for _, cells in block])


def _spreadsheet(path, known, table, header_row, until, tick):
    before = {name: gdal.GetThreadLocalConfigOption(name) for name in CELLS_AS_TEXT}
    for name, value in CELLS_AS_TEXT.items():
        gdal.SetThreadLocalConfigOption(name, value)
        until.callback(gdal.SetThreadLocalConfigOption, name, before[name])
    until.enter_context(strict_ogr())
    dataset = gdal.OpenEx(str(path), gdal.OF_VECTOR | gdal.OF_READONLY,
                          [SPREADSHEETS[path.suffix.lower()]])
    layer, tables = _layer(dataset, table)

    def rows():
        width = layer.GetLayerDefn().GetFieldCount()
        for feature in layer:
            yield feature.GetFID(), [
                feature.GetFieldAsString(place) if feature.IsFieldSetAndNotNull(place) else None
                for place in range(width)]
        dataset.GetLayerCount()  # holds the file open until its rows are read
    return _table(path, rows(), known, header_row, size=layer.GetFeatureCount(), tables=tables,
                  table=layer.GetName(), unread=() if table else _unread(dataset, layer), tick=tick)


def _unread(dataset, read):
    """Return the names of the other layers that hold a row."""
    others = [dataset.GetLayer(number) for number in range(dataset.GetLayerCount())]
    return tuple(one.GetName() for one in others
                 if one.GetName() != read.GetName() and one.GetFeatureCount() > 0)


def _layer(dataset, table):
    names = [dataset.GetLayer(number).GetName() for number in range(dataset.GetLayerCount())]
    if table:
        if table not in names:
            raise InputProblem(f"it has no sheet or layer {table!r}; it has {', '.join(names)}.")
        return dataset.GetLayerByName(table), names
    for number in range(dataset.GetLayerCount()):
        if dataset.GetLayer(number).GetFeatureCount() > 0:
            return dataset.GetLayer(number), names
    raise InputProblem("it holds no row. Choose a file with readings.")


def _vector(path, table, until, tick):
    look = tick and (lambda fraction: tick(0.0))
    digest, opened = sha256_of(path, tick=look), path
    if path.suffix.lower() == ".gpkg":  # reading it in place would leave files beside it
        opened = Path(until.enter_context(TemporaryDirectory(prefix="source-"))) / "source.gpkg"
        copy_at_rest(path, opened, tick=look)
    until.enter_context(strict_ogr())
    dataset = gdal.OpenEx(str(opened), gdal.OF_VECTOR | gdal.OF_READONLY,
                          list(VECTORS[path.suffix.lower()]))
    layer, tables = _layer(dataset, table)
    definition = layer.GetLayerDefn()
    names = [definition.GetFieldDefn(n).GetName() for n in range(definition.GetFieldCount())]
    reference = layer.GetSpatialRef()
    placed = layer.GetGeomType() != ogr.wkbNone
    until.callback(lambda: dataset.GetLayerCount())  # it stays open until then
    return Source(path, digest, tuple(names), placed,
                  reference.ExportToWkt() if reference is not None else "", tuple(tables),
                  layer.GetName(), layer.GetFeatureCount(),
                  _features(path, layer, definition, placed),
                  () if table or path.suffix.lower() == ".gpx" else _unread(dataset, layer))


def _features(path, layer, definition, placed):
    read = [_cell_reader(definition.GetFieldDefn(n), n)
            for n in range(definition.GetFieldCount())]
    numbers, rows, positions = [], [], []
    try:
        for feature in layer:
            numbers.append(feature.GetFID())
            rows.append([one(feature) if feature.IsFieldSetAndNotNull(place) else None
                         for place, one in enumerate(read)])
            if placed:
                positions.append(_position(feature.GetGeometryRef()))
            if len(rows) == BLOCK_ROWS:
                yield _block(numbers, rows, positions, placed)
                numbers, rows, positions = [], [], []
    except RuntimeError as problem:
        raise InputProblem(f"{path.name} breaks off: {problem}. Save or copy it "
                           "again.") from problem
    if rows:
        yield _block(numbers, rows, positions, placed)


def _block(numbers, rows, positions, placed):
    return Block(numbers, rows, np.array(positions, float).reshape(-1, 2) if placed else None)


def _position(geometry):
    if geometry is None or geometry.IsEmpty():
        return np.nan, np.nan
    if geometry.GetGeometryName() == "MULTIPOINT" and geometry.GetGeometryCount() == 1:
        geometry = geometry.GetGeometryRef(0)
    if geometry.GetGeometryName() != "POINT":
        return np.nan, np.nan
    return geometry.GetX(), geometry.GetY()


def _cell_reader(field, place):
    kind = field.GetType()
    if kind == ogr.OFTReal:
        return lambda feature: feature.GetFieldAsDouble(place)
    if kind in (ogr.OFTInteger, ogr.OFTInteger64):
        return lambda feature: feature.GetFieldAsInteger64(place)
    if kind in (ogr.OFTDate, ogr.OFTDateTime):
        return lambda feature: _moment(feature, place)
    return lambda feature: feature.GetFieldAsString(place)


def _moment(feature, place):
    year, month, day, hour, minute, second, zone = feature.GetFieldAsDateTime(place)
    text = f"{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:06.3f}"
    if zone > 1:  # 0 unknown, 1 local; then quarters of an hour from 100, universal time
        quarters = zone - 100
        text += "Z" if not quarters else \
            f"{'-' if quarters < 0 else '+'}{abs(quarters) // 4:02}:{abs(quarters) % 4 * 15:02}"
    return text
