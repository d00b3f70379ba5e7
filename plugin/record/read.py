"""Reading a record, without changing a byte of it."""
import hashlib
import shutil
import sqlite3
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from traceback import clear_frames

import numpy as np
from osgeo import gdal, ogr

from ..core.problems import InputProblem
from ..core.units import UNIT_SYSTEMS, UnitSystem
from ..layers.strict_ogr import in_metres, strict_ogr
from .ogr_features import reader_of
from .schema import LAYERS, layer_spec

SIDE_FILES = ("-wal", "-journal")  # what SQLite has yet to bring into the file itself
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


def open_record(path, *, only=None):
    """Read a record, whole or the rows of some layers.

    A copy is read, so that the file and its folder stay as they are, also while QGIS has the
    record open; what QGIS has saved but not yet brought into the file is read too. Columns that
    a user has added are left alone. Memory grows with the rows: some 100 bytes a value.

    Parameters
        path  the GeoPackage
        only  names of the layers whose rows are wanted; None reads them all
    Returns  Record
    Raises   InputProblem: the file is no record, a layer or a column is missing, the field has no
             row, several, no boundary or no units, the CRS does not count in metres, or a column
             of numbers holds text
    """
    path = Path(path)
    if not path.is_file():
        raise InputProblem(f"There is no record at {path}.")
    with TemporaryDirectory(prefix="record-") as folder:
        copy = Path(folder) / "record.gpkg"
        copy_at_rest(path, copy)
        sha256 = sha256_of(copy)
        with strict_ogr():
            try:
                dataset = gdal.OpenEx(str(copy), gdal.OF_VECTOR | gdal.OF_READONLY, ["GPKG"])
            except RuntimeError as problem:
                raise InputProblem(f"{path.name} is not a GeoPackage that can be read: "
                                   f"{problem}.") from problem
            try:
                found = _read(path, sha256, dataset, only)
                _refuse_texts(path, copy, {"field", *found.tables})
                return found
            except InputProblem as problem:
                clear_frames(problem.__traceback__)  # which would keep the copy open
                raise
            finally:
                dataset = None  # closes the copy: only then can every system delete it


def copy_at_rest(path, copy):
    """Copy a GeoPackage to a plain file of its own, with what SQLite has yet to bring into it.

    Raises   InputProblem: another program is writing it, or it is damaged
    """
    parts = [path] + [beside for beside in (Path(f"{path}{end}") for end in SIDE_FILES)
                      if beside.exists() and beside.stat().st_size]
    before = [(part.stat().st_mtime_ns, part.stat().st_size) for part in parts]
    for part in parts:
        shutil.copyfile(part, f"{copy}{part.name[len(path.name):]}")
    if before != [(part.stat().st_mtime_ns, part.stat().st_size)
                  for part in parts if part.exists()]:
        raise InputProblem(f"{path.name} is being written to just now. Try again when the other "
                           "program has saved it.")
    if len(parts) > 1:
        try:
            with closing(sqlite3.connect(copy)) as database:
                database.execute("PRAGMA journal_mode = delete").fetchall()
        except sqlite3.DatabaseError as problem:
            raise InputProblem(f"{path.name} is not a GeoPackage that can be read: "
                               f"{problem}.") from problem


def _refuse_texts(path, copy, layers):
    wrong = []
    with closing(sqlite3.connect(copy)) as database:
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


def sha256_of(path):
    """Return the SHA-256 of a file's bytes, hexadecimal."""
    digest = hashlib.sha256()
    with open(path, "rb") as file:
        for block in iter(lambda: file.read(1 << 20), b""):
            digest.update(block)
    return digest.hexdigest()


def _read(path, sha256, dataset, only):
    layers = {}  # by name, not as a comprehension, whose half-made dict would keep the copy open
    for spec in LAYERS:
        layers[spec.name] = _layer(path, dataset, spec)
    reference = _one_reference(path, layers)
    values, boundary = _field_row(path, layers["field"])
    tables = {spec.name: _table(layers[spec.name], spec) for spec in LAYERS
              if only is None or spec.name in only}
    return Record(
        path=str(path), sha256=sha256, units=UNIT_SYSTEMS[values["units"]],
        currency=values["currency"] or layer_spec("field").column("currency").default,
        crs_wkt=reference.ExportToWkt(), field=values, boundary_wkb=boundary,
        counts={name: layer.GetFeatureCount() for name, layer in layers.items()},
        seasons=_seasons(dataset), tables=tables)


def _seasons(dataset):
    found = dataset.ExecuteSQL("SELECT DISTINCT season FROM yield_points "
                               "WHERE season IS NOT NULL ORDER BY season")
    seasons = tuple(row.GetFieldAsInteger(0) for row in found)
    dataset.ReleaseResultSet(found)
    return seasons


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
    rows = list(layer)
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


def _table(layer, spec):
    readers = [_reader(layer, column) for column in spec.columns]
    fids, places, rows = [], [], []
    layer.ResetReading()
    for feature in layer:
        fids.append(feature.GetFID())
        rows.append([read(feature) for read in readers])
        if spec.geometry == "point":
            point = feature.GetGeometryRef()
            places.append((np.nan, np.nan) if point is None or point.IsEmpty()
                          else (point.GetX(), point.GetY()))
    order = np.argsort(np.array(fids, np.int64), kind="stable")
    table = {"fid": np.array(fids, np.int64)[order]}
    columns = list(zip(*rows)) or [()] * len(spec.columns)
    for column, values in zip(spec.columns, columns):
        table[column.name] = _array(values, column.kind)[order]
    if spec.geometry == "point":
        positions = np.array(places, float).reshape(-1, 2)[order]
        table["x"], table["y"] = positions[:, 0], positions[:, 1]
    return table


def _array(values, kind):
    if kind in NUMBERS:
        return np.array([np.nan if value is None else value for value in values], float)
    array = np.empty(len(values), object)
    array[:] = values
    return array
