"""A flag: one thing about the readings that is doubtful, why, and what to do about it."""
from dataclasses import dataclass

# Every kind of flag and what it is called.
KINDS = {
    "no_place": "No place on the map",
    "outside_field": "Outside the field",
    "duplicate": "Entered twice",
    "orphan": "Part of no reading",
    "impossible_value": "Impossible values",
    "unlikely_value": "Unlikely values",
    "depth_unit": "Depth or width in another unit",
    "pressure_unit": "Pressure in another unit",
    "count_basis": "Plants on another basis",
    "cone_scale": "Scale of the other cone",
    "mixed_cones": "Mixed or unknown cones",
    "dry_soil": "Probed in dry soil",
    "core_depth": "Nitrate from another depth",
    "outlier": "Unlike its neighbours",
    "missing_setting": "Setting is missing",
    "missing_date": "Date is missing",
    "odd_date": "Date out of season",
    "few_readings": "Too few for a map",
    "clustered_stops": "Stops in clusters",
}


@dataclass(frozen=True)
class Flag:
    """One doubt.

    kind        a key of KINDS
    layer       of the record
    fid         of the row; None where the flag is of the layer as a whole
    what        what was found, with the figure
    why         why it is doubtful
    remedy      what the user can do
    position_m  (easting, northing) of the row; None where there is none
    """
    kind: str
    layer: str
    fid: int
    what: str
    why: str
    remedy: str
    position_m: tuple = None


def counts_by_kind(flags):
    """Return a dict of every kind to the number of its flags, 0 where there is none."""
    counts = dict.fromkeys(KINDS, 0)
    for flag in flags:
        counts[flag.kind] += 1
    return counts
