"""Rows as they were read to readings of the record: parts to their whole, and what is lacking."""
import numpy as np

from ...core.intake.content_ids import content_ids
from ...core.intake.insertions import groups_of_rows
from ...core.problems import InputProblem
from ..schema import layer_spec
from .batch import Rows


class RowsRead:
    """The rows of a source: their numbers, their values by key, and why some are set aside.

    numbers  (n,) of the rows in the source
    values   dict of (target, at) to (n,) array
    reasons  (n,) object: None, or why a row is set aside
    """

    def __init__(self, numbers, values, reasons):
        self.numbers, self.values, self.reasons = numbers, values, reasons

    def of(self, target):
        """Return the values of a target that stands in one column, None where it is not read."""
        return self.values.get((target, None))

    def set_aside(self, where, reason):
        """Set rows aside, each for the first reason found; `where` is a mask."""
        self.reasons[where & (self.reasons == None)] = reason  # noqa: E711 - element by element

    @property
    def usable(self):
        """The mask of the rows that are not set aside."""
        return self.reasons == None  # noqa: E711 - element by element

    @property
    def count(self):
        """How many rows there are."""
        return len(self.numbers)


def is_empty(values):
    """Return the mask of what is missing in an array of values."""
    if values.dtype == object:
        return values == None  # noqa: E711 - element by element
    return np.isnan(values) if values.dtype.kind == "f" else np.isnat(values)


def finished_times(rows):
    """Put dates and times of day together, where they stand in columns of their own."""
    dates, times = rows.of("taken_at"), rows.values.pop(("time_of_day", None), None)
    if times is None:
        return
    if dates is None:
        raise InputProblem("The mapping has a time of day but no date. Read a column as taken_at, "
                           "or leave the time out.")
    there = ~np.isnat(times) & ~np.isnat(dates)
    dates[there] = dates[there].astype("datetime64[D]") + times[there]


def grouped(rows, kind, places):
    """Return for each row the number of the reading it belongs to; a row a reading by itself.

    Where parts stand a row each, one that is set aside takes the other rows of its reading along:
    half a profile would pass for a whole one, and be there twice once it is mended.

    Parameters
        rows    RowsRead
        kind    Kind
        places  (n, 2) positions as written or NaN
    """
    if not kind.child or rows.of(kind.part) is None:
        return np.arange(rows.count)
    keys = [rows.of(name) for name in ("stop", "insertion") if rows.of(name) is not None]
    keys = keys or [places[:, 0], places[:, 1]]
    keys = [tuple(None if part != part else part for part in key)
            for key in zip(*(values.tolist() for values in keys))]
    repeats = None
    if kind.name == "compaction_readings" and rows.of("insertion") is None \
            and rows.of(kind.part_at) is not None:
        repeats = rows.of(kind.part_at).tolist()
    groups = groups_of_rows(keys, repeats)
    _set_aside_partless(rows, kind)
    _set_aside_contradictions(rows, kind, groups)
    first_bad = {}
    for place in np.flatnonzero(~rows.usable):
        first_bad.setdefault(groups[place], rows.numbers[place])
    for place in np.flatnonzero(rows.usable & np.isin(groups, list(first_bad))):
        rows.reasons[place] = (f"it belongs to the same reading as row {first_bad[groups[place]]}, "
                               "which is set aside. Mend that row.")
    return groups


def _set_aside_partless(rows, kind):
    value, at = rows.of(kind.part), rows.of(kind.part_at)
    name = layer_spec(kind.child).column(kind.value).title.lower()
    if kind.name == "compaction_readings":
        if at is None:
            raise InputProblem("The mapping has a resistance but no depth. Read a column as "
                               f"{kind.part_at}, or resistances at depths of their own.")
        rows.set_aside(is_empty(value) & ~is_empty(at), f"{name}: it is empty. Enter it.")
        rows.set_aside(~is_empty(value) & is_empty(at), "depth: it is empty. Enter it.")
    else:
        rows.set_aside(is_empty(value), f"{name}: it is empty. Enter it.")


def _set_aside_contradictions(rows, kind, groups):
    for column in layer_spec(kind.layer).columns:
        values = rows.of(column.name)
        if values is None or not column.values:
            continue
        chosen = first_of_groups(values, groups)[groups]
        rows.set_aside(~is_empty(values) & (values != chosen), f"{column.name}: it differs from "
                       "that of another row of the same reading. Make them agree.")


def first_of_groups(values, groups):
    """Return of each group the first value that is not empty, or an empty one."""
    count = int(groups.max()) + 1 if len(groups) else 0
    if values.dtype == object:
        first = np.empty(count, object)
    else:
        first = np.full(count, "NaT" if values.dtype.kind in "mM" else np.nan, values.dtype)
    there = ~is_empty(values)
    first[groups[there][::-1]] = values[there][::-1]  # of several, the last one written stays
    return first


def columns_of(layer, rows, groups, given, prefix=""):
    """Return every column of a layer as arrays with a value a group, empty where not read.

    A value given for all rows goes where a row has none; so does the default of a column that
    must not be empty, or that is not read at all.
    """
    count = int(groups.max()) + 1 if len(groups) else 0
    columns, spec = {}, layer_spec(layer)
    for column in spec.columns:
        if column.name == "reading_id" or spec.parent and column.name == spec.parent[1]:
            continue
        read = rows.of(prefix + column.name)
        values = _empty(column, count) if read is None else first_of_groups(read, groups)
        filler = given.get(column.name)
        if filler is None and (column.required or read is None):
            filler = column.default
        if filler is not None:
            values[is_empty(values)] = filler
        columns[column.name] = values
    return columns


def _empty(column, count):
    if column.kind in ("int", "real"):
        return np.full(count, np.nan)
    if column.kind == "datetime":
        return np.full(count, "NaT", "datetime64[ms]")
    return np.empty(count, object)


def parts_of(kind, rows, groups):
    """Return the parts of the usable rows: their group, their row, and their columns.

    Returns  (p,) groups, (p,) positions of rows, dict of column to (p,) array
    """
    spec = layer_spec(kind.child)
    long = rows.of(kind.part)
    if long is not None:
        places = np.flatnonzero(rows.usable & ~is_empty(long))
        own = np.arange(len(places))
        part = RowsRead(rows.numbers[places], {key: values[places] for key, values in
                                               rows.values.items()}, rows.reasons[places])
        return groups[places], places, columns_of(kind.child, part, own, {},
                                                  f"{kind.child}.")
    wide = [(at, values) for (target, at), values in rows.values.items() if target == kind.part]
    places, values, ats = [], [], []
    for at, column in wide:
        here = np.flatnonzero(rows.usable & ~is_empty(column))
        places.append(here)
        values.append(column[here])
        ats.append(np.full(len(here), np.nan if at is None else at))
    places, values, ats = (np.concatenate(one) if one else np.array([]) for one in
                           (places, values, ats))
    order = np.argsort(places, kind="stable")
    places = places[order].astype(int)
    columns = {column.name: _empty(column, len(places)) for column in spec.columns
               if column.name not in ("reading_id", spec.parent[1])}
    columns[kind.value] = values[order]
    if kind.at:
        columns[kind.at] = ats[order]
    return groups[places], places, columns


def content_of_parts(columns, groups, count):
    """Return what the parts of each group hold, as bytes."""
    content = [[] for _ in range(count)]
    names = sorted(columns)
    for group, *values in zip(groups.tolist(), *(columns[name].tolist() for name in names)):
        content[group].append(values)
    return [repr(one).encode() for one in content]


def named_rows(layer, columns, source_row, *, positions=None, parts=None, tick=None):
    """Return Rows of a layer, each named by what it holds."""
    content = dict(columns)
    if positions is not None:
        content |= {"x": positions[:, 0], "y": positions[:, 1]}
    whole = frozenset(column.name for column in layer_spec(layer).columns
                      if column.kind == "int")
    ids = content_ids(layer, content, parts=parts, tick=tick)
    return Rows(layer, ids, columns, source_row, positions, whole)


def chosen(rows, mask):
    """Return those Rows that a mask names."""
    places = np.flatnonzero(mask)
    if len(places) == len(rows.ids):
        return rows
    return Rows(rows.layer, [rows.ids[place] for place in places],
                {name: values[places] for name, values in rows.columns.items()},
                rows.source_row[places],
                None if rows.positions is None else rows.positions[places], rows.whole)
