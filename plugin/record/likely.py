"""Values that readings usually have: what lies outside is asked about, never refused."""
from math import floor, log10
from pathlib import Path

from ..core.decide.data_table import read_data_table
from ..core.units import convert
from .schema import layer_spec, unit_of

TABLES = Path(__file__).with_name("tables")
_DIGITS = 2  # that a limit keeps in another unit than its own: 4 in is asked about as 10 cm


def likely_ranges(layer, unit_system):
    """Return what the columns of a layer usually hold: dict of column -> (low, high).

    Limits are in the record's unit, rounded to two digits where they were converted; None is an
    open end. Columns that are not named may hold anything their specification allows.

    Parameters
        layer        name of a layer
        unit_system  core.units.UnitSystem of the record
    Source   the head of tables/likely_values.csv
    """
    spec, ranges = layer_spec(layer), {}
    for of_layer, name, low, high, unit in read_data_table("likely_values", TABLES).rows:
        if of_layer == layer:
            to = unit_of(spec.column(name), unit_system, "")
            ranges[name] = tuple(_limit(end, unit, to) for end in (low, high))
    return ranges


def _limit(text, unit, to):
    if not text:
        return None
    if unit == to:
        return float(text)
    value = float(convert(float(text), unit, to))
    return round(value, _DIGITS - 1 - floor(log10(abs(value))))
