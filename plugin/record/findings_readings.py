"""All that a record says on possible causes, as the Walk that core's findings take."""
from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from ..core.decide.findings.walk import Notes, RowCounts, Spots, Walk, WithinStops, nearby_stop
from ..core.observations import BELOW
from ..core.problems import InputProblem
from ..core.units import convert
from ..layers.boundary import near_row_ends
from .pan_readings import pan_readings
from .probe_readings import nitrate_readings, ph_readings
from .row_readings import row_readings, taped_runs_m
from .stand_readings import stand_readings
from .stops import stop_numbers

LAYERS_READ = ("stand_counts", "row_counts", "plant_positions", "seed_depths",
               "compaction_readings", "compaction_profile", "probe_points", "scout_notes")
UNEVENNESS = {"even": 0.0, "uneven": 1.0, "very_uneven": 2.0}
PLANTER_WIDTHS = 2  # of a headland whose width is not told: common practice is one to three
BESIDE_TRACKS = ("row", "between_rows")


@dataclass(frozen=True)
class CauseReadings:
    """The Walk of a record, and what its readers warn of."""
    walk: Walk
    warnings: tuple


def cause_readings(record, *, headland=None, units_checked=False):
    """Return what a record holds on possible causes; a part that cannot be used is told as lacking.

    A stop is in the headland where an insertion there was noted so, or where the row ends within
    the headland's width; where the row heading is not entered, where the field does.

    Parameters
        record         Record, its LAYERS_READ read
        headland       width of the headland in the record's length unit; None takes two widths
                       of the planter
        units_checked  the user has looked at the pressures: skip the check of their unit
    """
    lacks, warnings = {}, []
    stand = _read(lacks, warnings, "stand_counts", stand_readings, record)
    pan = _read(lacks, warnings, "compaction_readings", pan_readings, record,
                units_checked=units_checked)
    rows = _read(lacks, warnings, "row_counts", row_readings, record)
    nitrate = _read(lacks, warnings, "nitrate_n_ppm", nitrate_readings, record)
    acidity = _read(lacks, warnings, "ph", ph_readings, record)
    places = _observed(stand)
    at_row_end, words = _headland(record, places, headland)
    seeds = _seeds(record)
    return CauseReadings(Walk(
        crop=record.field["crop"], depth_unit=record.units.depth,
        pressure_unit=record.units.pressure, stand=places, at_row_end=at_row_end, headland=words,
        unevenness=_unevenness(record), pan_top=_pan_tops(record, pan),
        nitrate=_observed(nitrate), ph=_observed(acidity),
        seed_depths=_seed_depths(record, seeds), seeds=_seeds_up(record, seeds),
        tracks=_tracks(record), taped=len(taped_runs_m(record)),
        rows=None if rows is None else RowCounts(rows.stops, rows.units, rows.plants,
                                                 rows.length_m),
        notes=_notes(record), root_ratings=_root_ratings(record), lacks=lacks), tuple(warnings))


def _read(lacks, warnings, part, reader, record, **options):
    try:
        found = reader(record, **options)
    except InputProblem as problem:
        lacks[part] = str(problem)
        return None
    warnings.extend(found.warnings)
    return found


def _observed(readings):
    if readings is None:
        return Spots.of()
    return Spots(readings.observations.positions_m, readings.observations.values)


def _headland(record, stand, width):
    """Whether each stop of the stand lies in the headland, and what counts as that, in words."""
    table = record.table("compaction_readings")
    noted = (table["place"] == "headland") & np.isfinite(table["x"]) & np.isfinite(table["y"])
    near = nearby_stop(stand, _places(table)[noted])
    inside = np.isin(np.arange(len(stand)), near[near >= 0])
    width_m = _headland_m(record, width)
    if width_m is None:
        return inside, "noted as headland"
    heading = record.field["row_heading"]
    inside |= near_row_ends(record.boundary_wkb, stand.positions_m, width_m, heading)
    unit = record.units.length
    ends = "the field's edge" if heading is None else "the row ends"
    return inside, (f"within {float(convert(width_m, 'm', unit)):.0f} {unit} of {ends} or noted "
                    "as headland")


def _headland_m(record, width):
    if width is not None:
        return float(convert(width, record.units.length, "m"))
    rows, apart = record.field["planter_rows"], record.field["row_width"]
    if not (rows and apart):
        return None
    return PLANTER_WIDTHS * rows * float(convert(apart, record.units.depth, "m"))


def _places(table):
    return np.column_stack([table["x"], table["y"]])


def _unevenness(record):
    table = record.table("stand_counts")
    values = np.array([UNEVENNESS.get(value, np.nan) for value in table["evenness"]], float)
    return _spots(table, values)


def _spots(table, values):
    """The values that are known and have a place."""
    known = np.isfinite(values) & np.isfinite(_places(table)).all(axis=1)
    return Spots(_places(table)[known], values[known])


def _pan_tops(record, pan):
    """Depth of the pan at each stop, infinite where there is none; where not known, no spot."""
    if pan is None:
        return Spots.of()
    reach = record.field["tillage_greatest"]
    reach_m = float(convert(reach, record.units.depth, "m")) if reach else float(
        np.median([stop.reached_m for stop in pan.stops]))
    spots = [(stop.position_m, _top_m(stop)) for stop in pan.stops
             if not np.isnan(stop.pan_within(reach_m))]
    return Spots.of([place for place, _ in spots],
                    convert([top_m for _, top_m in spots], "m", record.units.depth))


def _top_m(stop):
    if not stop.found:
        return np.inf
    return 0.0 if stop.top_censoring == BELOW else stop.top_m


def _seeds(record):
    """Which rows of seed_depths have a depth that can be."""
    with np.errstate(invalid="ignore"):
        return record.table("seed_depths")["depth"] >= 0


def _seed_depths(record, usable):
    table = record.table("seed_depths")
    return _spots(table, np.where(usable, table["depth"], np.nan))


def _seeds_up(record, usable):
    table = record.table("seed_depths")
    known = usable & np.array([one is not None for one in table["emerged"]], bool)
    return WithinStops.of(stop_numbers(table, known),
                          [not one for one in table["emerged"][known]], table["depth"][known])


def _tracks(record):
    """Mean resistance of each insertion in a wheel track, or beside one at the same stop.

    Means are taken down to where the shortest profile of the stop ends. Another cone, or a stop
    without a number, compares nothing.
    """
    table, profiles = record.table("compaction_readings"), _profiles(record)
    wanted = (np.isin(table["place"].astype(str), ("wheel_track", *BESIDE_TRACKS))
              & (table["means"] == "gauge") & (table["refusal"] != "stone")
              & np.isfinite(table["stop"]))
    found = [(f"{table['stop'][number]:.0f}, {table['cone'][number]}",
              table["place"][number] == "wheel_track", *profiles[table["reading_id"][number]])
             for number in np.flatnonzero(wanted) if table["reading_id"][number] in profiles]
    if not found:
        return WithinStops.of()
    names, stops = np.unique([one[0] for one in found], return_inverse=True)
    shortest = [min(depths.max() for (_, _, depths, _), stop in zip(found, stops) if stop == at)
                for at in range(len(names))]
    return WithinStops.of(stops, [one[1] for one in found], [
        resistances[depths <= shortest[stop]].mean()
        for (_, _, depths, resistances), stop in zip(found, stops)])


def _profiles(record):
    """Depths and resistances of each insertion that has some, by its reading_id."""
    rows, profiles = record.table("compaction_profile"), defaultdict(list)
    for insertion, depth, resistance in zip(rows["of_insertion"], rows["depth"],
                                            rows["resistance"]):
        if np.isfinite(depth) and np.isfinite(resistance):
            profiles[insertion].append((depth, resistance))
    return {insertion: np.array(profile).T for insertion, profile in profiles.items()}


def _notes(record):
    table = record.table("scout_notes")
    told = np.array([bool(subject) for subject in table["subject"]], bool)
    told &= np.isfinite(_places(table)).all(axis=1)
    absent = ((table["incidence"] == 0) | (table["severity"] == 0)
              | (table["plants_affected"] == 0))
    return Notes.of(_places(table)[told], table["subject"][told], ~absent[told])


def _root_ratings(record):
    ratings = record.table("scout_notes")["root_rating"]
    return tuple(ratings[(ratings >= 0) & (ratings <= 3)])
