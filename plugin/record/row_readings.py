"""Rows counted by their planter row unit, and plants taped along them: record to metres."""
from dataclasses import dataclass

import numpy as np

from ..core.observe.spacing import theoretical_spacing_m
from ..core.problems import InputProblem
from ..core.units import convert
from .stops import rows_named, stop_numbers

LAYER, TAPED = "row_counts", "plant_positions"


@dataclass(frozen=True)
class RowReadings:
    """Rows counted at the stops, and what was left out.

    stops, units, plants   (n,) stop number, row unit and plants of each counted row
    length_m               (n,) counted of it, metres
    warnings, left_out     sentences that name rows and remedy; number of rows not used
    """
    stops: np.ndarray
    units: np.ndarray
    plants: np.ndarray
    length_m: np.ndarray
    warnings: tuple
    left_out: int


def row_readings(record):
    """Return the rows of a record that were counted one by one.

    A row without a row unit, plants or length (its own, or its count's) is left out and named.

    Raises   InputProblem: no row can be used
    """
    rows, stands = record.table(LAYER), record.table("stand_counts")
    if not len(rows["fid"]):
        raise InputProblem(f"{LAYER} holds no row. Count the rows of the planter one by one, each "
                           "with its row unit.")
    parent = {name: number for number, name in enumerate(stands["reading_id"])}
    of = np.array([parent.get(name, -1) for name in rows["of_stop"]])
    stops = np.where(of >= 0, stop_numbers(stands, slice(None))[of] if len(parent) else 0, 0)
    own = convert(rows["length"], record.units.length, "m")
    shared = convert(stands["length"], record.units.length, "m")[of] if len(parent) else own
    length_m = np.where(np.isfinite(own), own, shared)
    usable, warnings = np.ones(len(of), bool), []
    for mask, what in (
            (of < 0, "the stand count they belong to is not in the record. Put it back, or enter "
                     "its reading_id in of_stop."),
            (~np.isfinite(rows["row_unit"]), "there is no planter row unit. Enter its number, "
                                             "counted from the left."),
            (~(rows["plants"] >= 0), "there is no count of plants of 0 or more. Enter it."),
            (~(length_m > 0), "there is no length counted. Enter it, or that of the stop.")):
        mask = mask & usable
        if mask.any():
            warnings.append(f"{LAYER}, {rows_named(rows['fid'][mask])}: {what} Left out.")
            usable &= ~mask
    if not usable.any():
        raise InputProblem(f"None of {len(usable)} counted rows can be used. {warnings[0]}")
    return RowReadings(stops[usable], rows["row_unit"][usable].astype(int),
                       rows["plants"][usable], length_m[usable], tuple(warnings),
                       int(np.count_nonzero(~usable)))


def taped_runs_m(record):
    """Return (row unit or None, positions in metres) of each taped length of row.

    A run is one row unit at one stand count; positions without a figure are left out.
    """
    table = record.table(TAPED)
    known = np.isfinite(table["position"])
    units = [None if np.isnan(unit) else int(unit) for unit in table["row_unit"][known]]
    runs = {}
    for of_stop, unit, position in zip(table["of_stop"][known], units,
                                       convert(table["position"][known], record.units.depth, "m")):
        runs.setdefault((of_stop, unit), []).append(position)
    return [(unit, np.array(positions)) for (_, unit), positions in runs.items()]


def spacing_set_m(record):
    """Return the spacing along the row that the planter was set to, metres.

    Raises   InputProblem: seeds planted or row width is empty or not above 0
    """
    values = record.field_values(("seeds_planted", "row_width"))
    if not (values["seeds_planted"] > 0 and values["row_width"] > 0):
        raise InputProblem("field: seeds planted and row width must be above 0. Enter them.")
    return theoretical_spacing_m(
        float(convert(values["seeds_planted"], record.units.seeding, "seeds/m2")),
        float(convert(values["row_width"], record.units.depth, "m")))
