"""Everything that is checked of a record; the checks themselves are in core/check."""
import numpy as np

from ..core.check.clustered import check_clustered
from ..core.check.cones import check_cone_scales, check_mixed_cones
from ..core.check.core_depth import check_core_depth
from ..core.check.dates import check_dates
from ..core.check.dry_soil import check_dry_soil
from ..core.check.duplicates import check_duplicates, check_sample_numbers
from ..core.check.entries import check_order, check_range, check_words
from ..core.check.few_readings import check_few_readings
from ..core.check.flag import Flag
from ..core.check.limits import Mistake, check_limits, limits_of
from ..core.check.orphans import check_orphans
from ..core.check.outliers import check_outliers
from ..core.check.places import check_places
from ..core.check.reading_set import ReadingSet
from ..core.units import METRIC, US, convert
from ..layers.boundary import area_m2, outside_m, perimeter_m
from .schema import LAYERS, unit_of
from .stand_readings import plants_and_ground
from .stops import stop_numbers

# Harvest records are judged by cleanyield, which knows how a machine errs.
CHECKED = tuple(spec.name for spec in LAYERS if spec.name != "yield_points")
OF_THE_CROP = ("stand_counts", "seed_depths")  # readings that cannot be older than the planting
# What a column is in the table of limits.
QUANTITIES = {
    ("field", "seeds_planted"): "seeds_planted", ("field", "target_stand"): "target_stand",
    ("field", "row_width"): "row_width",
    ("stand_counts", "length"): "counted_length", ("row_counts", "length"): "counted_length",
    ("stand_counts", "hoop_diameter"): "hoop_diameter",
    ("seed_depths", "depth"): "seed_depth",
    ("compaction_readings", "felt_top"): "felt_depth",
    ("compaction_readings", "felt_bottom"): "felt_depth",
    ("compaction_readings", "deepest"): "deepest",
    ("compaction_profile", "depth"): "profile_depth",
    ("compaction_profile", "resistance"): "resistance",
    ("probe_points", "bottom_depth"): "core_bottom", ("probe_points", "ph"): "soil_ph",
    ("probe_points", "buffer_ph"): "buffer_ph",
    ("probe_points", "organic_matter"): "organic_matter",
    ("probe_points", "phosphorus_ppm"): "phosphorus",
    ("probe_points", "potassium_ppm"): "potassium",
    ("probe_points", "nitrate_n_ppm"): "nitrate",
    ("probe_points", "soil_moisture"): "soil_moisture",
}
# Depths of one row, the upper before the lower, and whether the two may meet.
ORDERED = (("compaction_readings", "felt_top", "felt_bottom", False),
           ("compaction_readings", "felt_bottom", "deepest", True),
           ("probe_points", "top_depth", "bottom_depth", False))
# Columns whose values are compared with their neighbours; True where they are skewed.
COMPARED = {"ph": False, "buffer_ph": False, "organic_matter": False, "phosphorus_ppm": True,
            "potassium_ppm": True, "nitrate_n_ppm": True, "soil_moisture": False}
DEPTHS = {  # how depths and widths are mistaken, by the record's unit
    US.depth: (Mistake("depth_unit", 1 / 2.54, "centimetres were entered as inches"),
               Mistake("depth_unit", 1 / 25.4, "millimetres were entered as inches")),
    METRIC.depth: (Mistake("depth_unit", 2.54, "inches were entered as centimetres"),
                   Mistake("depth_unit", 0.1, "millimetres were entered as centimetres"))}
DENSITIES = {  # how plants and seeds per area are mistaken, by the record's unit system
    US.name: (Mistake("count_basis", 1_000.0, "those on a thousandth of an acre were entered"),),
    METRIC.name: (Mistake("count_basis", 10_000.0, "those on a square metre were entered"),
                  Mistake("count_basis", 1_000.0, "thousands were entered"))}
PRESSURES = {
    US.pressure: Mistake("pressure_unit", float(convert(1.0, "kPa", "psi")), "kPa were entered as "
                                                                             "psi"),
    METRIC.pressure: Mistake("pressure_unit", 0.001, "Pa were entered as kPa")}


def record_flags(record, *, today=None):
    """Return every Flag of a record, by layer and row; the record is only read.

    Harvest records are not looked at; cleanyield judges those.

    Parameters
        record  Record with the rows of the layers in CHECKED
        today   date after which no reading can have been taken; None does not ask
    """
    flags = []
    for spec in LAYERS:
        if spec.name in CHECKED and len(record.table(spec.name)["fid"]):
            layer = _Layer(record, spec)
            flags += _of_any(layer, today)
            flags += _OF_LAYER.get(spec.name, _nothing)(layer)
    order = {name: number for number, name in enumerate(CHECKED)}
    return sorted(flags, key=lambda flag: (order[flag.layer], flag.fid is not None, flag.fid or 0))


class _Layer:
    """A layer of a record with what its checks ask for."""

    def __init__(self, record, spec):
        self.record, self.spec, self.name = record, spec, spec.name
        self.table = record.table(spec.name)
        self.fids = self.table["fid"]
        self.positions = (np.column_stack([self.table["x"], self.table["y"]])
                          if spec.geometry == "point" else np.full((len(self.fids), 2), np.nan))

    def readings(self, column, rows=slice(None)):
        """Return a column, or some rows of it, as a ReadingSet."""
        spec = self.spec.column(column)
        return ReadingSet(self.name, spec.title,
                          unit_of(spec, self.record.units, self.record.currency),
                          self.fids[rows], self.positions[rows], self.table[column][rows])

    def derived(self, title, unit, values):
        """Return values worked out of the rows as a ReadingSet."""
        return ReadingSet(self.name, title, unit, self.fids, self.positions, values)

    def stops(self, title):
        """Return the stops of the layer as a ReadingSet of ones, each at the mean of its places."""
        placed = np.isfinite(self.positions).all(axis=1)
        numbers, first, group = np.unique(stop_numbers(self.table, placed), return_index=True,
                                          return_inverse=True)
        sizes = np.bincount(group, minlength=len(numbers))
        places = np.column_stack([np.bincount(group, self.positions[placed, axis], len(numbers))
                                  / sizes for axis in (0, 1)])
        return ReadingSet(self.name, title, "", self.fids[placed][first], places,
                          np.ones(len(numbers)))

    def limits(self, quantity, unit):
        """Return the Limits of a quantity for the field's crop, or None."""
        return limits_of(quantity, self.record.field["crop"], unit)


def _nothing(_layer):
    return []


def _of_any(layer, today):
    spec, table = layer.spec, layer.table
    flags = []
    if spec.geometry == "point":
        flags += check_places(layer.name, layer.fids, layer.positions,
                              outside_m(layer.record.boundary_wkb, layer.positions))
        if layer.name != "seed_depths":  # seeds dug at one stop lie equally deep
            flags += check_duplicates(layer.name, layer.fids, layer.positions, _contents(layer))
        flags += check_dates(
            layer.name, layer.fids, layer.positions, table["taken_at"], today=today,
            planted=layer.record.field["planting_date"] if layer.name in OF_THE_CROP else None)
    if spec.parent is not None:
        parent, column = spec.parent
        flags += check_orphans(layer.name, layer.fids, table[column], parent,
                               layer.record.table(parent)["reading_id"])
    for column in spec.columns:
        if column.values:
            flags += check_words(layer.name, column.title, layer.fids, layer.positions,
                                 table[column.name], column.values)
        if column.kind in ("int", "real"):
            flags += _of_numbers(layer, column)
    for name, upper, lower, may_meet in ORDERED:
        if name == layer.name:
            flags += check_order(layer.readings(upper), layer.readings(lower), may_meet=may_meet)
    return flags


def _contents(layer):
    """What was entered in each row and its parts, as a tuple; None where that is nothing.

    What names a row and when it was taken are left out.
    """
    columns = [column for column in layer.spec.columns
               if column.name not in ("reading_id", "stop", "taken_at", "photo")]
    parts = [_parts(layer.record, spec) for spec in LAYERS
             if spec.parent is not None and spec.parent[0] == layer.name]
    contents = []
    for number, reading in enumerate(layer.table["reading_id"]):
        row = _plain(layer.table[column.name][number] for column in columns)
        of_it = tuple(part.get(reading) for part in parts)
        silent = all(value is None for column, value in zip(columns, row)
                     if column.default is None) and not any(of_it)
        contents.append(None if silent else row + of_it)
    return contents


def _parts(record, spec):
    """The rows of a child layer by the reading they belong to, in an order of their own."""
    table, rows = record.table(spec.name), {}
    columns = [table[column.name] for column in spec.columns
               if column.name not in ("reading_id", spec.parent[1])]
    for parent, *values in zip(table[spec.parent[1]], *columns):
        rows.setdefault(parent, []).append(_plain(values))
    return {parent: tuple(sorted(said, key=repr)) for parent, said in rows.items()}


def _plain(values):
    return tuple(None if value is None or value != value else value for value in values)


def _of_numbers(layer, column):
    readings = layer.readings(column.name)
    refused = check_range(readings, column.low, column.high)
    quantity = QUANTITIES.get((layer.name, column.name))
    limits = None if quantity is None else layer.limits(quantity, readings.unit)
    if limits is None:
        return refused
    if quantity == "deepest":  # a stone stops the rod at any depth
        through = np.isin(layer.table["refusal"], ("stone", "layer"), invert=True)
        readings = layer.readings(column.name, through)
    known = {flag.fid for flag in refused}
    return refused + [flag for flag in check_limits(readings, limits,
                                                    _mistakes(layer.record, column))
                      if flag.fid not in known]


def _mistakes(record, column):
    if column.quantity == "depth":
        return DEPTHS[record.units.depth]
    if column.quantity in ("population", "seeding"):
        return DENSITIES[record.units.name]
    if column.quantity == "pressure":
        return (PRESSURES[record.units.pressure],)
    return ()


def _of_field(layer):
    empty = [layer.spec.column(name).title for name in ("crop", "planting_date", "visit_date")
             if layer.record.field[name] in (None, "")]
    if layer.record.counts["stand_counts"] and layer.record.field["row_width"] is None:
        empty.append(layer.spec.column("row_width").title)
    return [Flag("missing_setting", "field", int(layer.fids[0]), f"{title} is empty.",
                 "Checks and plans rest on it.", "Enter it in the field's form.")
            for title in empty]


def _of_stand(layer):
    record, table = layer.record, layer.table
    flags = _of_set(layer.stops("Stand"), record)
    if record.field["row_width"] is None and (table["method"] != "hoop").any():
        return flags  # that it is missing is said of the field
    plants, ground_m2 = plants_and_ground(record, table)
    unit = record.units.population
    stand = layer.derived("Stand", unit, convert(plants / ground_m2, "plants/m2", unit))
    limits = layer.limits("stand", unit)
    flags += [] if limits is None else check_limits(stand, limits, (Mistake(
        "count_basis", convert(ground_m2, "m2", record.units.area),
        f"{unit.replace('/', ' per ')} were entered instead of the plants counted"),))
    return flags + check_outliers(stand)


def _of_seeds(layer):
    depths = layer.readings("depth")
    return check_few_readings(depths) + check_outliers(depths)


def _of_insertions(layer):
    record, table = layer.record, layer.table
    gauged = table["means"] != "felt"
    peaks = layer.derived("Peak resistance", record.units.pressure, _peaks(layer))
    flags = check_mixed_cones(layer.name, layer.fids[gauged], layer.positions[gauged],
                              table["cone"][gauged]) if gauged.any() else []
    flags += check_dry_soil(layer.name, layer.fids, layer.positions, table["moisture"])
    flags += check_cone_scales([
        (name, layer.name, convert(peaks.values[rows], record.units.pressure, "kPa"))
        for name, rows in _by_day_and_cone(table, gauged & np.isfinite(peaks.values))])
    return flags + _of_set(layer.stops("Compaction"), record) + check_outliers(peaks)


def _peaks(layer):
    """The greatest resistance of each insertion, NaN where there is none."""
    profile = layer.record.table("compaction_profile")
    greatest = {}
    for reading, resistance in zip(profile["of_insertion"], profile["resistance"]):
        if np.isfinite(resistance):
            greatest[reading] = max(resistance, greatest.get(reading, resistance))
    return np.array([greatest.get(reading, np.nan) for reading in layer.table["reading_id"]])


def _by_day_and_cone(table, rows):
    """Names of the sets of insertions, and the rows of each."""
    sets = {}
    for number in np.flatnonzero(rows):
        moment, cone = table["taken_at"][number], table["cone"][number]
        day = "without a date" if moment is None else f"of {moment:%Y-%m-%d}"
        named = f"with the {cone} cone" if cone in ("small", "large") else "with a cone not named"
        sets.setdefault(f"{day} {named}", []).append(number)
    return sets.items()


def _of_probes(layer):
    table = layer.table
    top, bottom = layer.readings("top_depth"), layer.readings("bottom_depth")
    flags = check_core_depth(layer.readings("nitrate_n_ppm"), top, bottom)
    flags += check_sample_numbers(layer.name, layer.fids, layer.positions, list(zip(
        table["sample_number"], np.nan_to_num(top.values), np.nan_to_num(bottom.values))))
    for column, skewed in COMPARED.items():
        if not np.isfinite(table[column]).any():
            continue
        flags += check_few_readings(layer.readings(column))
        for rows in _alike(layer, column):
            flags += check_outliers(layer.readings(column, rows), skewed=skewed)
    return flags + check_clustered(_within(layer.stops("Soil probes"), layer.record),
                                   *_size(layer.record))


def _alike(layer, column):
    """Rows that may be compared: of one depth, and of one way to measure where it is pH."""
    groups = {}
    for number in range(len(layer.fids)):
        key = (*(round(float(np.nan_to_num(layer.table[name][number])), 1)
                 for name in ("top_depth", "bottom_depth")),
               layer.table["ph_method"][number] if column == "ph" else None)
        groups.setdefault(key, []).append(number)
    return groups.values()


def _of_set(readings, record):
    return (check_few_readings(readings)
            + check_clustered(_within(readings, record), *_size(record)))


def _within(readings, record):
    """The readings inside the field: only these can be compared with chance in the field."""
    inside = outside_m(record.boundary_wkb, readings.positions_m) == 0
    return ReadingSet(readings.layer, readings.title, readings.unit, readings.fids[inside],
                      readings.positions_m[inside], readings.values[inside])


def _size(record):
    return area_m2(record.boundary_wkb), perimeter_m(record.boundary_wkb)


_OF_LAYER = {"field": _of_field, "stand_counts": _of_stand, "seed_depths": _of_seeds,
             "compaction_readings": _of_insertions, "probe_points": _of_probes}

