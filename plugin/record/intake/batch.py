"""One import written into a record: all of it in one transaction, or nothing."""
import sqlite3
import struct
import time
from contextlib import closing, contextmanager
from dataclasses import dataclass, field

import numpy as np

from ...core.problems import InputProblem

AT_ONCE = 2_500  # rows between two looks at whether the user has cancelled: some 0.1 s
# Pages changed are kept until the commit, as SQLite locks every reader out once it writes one into
# the record itself; 200 MB hold what is read again and again of a million rows. Beside a log
# (WAL) readers are free: there 8 MB will do, and the commit, which knows no cancel, is short.
CACHE, CACHE_WITH_LOG = (("PRAGMA cache_spill = OFF", "PRAGMA cache_size = -200000"),
                         ("PRAGMA cache_spill = ON", "PRAGMA cache_size = -8000"))
WAIT_S = 5.0  # for another program to finish reading or writing
LOOK_S = 0.1  # between two looks meanwhile

INSERT = {
    "stand_counts":
        "INSERT INTO stand_counts (geom, reading_id, stop, taken_at, method, plants, length, "
        "rows, row_width, hoop_diameter, hoops, growth_stage_bbch, leaf_collars, evenness, note, "
        "photo) VALUES (:geom, :reading_id, :stop, :taken_at, :method, :plants, :length, :rows, "
        ":row_width, :hoop_diameter, :hoops, :growth_stage_bbch, :leaf_collars, :evenness, "
        ":note, :photo)",
    "row_counts":
        "INSERT INTO row_counts (reading_id, of_stop, row_unit, plants, length) "
        "VALUES (:reading_id, :of_stop, :row_unit, :plants, :length)",
    "plant_positions":
        "INSERT INTO plant_positions (reading_id, of_stop, row_unit, position) "
        "VALUES (:reading_id, :of_stop, :row_unit, :position)",
    "seed_depths":
        "INSERT INTO seed_depths (geom, reading_id, stop, taken_at, row_unit, depth, emerged, "
        "note) VALUES (:geom, :reading_id, :stop, :taken_at, :row_unit, :depth, :emerged, :note)",
    "compaction_readings":
        "INSERT INTO compaction_readings (geom, reading_id, stop, taken_at, means, cone, "
        "moisture, place, refusal, felt_top, felt_bottom, deepest, note, photo) VALUES (:geom, "
        ":reading_id, :stop, :taken_at, :means, :cone, :moisture, :place, :refusal, :felt_top, "
        ":felt_bottom, :deepest, :note, :photo)",
    "compaction_profile":
        "INSERT INTO compaction_profile (reading_id, of_insertion, depth, resistance) "
        "VALUES (:reading_id, :of_insertion, :depth, :resistance)",
    "probe_points":
        "INSERT INTO probe_points (geom, reading_id, stop, taken_at, core_type, top_depth, "
        "bottom_depth, cores, sample_number, ph, ph_method, surface_ph, surface_ph_method, "
        "surface_ph_depth, buffer_ph, organic_matter, phosphorus_ppm, potassium_ppm, "
        "nitrate_n_ppm, soil_moisture, note, photo) VALUES (:geom, :reading_id, :stop, :taken_at, "
        ":core_type, :top_depth, :bottom_depth, :cores, :sample_number, :ph, :ph_method, "
        ":surface_ph, :surface_ph_method, :surface_ph_depth, :buffer_ph, :organic_matter, "
        ":phosphorus_ppm, :potassium_ppm, :nitrate_n_ppm, "
        ":soil_moisture, :note, :photo)",
    "scout_notes":
        "INSERT INTO scout_notes (geom, reading_id, stop, taken_at, subject, seen, organism, "
        "plants_checked, plants_affected, incidence, severity, root_rating, roots_turn_at, "
        "growth_stage_bbch, leaf_collars, note, photo) VALUES (:geom, :reading_id, :stop, "
        ":taken_at, :subject, :seen, :organism, :plants_checked, :plants_affected, :incidence, "
        ":severity, :root_rating, :roots_turn_at, :growth_stage_bbch, :leaf_collars, :note, "
        ":photo)",
    "yield_points":
        "INSERT INTO yield_points (geom, reading_id, taken_at, season, crop, flow, moisture, "
        "interval_s, distance, swath, pass_number, dry_yield) VALUES (:geom, :reading_id, "
        ":taken_at, :season, :crop, :flow, :moisture, :interval_s, :distance, :swath, "
        ":pass_number, :dry_yield)",
}
# What the laboratory adds goes into cells that are empty, never over a value.
COMPLETE = (
    "UPDATE probe_points SET ph = coalesce(ph, :ph), ph_method = coalesce(ph_method, :ph_method), "
    "buffer_ph = coalesce(buffer_ph, :buffer_ph), "
    "organic_matter = coalesce(organic_matter, :organic_matter), "
    "phosphorus_ppm = coalesce(phosphorus_ppm, :phosphorus_ppm), "
    "potassium_ppm = coalesce(potassium_ppm, :potassium_ppm), "
    "nitrate_n_ppm = coalesce(nitrate_n_ppm, :nitrate_n_ppm), "
    "soil_moisture = coalesce(soil_moisture, :soil_moisture) WHERE fid = :fid")
IMPORTED = ("INSERT INTO imported_rows (import_number, source_row, layer, reading_id) "
            "VALUES (?, ?, ?, ?)")
# The two tables that say where readings came from; the first import into a record makes them.
TABLES = (
    "CREATE TABLE IF NOT EXISTS imports (number INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, "
    "source_name TEXT NOT NULL, source_sha256 TEXT NOT NULL, source_table TEXT NOT NULL, "
    "kind TEXT NOT NULL, read_as TEXT NOT NULL, imported_at DATETIME NOT NULL, "
    "source_rows INTEGER NOT NULL, imported INTEGER NOT NULL, set_aside INTEGER NOT NULL)",
    "CREATE TABLE IF NOT EXISTS imported_rows (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, "
    "import_number INTEGER NOT NULL REFERENCES imports (number), source_row INTEGER NOT NULL, "
    "layer TEXT NOT NULL, reading_id TEXT NOT NULL)",
    "INSERT OR IGNORE INTO gpkg_contents (table_name, data_type, identifier, description) VALUES "
    "('imports', 'attributes', 'imports', 'Files that readings were imported from'), "
    "('imported_rows', 'attributes', 'imported_rows', 'Row of the file of each reading')",
)
ENTRY = ("INSERT INTO imports (source_name, source_sha256, source_table, kind, read_as, "
         "imported_at, source_rows, imported, set_aside) VALUES (:source_name, :source_sha256, "
         ":source_table, :kind, :read_as, strftime('%Y-%m-%dT%H:%M:%fZ', 'now'), :source_rows, "
         ":imported, :set_aside)")
EXTENT = ("UPDATE gpkg_contents SET min_x = min(coalesce(min_x, :west), :west), "
          "min_y = min(coalesce(min_y, :south), :south), "
          "max_x = max(coalesce(max_x, :east), :east), "
          "max_y = max(coalesce(max_y, :north), :north) WHERE table_name = :layer")
CHANGED = ("UPDATE gpkg_contents SET last_change = strftime('%Y-%m-%dT%H:%M:%fZ', 'now') "
           "WHERE table_name = ?")
# For the layer that may have a million points, what two triggers do row by row is done block by
# block, in half the time; the triggers are put back in the same transaction.
TRIGGERS = ("SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name IN "
            "('rtree_yield_points_geom_insert', 'trigger_insert_feature_count_yield_points')")
DROP_TRIGGERS = ("DROP TRIGGER IF EXISTS rtree_yield_points_geom_insert",
                 "DROP TRIGGER IF EXISTS trigger_insert_feature_count_yield_points")
COUNT_POINTS = ("UPDATE gpkg_ogr_contents SET feature_count = feature_count + ? "
                "WHERE lower(table_name) = 'yield_points'")
LAST_POINT = "SELECT coalesce(max(fid), 0) FROM yield_points"
INDEX_POINTS = ("INSERT INTO rtree_yield_points_geom SELECT fid, ST_MinX(geom), ST_MaxX(geom), "
                "ST_MinY(geom), ST_MaxY(geom) FROM yield_points WHERE fid > ?")
# A point as a GeoPackage keeps it (OGC 12-128r17, 2.1.3): header without envelope, then WKB.
POINT = np.dtype([("magic", "S2"), ("version", "u1"), ("flags", "u1"), ("srs", "<i4"),
                  ("order", "u1"), ("kind", "<u4"), ("x", "<f8"), ("y", "<f8")])
X_AT, Y_AT = 13, 21  # in such a point


@dataclass(frozen=True)
class Rows:
    """Rows for one layer.

    columns     dict of column to (n,) array: float with NaN, datetime64[ms] with NaT, object
    source_row  (n,) number of the row of the source that each comes from
    positions   (n, 2) metres; None in a table without places
    whole       names of the columns that hold whole numbers
    """
    layer: str
    ids: list
    columns: dict
    source_row: np.ndarray
    positions: np.ndarray = None
    whole: frozenset = frozenset()


@dataclass(frozen=True)
class Batch:
    """All that one import writes.

    entry        values of the row of `imports`
    rows         list of Rows, parents before their parts
    completions  dicts with fid, reading_id, source_row and the values for empty cells of a probe
                 point
    """
    entry: dict
    rows: tuple = ()
    completions: tuple = field(default=())


def write_batch(path, batch, tick=None):
    """Write an import into a record, in place: readers with the file open see it when it is done.

    SQLite's own journal undoes what an exception, a kill or a power cut leaves half done.

    Parameters
        path   the record
        tick   called with the fraction done; may raise Stopped
    Returns  the number of the import in the table `imports`
    Raises   InputProblem: the record cannot be written, or was changed meanwhile
    """
    total = max(sum(len(rows.ids) for rows in batch.rows), 1)
    done, tick = 0, tick or (lambda fraction: None)
    with closing(_open(path)) as database:
        try:
            mode, = _patiently(database, "PRAGMA journal_mode", lambda: tick(0.0)).fetchone()
            for statement in CACHE_WITH_LOG if mode == "wal" else CACHE:
                database.execute(statement)
            _patiently(database, "BEGIN IMMEDIATE", lambda: tick(0.0))
            for statement in TABLES:
                database.execute(statement)
            number = database.execute(ENTRY, batch.entry).lastrowid
            for rows in batch.rows:
                with _triggers_by_block(database, rows.layer) as after_block:
                    for start in range(0, len(rows.ids), AT_ONCE):
                        last = database.execute(LAST_POINT).fetchone()[0]
                        _insert(database, rows, slice(start, start + AT_ONCE), number)
                        count = len(rows.ids[start:start + AT_ONCE])
                        after_block(last, count)
                        done += count
                        tick(done / total)
                _close_layer(database, rows)
            _complete(database, batch.completions, number)
            _patiently(database, "COMMIT", lambda: tick(1.0))
        except sqlite3.Error as problem:
            _roll_back(database)
            raise _unwritten(path, problem) from problem
        except BaseException:  # Stopped and Ctrl+C too; handed on
            _roll_back(database)
            raise
    return number


def _open(path):
    database = sqlite3.connect(path, isolation_level=None, timeout=LOOK_S)
    # What the triggers of a GeoPackage's spatial index ask of a geometry; ours are plain points.
    for name, place in (("ST_MinX", X_AT), ("ST_MaxX", X_AT), ("ST_MinY", Y_AT),
                        ("ST_MaxY", Y_AT)):
        database.create_function(name, 1, _coordinate(place), deterministic=True)
    database.create_function("ST_IsEmpty", 1, lambda blob: 0, deterministic=True)
    return database


def _patiently(database, statement, look):
    """Execute a statement, and again while another program holds the record, for WAIT_S at most.

    Parameters
        look  function called between two tries; may raise Stopped
    """
    until = time.monotonic() + WAIT_S
    while True:
        try:
            return database.execute(statement)
        except sqlite3.OperationalError as problem:
            if "locked" not in str(problem) or time.monotonic() > until:
                raise
        look()


def _coordinate(place):
    read = struct.Struct("<d").unpack_from
    return lambda blob: read(blob, place)[0]


def _roll_back(database):
    if database.in_transaction:
        database.execute("ROLLBACK")


def _unwritten(path, problem):
    name = getattr(path, "name", path)
    if "locked" in str(problem):
        return InputProblem(f"{name} is being written to or read by another program. Save or end "
                            "the edits in QGIS, then import again. Nothing was added.")
    if isinstance(problem, sqlite3.IntegrityError):
        return InputProblem(f"{name} was changed during the import ({problem}). Import again. "
                            "Nothing was added.")
    return InputProblem(f"{name} cannot be written to: {problem}. Nothing was added.")


@contextmanager
def _triggers_by_block(database, layer):
    """Give a function of the last fid before a block, and its rows, that does the triggers' work.

    In other layers than the yield points the triggers stay, and it does nothing. After an
    exception the transaction is undone, and the triggers are back with it.
    """
    triggers = database.execute(TRIGGERS).fetchall() if layer == "yield_points" else []
    if not triggers:
        yield lambda last, count: None
        return
    for statement in DROP_TRIGGERS:
        database.execute(statement)
    indexed = any("rtree_yield_points_geom" in sql for sql, in triggers)
    counted = any("feature_count" in sql for sql, in triggers)

    def after_block(last, count):
        if indexed:
            database.execute(INDEX_POINTS, (last,))
        if counted:
            database.execute(COUNT_POINTS, (count,))
    yield after_block
    for sql, in triggers:
        database.execute(sql)


def _insert(database, rows, part, number):
    columns = {name: _plain(values[part], name in rows.whole)
               for name, values in rows.columns.items()}
    columns["reading_id"] = ids = rows.ids[part]
    if rows.positions is not None:
        columns["geom"] = _points(rows.positions[part], _srs(database, rows.layer))
    names = list(columns)
    database.executemany(INSERT[rows.layer],
                         (dict(zip(names, row)) for row in zip(*columns.values())))
    database.executemany(IMPORTED, ((number, row, rows.layer, reading_id) for row, reading_id
                                    in zip(rows.source_row[part].tolist(), ids)))


def _srs(database, layer):
    return database.execute("SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = ?",
                            (layer,)).fetchone()[0]


def _points(positions, srs):
    points = np.zeros(len(positions), POINT)
    points["magic"], points["flags"], points["srs"] = b"GP", 1, srs
    points["order"], points["kind"] = 1, 1
    points["x"], points["y"] = positions.T
    blob, size = points.tobytes(), POINT.itemsize
    return [blob[start:start + size] for start in range(0, len(blob), size)]


def _plain(values, whole):
    """Values as SQLite takes them; empty ones as None."""
    if values.dtype.kind == "M":
        texts = np.datetime_as_string(values, unit="ms").tolist()
        return [None if text == "NaT" else text for text in texts]
    if values.dtype == object:
        return [int(value) if isinstance(value, bool) else value for value in values.tolist()]
    if whole:
        return [None if value != value else int(value) for value in values.tolist()]
    return [None if value != value else value for value in values.tolist()]


def _close_layer(database, rows):
    if rows.positions is not None and len(rows.positions):
        (west, south), (east, north) = rows.positions.min(axis=0), rows.positions.max(axis=0)
        database.execute(EXTENT, {"west": west, "south": south, "east": east, "north": north,
                                  "layer": rows.layer})
    if rows.ids:
        database.execute(CHANGED, (rows.layer,))


def _complete(database, completions, number):
    for one in completions:
        database.execute(COMPLETE, {name: value for name, value in one.items()
                                    if name not in ("source_row", "reading_id")})
        database.execute(IMPORTED, (number, one["source_row"], "probe_points",
                                    one["reading_id"]))
    if completions:
        database.execute(CHANGED, ("probe_points",))
