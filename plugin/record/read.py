"""Reading a record, without changing a byte of it."""
import sqlite3
from contextlib import closing
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory
from traceback import clear_frames

import numpy as np
from osgeo import gdal, ogr

from ..core.problems import InputProblem, Stopped
from ..core.units import UNIT_SYSTEMS, UnitSystem
from ..layers.strict_ogr import in_metres, strict_ogr
from .at_rest import copy_at_rest, sha256_of
from .ogr_features import reader_of
from .schema import LAYERS, layer_spec
from .sqlite_looks import looking

ROWS = 1000  # read between two ticks: some 20 ms
NUMBERS = ("int", "real")
# SQLite keeps text in a column of numbers, and other readers take it for 0. Of the yield points,
# of which there may be a million, only the rows in question are fetched.
ROWS_OF = {
    "field": "SELECT rowid, * FROM field",
    "stand_counts": "SELECT rowid, * FROM stand_counts",
    "row_counts": "SELECT rowid, * FROM row_counts",
    "plant_positions": "SELECT rowid, * FROM plant_positions",
    "seed_depths": "SELECT rowid, * FROM seed_depths",
    "compaction_readings": "SELECT rowid, * FROM compaction_readings",
    "compaction_profile": "SELECT rowid, * FROM compaction_profile",
    "probe_points": "SELECT rowid, * FROM probe_points",
    "scout_notes": "SELECT rowid, * FROM scout_notes",
    "yield_points":
        "SELECT rowid, * FROM yield_points WHERE 'text' IN (typeof(season), typeof(flow), "
        "typeof(moisture), typeof(interval_s), typeof(distance), typeof(swath), "
        "typeof(pass_number), typeof(dry_yield)) LIMIT 100",
}


@dataclass(frozen=True)
class Record:
    """What a record held when it was opened.

    path          the file
    sha256        of its content, hexadecimal
    units         the UnitSystem it is kept in
    currency      of all money in it
    crs_wkt       the reference system of all positions, projected, in metres
    field         dict of `field` column to value, None where empty
    boundary_wkb  the field as one polygon or multipolygon, metres
    counts        dict of layer name to number of rows
    seasons       of the yield records, ascending
    """
    path: str
    sha256: str
    units: UnitSystem
    currency: str
    crs_wkt: str
    field: dict
    boundary_wkb: bytes
    counts: dict
    seasons: tuple
    tables: dict = field(repr=False)

    def table(self, layer):
        """Return the rows of a layer as arrays, all of one length, in the order of their fid.

        Numbers, whole ones too, are float64 with NaN where empty; texts, truths, dates and times
        are object arrays with None where empty; "fid" is int64. A point layer has "x" and "y",
        metres, NaN where the row has no point.

        Raises   InputProblem: a record has no such layer
                 KeyError: the record was opened without the rows of that layer
        """
        return self.tables[layer_spec(layer).name]

    def field_value(self, column):
        """Return the value of a `field` column.

        Raises   InputProblem: it is empty, or there is no such column
        """
        return self.field_values((column,))[column]

    def field_values(self, columns):
        """Return the values of several `field` columns as a dict.

        Raises   InputProblem: some are empty, all of them named; or there is no such column
        """
        empty = [spec for spec in map(layer_spec("field").column, columns)
                 if self.field[spec.name] in (None, "")]
        if len(empty) == 1:
            raise InputProblem(f"field, {empty[0].name}: {empty[0].title} is empty. Enter it in "
                               "the record.")
        if empty:
            raise InputProblem(f"field: these are empty: {', '.join(one.title for one in empty)}. "
                               "Enter them in the record.")
        return {name: self.field[name] for name in columns}


def open_record(path, *, only=None, tick=None):
    """Read a record, whole or the rows of some layers.

    A copy is read, so that the file and its folder stay as they are, also while QGIS has the
    record open; what QGIS has saved but not yet brought into the file is read too. Columns that
    a user has added are left alone. Memory grows with the rows: eight bytes a number, more a text.

    Parameters
        path  the GeoPackage
        only  names of the layers whose rows are wanted; None reads them all
        tick  called with the fraction done; may raise Stopped
    Returns  Record
    Raises   InputProblem: the file is no record, a layer or a column is missing, the field has no
             row, several, no boundary or no units, the CRS does not count in metres, or a column
             of numbers holds text
    """
    path, tick = Path(path), tick or (lambda fraction: None)
    if not path.is_file():
        raise InputProblem(f"There is no record at {path}.")
    with TemporaryDirectory(prefix="record-") as folder:
        copy = Path(folder) / "record.gpkg"
        copy_at_rest(path, copy, tick=lambda part: tick(0.05 * part))
        sha256 = sha256_of(copy, tick=lambda part: tick(0.05 + 0.05 * part))
        with strict_ogr():
            try:
                dataset = gdal.OpenEx(str(copy), gdal.OF_VECTOR | gdal.OF_READONLY, ["GPKG"])
            except RuntimeError as problem:
                raise InputProblem(f"{path.name} is not a GeoPackage that can be read: "
                                   f"{problem}.") from problem
            try:
                found = _read(path, sha256, dataset, only, lambda part: tick(0.1 + 0.8 * part))
                tick(0.9)
                with closing(sqlite3.connect(copy)) as database, looking(database, tick, 0.9):
                    _refuse_texts(path, database, {"field", *found.tables})
                    found = replace(found, seasons=_seasons(database))
                tick(1.0)
                return found
            except (InputProblem, Stopped) as problem:
                clear_frames(problem.__traceback__)  # which would keep the copy open
                raise
            finally:
                dataset = None  # closes the copy: only then can every system delete it


def _refuse_texts(path, database, layers):
    wrong = []
    database.text_factory = lambda text: text.decode("utf-8", "replace")
    for layer in sorted(layers):
        numeric = {one.name for one in layer_spec(layer).columns if one.kind in NUMBERS}
        rows = database.execute(ROWS_OF[layer])
        names = [column[0] for column in rows.description]
        checked = [place for place, name in enumerate(names) if name in numeric]
        for row in rows:
            wrong += [(layer, row[0], names[place], row[place])
                      for place in checked if isinstance(row[place], (str, bytes))]
    if wrong:
        layer, fid, column, value = wrong[0]
        more = f" The same goes for {len(wrong) - 1} more." if len(wrong) > 1 else ""
        raise InputProblem(f"{path.name}: {layer}, row {fid}, {column}: {value!r} is no "
                           f"number. Enter one, with a decimal point.{more}")


def _read(path, sha256, dataset, only, tick):
    layers = {}  # by name, not as a comprehension, whose half-made dict would keep the copy open
    for spec in LAYERS:
        layers[spec.name] = _layer(path, dataset, spec)
    reference = _one_reference(path, layers)
    values, boundary = _field_row(path, layers["field"])
    counts = {name: layer.GetFeatureCount() for name, layer in layers.items()}
    read, tables = 0, {}
    wanted = [spec for spec in LAYERS if only is None or spec.name in only]
    most = sum(counts[spec.name] for spec in wanted) or 1
    for spec in wanted:
        tables[spec.name] = _table(layers[spec.name], spec,
                                   lambda rows, before=read: tick((before + rows) / most))
        read += counts[spec.name]
    return Record(
        path=str(path), sha256=sha256, units=UNIT_SYSTEMS[values["units"]],
        currency=values["currency"] or layer_spec("field").column("currency").default,
        crs_wkt=reference.ExportToWkt(), field=values, boundary_wkb=boundary,
        counts=counts, seasons=(), tables=tables)


def _seasons(database):
    """Seasons that yield points are of; what is no number is none, and refused with their rows."""
    return tuple(row[0] for row in database.execute(
        "SELECT DISTINCT CAST(season AS INTEGER) AS year FROM yield_points "
        "WHERE typeof(season) IN ('integer', 'real') ORDER BY year"))


def _layer(path, dataset, spec):
    layer = dataset.GetLayerByName(spec.name)
    if layer is None:
        raise InputProblem(f"{path.name} is no record: it has no layer {spec.name}. Make a record "
                           "with New field record, and bring the readings into that.")
    lost = [column for column in spec.columns
            if layer.GetLayerDefn().GetFieldIndex(column.name) < 0]
    if len(lost) > len(spec.columns) / 2:
        raise InputProblem(f"{path.name} is no record: its layer {spec.name} is another one that "
                           "has the same name. Choose the GeoPackage that New field record made, "
                           "in which the readings are.")
    if lost:
        raise InputProblem(f"{path.name}: {spec.name} has lost its column {lost[0].name}. Add it "
                           f"again ({lost[0].kind}); it may be empty.")
    return layer


def _one_reference(path, layers):
    field_reference = layers["field"].GetSpatialRef()
    for name, layer in layers.items():
        if layer_spec(name).geometry == "none":
            continue
        reference = layer.GetSpatialRef()
        if reference is None or not in_metres(reference):
            called = "no CRS" if reference is None else reference.GetName()
            raise InputProblem(f"{path.name}: {name} is in {called}, which does not count in "
                               "metres. Keep the record in the field's UTM zone.")
        if not reference.IsSame(field_reference):
            raise InputProblem(f"{path.name}: {name} is in {reference.GetName()}, but field is in "
                               f"{field_reference.GetName()}. Reproject {name}.")
    return field_reference


def _field_row(path, layer):
    rows = list(_unbroken(layer, "field"))
    if len(rows) != 1:
        raise InputProblem(f"{path.name}: field has {len(rows)} rows; it must have one, the field "
                           "this call is about.")
    spec = layer_spec("field")
    values = {column.name: _reader(layer, column)(rows[0]) for column in spec.columns}
    for column in spec.columns:
        if column.kind == "int" and values[column.name] is not None:
            values[column.name] = int(values[column.name])
    if values["units"] not in UNIT_SYSTEMS:
        raise InputProblem(f"{path.name}: field, units: {values['units']!r} is not one of "
                           f"{', '.join(UNIT_SYSTEMS)}.")
    return values, _boundary(path, rows[0].GetGeometryRef())


def _boundary(path, geometry):
    if geometry is None or geometry.IsEmpty():
        raise InputProblem(f"{path.name}: field has no boundary. Draw the outline of the field.")
    if not geometry.IsValid():
        raise InputProblem(f"{path.name}: the boundary in field crosses itself. Mend it with the "
                           "vertex tool or with Fix geometries.")
    united = geometry.GetLinearGeometry().UnionCascaded() \
        if geometry.GetGeometryName() == "MULTIPOLYGON" else geometry.GetLinearGeometry()
    if united is None or not united.Area() > 0:
        raise InputProblem(f"{path.name}: the boundary in field encloses no area. Draw the "
                           "outline of the field.")
    united.FlattenTo2D()
    return bytes(united.ExportToIsoWkb(ogr.wkbNDR))


def _reader(layer, column):
    return reader_of(column.kind, layer.GetLayerDefn().GetFieldIndex(column.name))


def _table(layer, spec, tick):
    """The rows of a layer by column; `tick` is called with the number read, and may raise."""
    layer.ResetReading()
    features = _rows(layer, spec)
    blocks, read = [_block((), spec)], 0
    while rows := list(islice(features, ROWS)):
        blocks.append(_block(rows, spec))
        read += len(rows)
        tick(read)
    order = np.argsort(np.concatenate([block["fid"] for block in blocks]), kind="stable")
    table = {}
    for name in blocks[0]:
        table[name] = np.concatenate([block[name] for block in blocks])[order]
        tick(read)
    return table


def _rows(layer, spec):
    """Yield fid, values by column, easting and northing of each row."""
    readers = [_reader(layer, column) for column in spec.columns]
    for feature in _unbroken(layer, spec.name):
        point = feature.GetGeometryRef() if spec.geometry == "point" else None
        place = (np.nan, np.nan) if point is None or point.IsEmpty() \
            else (point.GetX(), point.GetY())
        yield (feature.GetFID(), *(read(feature) for read in readers), *place)


def _unbroken(layer, name):
    """Yield the features of a layer; one that is damaged is refused by the row before it."""
    before = "its first row"
    try:
        for feature in layer:
            yield feature
            before = f"the row after {feature.GetFID()}"
    except RuntimeError as problem:
        raise InputProblem(f"{name}: {before} is damaged and cannot be read, perhaps its geometry. "
                           "Delete that row, or take the record from a backup.") from problem


def _block(rows, spec):
    """Some rows as arrays, by column."""
    names = ["fid", *(column.name for column in spec.columns), "x", "y"]
    kinds = [None, *(column.kind for column in spec.columns), "real", "real"]
    block = {name: _array(values, kind) for name, kind, values in
             zip(names, kinds, zip(*rows) if rows else [()] * len(names))}
    if spec.geometry != "point":
        del block["x"], block["y"]
    return block


def _array(values, kind):
    if kind is None:
        return np.array(values, np.int64)
    if kind in NUMBERS:
        return np.array([np.nan if value is None else value for value in values], float)
    array = np.empty(len(values), object)
    array[:] = values
    return array
