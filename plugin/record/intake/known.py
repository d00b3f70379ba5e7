"""What a record holds already, as far as an import must know it; nothing of it is changed."""
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from osgeo import ogr

from ...layers.strict_ogr import strict_ogr
from ..at_rest import copy_at_rest
from ..sqlite_looks import looking
from .kinds import LABORATORY

IDS_OF = {
    "stand_counts": "SELECT reading_id FROM stand_counts",
    "row_counts": "SELECT reading_id FROM row_counts",
    "plant_positions": "SELECT reading_id FROM plant_positions",
    "seed_depths": "SELECT reading_id FROM seed_depths",
    "compaction_readings": "SELECT reading_id FROM compaction_readings",
    "compaction_profile": "SELECT reading_id FROM compaction_profile",
    "probe_points": "SELECT reading_id FROM probe_points",
    "scout_notes": "SELECT reading_id FROM scout_notes",
    "yield_points": "SELECT reading_id FROM yield_points",
}
STOPS = ("SELECT stop, geom, 1, reading_id FROM stand_counts WHERE stop IS NOT NULL "
         "UNION ALL SELECT stop, geom, 2, '' FROM compaction_readings WHERE stop IS NOT NULL "
         "UNION ALL SELECT stop, geom, 3, '' FROM probe_points WHERE stop IS NOT NULL "
         "UNION ALL SELECT stop, geom, 4, '' FROM seed_depths WHERE stop IS NOT NULL "
         "UNION ALL SELECT stop, geom, 5, '' FROM scout_notes WHERE stop IS NOT NULL")
SAMPLES = ("SELECT fid, reading_id, sample_number, ph, ph_method, buffer_ph, organic_matter, "
           "phosphorus_ppm, potassium_ppm, nitrate_n_ppm, soil_moisture FROM probe_points "
           "WHERE sample_number IS NOT NULL")
EARLIER = ("SELECT number, source_name, imported_at, read_as FROM imports "
           "WHERE source_sha256 = ? AND source_table = ? AND kind = ?")
STILL_THERE = ("SELECT EXISTS (SELECT 1 FROM imported_rows WHERE import_number = ? AND "
               "reading_id IN (SELECT reading_id FROM stand_counts "
               "UNION ALL SELECT reading_id FROM row_counts "
               "UNION ALL SELECT reading_id FROM plant_positions "
               "UNION ALL SELECT reading_id FROM seed_depths "
               "UNION ALL SELECT reading_id FROM compaction_readings "
               "UNION ALL SELECT reading_id FROM probe_points "
               "UNION ALL SELECT reading_id FROM scout_notes "
               "UNION ALL SELECT reading_id FROM yield_points))")


@dataclass(frozen=True)
class Known:
    """What the record holds.

    ids      names of the readings of the layers asked for
    stops    dict of stop number to (easting, northing), of the first reading of that stop
    counts   dict of stop number to the reading_ids of its stand counts
    samples  dict of sample number, in small letters, to the probe points that bear it
    earlier  (number, source_name, imported_at, read_as) of imports of this source, this kind,
             of which readings are still there
    """
    ids: frozenset
    stops: dict
    counts: dict
    samples: dict
    earlier: tuple


def known_readings(path, layers, *, source_sha256, source_table, kind, tick=None):
    """Return what a record holds, read from a copy.

    Parameters
        path    the record
        layers  names of the layers whose readings are asked for
        tick    called with 0 now and then; may raise Stopped
    Raises   InputProblem: another program is writing the record
    """
    with TemporaryDirectory(prefix="record-") as folder:
        copy = Path(folder) / "record.gpkg"
        copy_at_rest(Path(path), copy, tick=tick and (lambda fraction: tick(0.0)))
        with closing(sqlite3.connect(copy)) as database, looking(database, tick, 0.0):
            ids = frozenset(row[0] for layer in layers for row in database.execute(IDS_OF[layer]))
            stops, counts = _stops(database)
            return Known(ids, stops, counts, _samples(database),
                         _earlier(database, source_sha256, source_table, kind))


def _stops(database):
    stops, ranks, counts = {}, {}, {}
    with strict_ogr():
        for stop, geometry, rank, reading_id in database.execute(STOPS):
            place = _place(geometry)
            if place is not None and rank < ranks.get(stop, 9):
                stops[stop], ranks[stop] = place, rank
            if reading_id:
                counts.setdefault(stop, []).append(reading_id)
    return stops, counts


def _place(blob):
    """Easting and northing of a point as a GeoPackage keeps it (OGC 12-128r17, 2.1.3)."""
    if not isinstance(blob, bytes) or len(blob) < 8:
        return None
    envelope = (0, 32, 48, 48, 64)[min(blob[3] >> 1 & 7, 4)]
    point = ogr.CreateGeometryFromWkb(blob[8 + envelope:])
    place = (np.nan, np.nan) if point.IsEmpty() else (point.GetX(), point.GetY())
    return place if np.isfinite(place).all() else None


def _samples(database):
    samples = {}
    for fid, reading_id, number, *values in database.execute(SAMPLES):
        samples.setdefault(str(number).strip().casefold(), []).append(
            {"fid": fid, "reading_id": reading_id, **dict(zip(LABORATORY, values))})
    return samples


def _earlier(database, source_sha256, source_table, kind):
    if not database.execute("SELECT 1 FROM sqlite_master WHERE name = 'imports'").fetchone():
        return ()
    found = database.execute(EARLIER, (source_sha256, source_table, kind)).fetchall()
    return tuple(row for row in found
                 if database.execute(STILL_THERE, (row[0],)).fetchone()[0])
