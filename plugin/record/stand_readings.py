"""Stand counts of a record as observations: metres in, the record's population unit out."""
from dataclasses import dataclass

import numpy as np

from ..core.decide.stand_ceiling import stand_ceiling_per_m2
from ..core.observations import Observations
from ..core.observe.stand import StandAtStop, hoop_area_m2, row_area_m2, stand_at_stops
from ..core.problems import InputProblem
from ..core.units import convert
from ..layers.boundary import inside_mask
from .stops import rows_named, scattered_stops, stop_named, stop_numbers, stops_at_one_place

LAYER = "stand_counts"
# Plants over seeds dropped: no seed makes two plants, but a count is short and seeds fall unevenly.
ABSURD = 1.5  # a count above it is left out
TOO_MANY = 1.1  # the middle stop above it: the counts as a whole cannot be right
FEW = 0.4  # the middle stop below it is asked about
NEXT_TO_NONE = 0.02  # the middle stop below it, if not 0: a unit is mistaken
DISAGREE = 1.5  # hoop over row counts in the middle, or the other way round, that is asked about
FEWEST_TO_COMPARE = 2  # counts of each kind


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

    A count without a place, outside the field, without its plants or its measure, or of more
    plants than can stand is left out and named. Counts that share a stop number are one stop, at
    their mean place; a count without a stop number is a stop of its own.

    Raises   InputProblem: no count can be used, or the counts as a whole cannot be right
    """
    table = record.table(LAYER)
    if not len(table["fid"]):
        raise InputProblem("stand_counts holds no reading. Enter the counts of the stops.")
    plants, area_m2 = plants_and_ground(record, table)
    positions = np.column_stack([table["x"], table["y"]])
    warnings, usable = [], np.ones(len(plants), bool)
    seeds_per_m2 = _seeds_per_m2(record)
    checks = (
        (~np.isfinite(positions).all(axis=1), "there is no place on the map. Put a point where the "
                                              "count was taken."),
        (plants < 0, "the count of plants is below 0. Enter what was counted."),
        (~np.isfinite(plants),
         "there is no count of plants. Enter plants, or the rows in row_counts."),
        (~np.isfinite(area_m2),
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
    density = np.where(usable, plants / area_m2, np.nan)
    _refuse_as_a_whole(record, table, usable, plants, area_m2, seeds_per_m2)
    absurd, what = _absurd(record, density, seeds_per_m2)
    if absurd.any():
        warnings.append(f"{LAYER}, {rows_named(table['fid'][absurd])}: {what} "
                        f"Check {_measures(record, table, absurd)}. Left out.")
        usable &= ~absurd
    stops = stop_numbers(table, usable)
    rows = _single_rows(record, table, usable, stops)
    stand = stand_at_stops(stops, plants[usable], area_m2[usable], row_stops=rows[0],
                           row_plants=rows[1], row_area_m2=rows[2], seeds_per_m2=seeds_per_m2)
    warnings += _few(record, table, usable, stand, seeds_per_m2)
    warnings += _disagreeing(record, table, usable, density)
    warnings += scattered_stops(LAYER, stops, positions[usable])
    warnings += stops_at_one_place(LAYER, stops, positions[usable])
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


def plants_and_ground(record, table):
    """Return plants of each count and the ground they stood on, m2; NaN where not known.

    A count without plants of its own takes those of its single rows, each on its own length of
    row, or the count's where it has none.
    """
    plants, area_m2 = table["plants"].copy(), _area_m2(record, table)
    rows = record.table("row_counts")
    without = np.flatnonzero(~np.isfinite(plants))
    widths_m = _row_widths_m(record, table, without)
    for number, width_m in zip(without, widths_m):
        mine = rows["of_stop"] == table["reading_id"][number]
        if not mine.any():
            continue
        counted, length = rows["plants"][mine], rows["length"][mine]
        length = _above_0(np.where(np.isfinite(length), length, table["length"][number]))
        plants[number] = np.where(counted >= 0, counted, np.nan).sum()
        area_m2[number] = row_area_m2(convert(length, record.units.length, "m"), width_m).sum()
    return plants, area_m2


def _area_m2(record, table):
    """Ground of each count, m2; NaN where a measure is missing, or is not above 0."""
    units = record.units
    hoop = table["method"] == "hoop"
    area = np.full(len(hoop), np.nan)
    diameter = _above_0(convert(table["hoop_diameter"], units.depth, "m"))
    hoops = _above_0(np.nan_to_num(table["hoops"], nan=1.0))
    area[hoop] = hoop_area_m2(diameter, hoops)[hoop]
    in_rows = np.flatnonzero(~hoop)
    length = _above_0(convert(table["length"][in_rows], units.length, "m"))
    rows = _above_0(np.nan_to_num(table["rows"][in_rows], nan=1.0))
    area[in_rows] = row_area_m2(length, _row_widths_m(record, table, in_rows), rows)
    return area


def _above_0(values):
    return np.where((values > 0) & np.isfinite(values), values, np.nan)


def _row_widths_m(record, table, numbers):
    """Row width at the counts of these numbers, m: the count's own, or else the field's."""
    widths_m = _above_0(convert(table["row_width"][numbers], record.units.depth, "m"))
    if np.isnan(widths_m).any():
        widths_m[np.isnan(widths_m)] = _row_width_m(record)
    return widths_m


def _row_width_m(record):
    width = record.field_value("row_width")
    if not 0 < width < np.inf:
        raise InputProblem(f"field, row_width: the row width is {width:g} {record.units.depth}. "
                           "Enter the distance from one row to the next.")
    return float(convert(width, record.units.depth, "m"))


def _single_rows(record, table, usable, stops):
    """Stop number, plants and ground of every row counted by itself at a usable count."""
    rows = record.table("row_counts")
    if not len(rows["fid"]):
        return (), (), ()
    units, used = record.units, np.flatnonzero(usable)
    parent = {table["reading_id"][number]: (stop, table["length"][number], width_m)
              for number, stop, width_m in zip(used, stops, _row_widths_m(record, table, used))}
    kept = []
    for of_stop, plants, length in zip(rows["of_stop"], rows["plants"], rows["length"]):
        stop, stop_length, width_m = parent.get(of_stop, (None, np.nan, np.nan))
        length = length if np.isfinite(length) else stop_length
        if stop is not None and plants >= 0 and length > 0:
            kept.append((stop, plants, float(convert(length, units.length, "m")) * width_m))
    return tuple(zip(*kept)) or ((), (), ())


def _seeds_per_m2(record):
    seeds = record.field["seeds_planted"]
    if seeds is None:
        return None
    if not 0 < seeds < np.inf:
        raise InputProblem(f"field, seeds_planted: {seeds:g} {record.units.seeding} were planted. "
                           "Enter the seeds dropped, or leave it empty.")
    return float(convert(seeds, record.units.seeding, "seeds/m2"))


def _refuse_as_a_whole(record, table, usable, plants, area_m2, seeds_per_m2):
    """Refuse counts whose middle stop has more plants than seeds, or next to none."""
    ceiling = stand_ceiling_per_m2(record.field["crop"])
    if seeds_per_m2 is None and ceiling is None:
        return
    _, group = np.unique(stop_numbers(table, usable), return_inverse=True)
    middle = float(np.median(np.bincount(group, plants[usable])
                             / np.bincount(group, area_m2[usable])))
    if seeds_per_m2 is None:
        wrong = middle > ceiling
        against = (f"more than {_said(ceiling, record)}, which hardly any field of "
                   f"{record.field['crop']} has")
    else:
        share = middle / seeds_per_m2
        wrong = share > TOO_MANY or 0 < share < NEXT_TO_NONE
        against = (f"but {record.field['seeds_planted']:,.0f} {record.units.seeding} were planted")
    if wrong:
        raise InputProblem(f"{LAYER}: the counts come to {_said(middle, record)} in the middle, "
                           f"{against}. Check {_measures(record, table, usable)}.")


def _absurd(record, density, seeds_per_m2):
    """Which counts have more plants than can stand, and the sentence that says so."""
    ceiling = stand_ceiling_per_m2(record.field["crop"])
    with np.errstate(invalid="ignore"):
        if seeds_per_m2 is not None:
            return density > ABSURD * seeds_per_m2, (
                f"more than {ABSURD:g} times as many plants as seeds dropped.")
        if ceiling is not None:
            return density > ceiling, (f"more than {_said(ceiling, record)}, which hardly any "
                                       f"field of {record.field['crop']} has.")
    return np.zeros(len(density), bool), ""


def _few(record, table, usable, stand, seeds_per_m2):
    if seeds_per_m2 is None:
        return []
    middle = float(np.median(stand.density))
    if middle >= FEW * seeds_per_m2:
        return []
    return [f"{LAYER}: half of the stops have {_said(middle, record)} or less, "
            f"{100 * middle / seeds_per_m2:.0f} % of the {record.field['seeds_planted']:,.0f} "
            f"{record.units.seeding} planted. If the field does not look that thin, "
            f"check {_measures(record, table, usable)}. Used as it is."]


def _disagreeing(record, table, usable, density):
    hoop = table["method"] == "hoop"
    kinds = [density[usable & mask] for mask in (hoop, ~hoop)]
    if min(map(len, kinds)) < FEWEST_TO_COMPARE:
        return []
    by_hoop, by_row = (float(np.median(kind)) for kind in kinds)
    if max(by_hoop, by_row) <= DISAGREE * min(by_hoop, by_row):
        return []
    return [f"{LAYER}: hoop counts come to {_said(by_hoop, record)} in the middle, row counts to "
            f"{_said(by_row, record)}. Where they were taken side by side, check the hoop diameter "
            f"({record.units.depth}), the unit of length ({record.units.length}) and the row "
            "width. Used as they are."]


def _said(density, record):
    """A density (per m2) in the record's unit, as messages say it."""
    unit = record.units.population
    return f"{float(convert(density, 'plants/m2', unit)):,.0f} {unit}"


def _measures(record, table, mask):
    """What may be wrong with the counts of a mask, in words: only what they rest on."""
    hoop = table["method"] == "hoop"
    parts = []
    if (mask & ~hoop).any():
        width = record.field["row_width"]
        said = "" if width is None else f" ({width:g} {record.units.depth})"
        parts += [f"the unit of length ({record.units.length})", "rows", f"the row width{said}"]
    if (mask & hoop).any():
        parts += [f"the hoop diameter ({record.units.depth})", "hoops"]
    parts.append("plants")
    if record.field["seeds_planted"] is not None:
        parts.append("seeds planted")
    return f"{', '.join(parts[:-1])} and {parts[-1]}"
