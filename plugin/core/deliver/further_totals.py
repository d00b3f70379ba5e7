"""What a plan takes besides its rates, added up over its zones for the work order."""
import math

from ..units import UNIT_SYSTEMS
from .figures import figure

SEED_UNITS = "seed_units"  # units as sold: a unit of no system


def further_totals(rows):
    """Return (name, text) pairs of the seed, the fuel and the hours that a plan's zones take.

    A total that no zone has a figure for is left out. A plan's columns carry no unit: fuel is in
    that of the unit system its areas are in.

    Parameters
        rows  list of dict, one per zone, as `plan_layer` writes them
    """
    fuel = {system.area: system.fuel for system in UNIT_SYSTEMS.values()}
    found = []
    for column, name, unit_of in (
            (SEED_UNITS, "Seed, in units as sold", lambda row: ""),
            ("fuel", "Fuel, estimated", lambda row: fuel.get(row.get("area_unit"), "")),
            ("hours", "Hours in the field, estimated", lambda row: "h")):
        figures = [(row[column], unit_of(row)) for row in rows if _is_number(row.get(column))]
        if not figures:
            continue
        total, unit = sum(value for value, _ in figures), figures[0][1]
        found.append((name, f"{total:,.1f}" if column == SEED_UNITS
                      else figure(total, unit)["text"]))
    return tuple(found)


def _is_number(value):
    return isinstance(value, (int, float)) and math.isfinite(value)
