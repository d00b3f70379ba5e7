"""Stand counts of a record as observations: metres in, the record's population unit out."""
from dataclasses import dataclass

import numpy as np

from ..core.observations import Observations
from ..core.observe.stand import StandAtStop, hoop_area_m2, row_area_m2, stand_at_stops
from ..core.problems import InputProblem
from ..core.units import convert
from ..layers.boundary import inside_mask
from .stops import rows_named, scattered_stops, stop_named, stop_numbers

LAYER = "stand_counts"
DOUBTFUL = 1.5  # plants over seeds dropped from which a count is asked about


@dataclass(frozen=True)
class StandReadings:
    """Observations of the stand, the counts behind them, and what was left out or is doubtful.

    counts    (n,) readings that went into each stop
    warnings  sentences that name layer, rows and remedy
    left_out  number of counts not used
    """
    observations: Observations
    stand: StandAtStop
    counts: np.ndarray
    warnings: tuple
    left_out: int


def stand_readings(record):
    """Return the stand at the stops of a record.

    A count without a place, outside the field or without its plants or its measure is left out
    and named. Counts that share a stop number are one stop, at their mean place; a count
    without a stop number is a stop of its own.

    Raises   InputProblem: no count can be used, or the counts as a whole cannot be right
    """
    table = record.table(LAYER)
    if not len(table["fid"]):
        raise InputProblem("stand_counts holds no reading. Enter the counts of the stops.")
    plants = _plants(record, table)
    area_m2 = _area_m2(record, table)
    positions = np.column_stack([table["x"], table["y"]])
    warnings, usable = [], np.ones(len(plants), bool)
    checks = (
        (~np.isfinite(positions).all(axis=1), "there is no place on the map. Put a point where the "
                                              "count was taken."),
        (~((plants >= 0) & np.isfinite(plants)),
         "there is no count of plants. Enter plants, or the rows in row_counts."),
        (~((area_m2 > 0) & np.isfinite(area_m2)),
         "length or hoop is missing or 0. Enter what was measured."),
        (usable & ~inside_mask(record.boundary_wkb, positions),
         "the place lies outside the field. Check the point, its CRS or the boundary."))
    for mask, what in checks:
        mask = mask & usable
        if mask.any():
            warnings.append(f"{LAYER}, {rows_named(table['fid'][mask])}: {what} Left out.")
            usable &= ~mask
    if not usable.any():
        raise InputProblem(f"None of {len(usable)} stand counts can be used. {warnings[0]}")
    stops = stop_numbers(table, usable)
    seeds_per_m2 = _seeds_per_m2(record)
    rows = _single_rows(record, table, usable, stops)
    stand = stand_at_stops(stops, plants[usable], area_m2[usable], row_stops=rows[0],
                           row_plants=rows[1], row_area_m2=rows[2], seeds_per_m2=seeds_per_m2)
    warnings += _doubtful(record, table, plants, area_m2, usable, seeds_per_m2)
    warnings += scattered_stops(LAYER, stops, positions[usable])
    unit = record.units.population
    factor = float(convert(1.0, "plants/m2", unit))
    group = np.searchsorted(stand.stops, stops)
    counts = np.bincount(group)
    place = np.column_stack([np.bincount(group, positions[usable, axis]) / counts
                             for axis in (0, 1)])
    observations = Observations.of(
        "Stand", unit, place, stand.density * factor,
        error_variance=stand.error_variance * factor**2,
        labels=[stop_named(LAYER, number) for number in stand.stops])
    return StandReadings(observations, stand, counts, tuple(warnings),
                         int(np.count_nonzero(~usable)))


def _plants(record, table):
    rows = record.table("row_counts")
    own = table["plants"].copy()
    by_stop = {}
    for stop, plants in zip(rows["of_stop"], rows["plants"]):
        by_stop[stop] = by_stop.get(stop, 0.0) + plants
    for number in np.flatnonzero(~np.isfinite(own)):
        own[number] = by_stop.get(table["reading_id"][number], np.nan)
    return own


def _area_m2(record, table):
    units = record.units
    hoop = table["method"] == "hoop"
    area = np.full(len(hoop), np.nan)
    diameter = convert(table["hoop_diameter"], units.depth, "m")
    area[hoop] = hoop_area_m2(diameter, np.nan_to_num(table["hoops"], nan=1.0))[hoop]
    if not hoop.all():
        width = float(convert(record.field_value("row_width"), units.depth, "m"))
        length = convert(table["length"], units.length, "m")
        rows = np.nan_to_num(table["rows"], nan=1.0)
        area[~hoop] = row_area_m2(length, width, rows)[~hoop]
    return area


def _single_rows(record, table, usable, stops):
    """Stop number, plants and ground of every row counted by itself at a usable count."""
    rows = record.table("row_counts")
    if not len(rows["fid"]):
        return (), (), ()
    units = record.units
    width = float(convert(record.field_value("row_width"), units.depth, "m"))
    parent = {table["reading_id"][number]: (stop, table["length"][number])
              for number, stop in zip(np.flatnonzero(usable), stops)}
    kept = []
    for of_stop, plants, length in zip(rows["of_stop"], rows["plants"], rows["length"]):
        stop, stop_length = parent.get(of_stop, (None, np.nan))
        length = length if np.isfinite(length) else stop_length
        if stop is not None and plants >= 0 and length > 0:
            kept.append((stop, plants, float(convert(length, units.length, "m")) * width))
    return tuple(zip(*kept)) or ((), (), ())


def _seeds_per_m2(record):
    seeds = record.field["seeds_planted"]
    if seeds is None:
        return None
    return float(convert(seeds, record.units.seeding, "seeds/m2"))


def _doubtful(record, table, plants, area_m2, usable, seeds_per_m2):
    if seeds_per_m2 is None:
        return []
    density = np.where(usable, plants / np.where(area_m2 > 0, area_m2, np.nan), np.nan)
    share = density / seeds_per_m2
    if np.nanmedian(share) > DOUBTFUL or 0 < np.nanmedian(share) < 0.02:
        unit = record.units.population
        middle = float(convert(np.nanmedian(density), "plants/m2", unit))
        raise InputProblem(
            f"stand_counts: the counts come to {middle:,.0f} {unit} in the middle, but "
            f"{record.field['seeds_planted']:,.0f} {record.units.seeding} were planted. Check the "
            f"unit of length ({record.units.length}), the row width ({record.units.depth}) and "
            "seeds planted.")
    mask = share > DOUBTFUL
    if not mask.any():
        return []
    return [f"{LAYER}, {rows_named(table['fid'][mask])}: more than {DOUBTFUL:g} times as many "
            "plants as seeds dropped. Check plants, length and rows. Used as it is."]
