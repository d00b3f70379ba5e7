"""The rows that an import adds to a record, parents before their parts."""
import numpy as np

from ...core.long_call import long_call
from ...core.problems import InputProblem
from ...core.units import convert
from ..schema import layer_spec
from .assembled import (
    chosen,
    columns_of,
    content_of_parts,
    first_of_groups,
    grouped,
    is_empty,
    named_rows,
    parts_of,
)
from .photos import named_photos, photos_in, tagged_photos
from .places import to_record

KNOWN = "it is in the record already."
PART_OF_A_PLANT = 0.2  # by which a count worked back from plants per area may miss: our choice


def new_rows(kind, rows, *, crs, mapping, record, known, photos, kept, warnings, tick):
    """Return the Rows to write; rows of the source that add none are set aside with why.

    Parameters
        kind      Kind
        rows      RowsRead; reasons are added to it
        crs       of the positions as written
        mapping   Mapping
        record    Record
        known     Known
        photos    folder of photos, "" for none
        kept      KeptPhotos
        warnings  list that sentences are added to
        tick      called with the fraction done; may raise Stopped
    """
    _refuse_parts_without_value(kind, mapping)
    given = _given(kind, mapping)
    written = _written(rows)
    groups = grouped(rows, kind, written)
    parent = long_call(lambda: columns_of(kind.layer, rows, groups, given), tick)
    _fill_in(kind, parent, rows, mapping, record)
    if kind.name == "stand_counts" and rows.of("population") is not None:
        _count_again(rows, groups, parent, record)
    positions = _positions(rows, groups, parent, written, crs, record, known,
                           lambda fraction: tick(fraction / 2))
    owners = _owners_by_stop(kind, rows, groups, parent, known)
    _set_aside_placeless(rows, groups, parent, positions, owners)
    _bring_photos(rows, groups, parent, positions, record=record, photos=photos, kept=kept,
                  warnings=warnings)
    usable = np.flatnonzero(rows.usable)
    keep, first, inverse = long_call(lambda: np.unique(
        groups[usable], return_index=True, return_inverse=True), tick, 0.5)
    reading_of = np.full(rows.count, -1)
    reading_of[usable] = inverse
    parts = _parts(kind, rows, reading_of, mapping, record)
    kept_columns = long_call(lambda: {name: values[keep] for name, values in parent.items()},
                             tick, 0.5)
    made = named_rows(
        kind.layer, kept_columns,
        rows.numbers[usable[first]], positions=positions[keep],
        tick=lambda fraction: tick(0.5 + fraction / 2),
        parts=None if parts is None or owners is not None
        else content_of_parts(parts[2], parts[0], len(keep)))
    if owners is not None:
        return _added_to_stops(kind, rows, made, owners[keep], parts, known)
    fresh = _unknown(made.ids, known)
    rows.set_aside(_among(rows, usable[~fresh[inverse]]), KNOWN)
    if parts is None:
        return (chosen(made, fresh),)
    named = _named_parts(kind, rows, np.array(made.ids, object), parts)
    return chosen(made, fresh), chosen(named, fresh[parts[0]])


def _added_to_stops(kind, rows, made, owners, parts, known):
    """Parts of stand counts that may be in the record already, and those counts that are not."""
    ids = np.array([owner or name for owner, name in zip(owners, made.ids)], object)
    named = _named_parts(kind, rows, ids, parts)
    new = _unknown(named.ids, known)
    rows.set_aside(rows.usable & ~_among(rows, parts[1][new]), KNOWN)
    return chosen(made, _unknown(ids, known)), chosen(named, new)


def _named_parts(kind, rows, ids, parts):
    part_of, part_rows, columns = parts
    owner = layer_spec(kind.child).parent[1]
    return named_rows(kind.child, {**columns, owner: ids[part_of]}, rows.numbers[part_rows])


def _unknown(ids, known):
    return np.array([name not in known.ids for name in ids], bool)


def _among(rows, places):
    mask = np.zeros(rows.count, bool)
    mask[places] = True
    return mask


def _refuse_parts_without_value(kind, mapping):
    """Refuse a mapping that reads something of a part but not the part, which would be lost."""
    if not kind.child or mapping.uses(kind.part):
        return
    for use in mapping.columns:
        if use.target.startswith(f"{kind.child}."):
            raise InputProblem(f"The mapping reads {use.header} as {use.target}, but no column as "
                               f"{kind.part}, without which it would be lost. Read it as something "
                               f"else, or a column as {kind.part}.")


def _given(kind, mapping):
    """The values that every reading gets, checked against their columns."""
    given, names = {}, {column.name: column for column in layer_spec(kind.layer).columns}
    for name, value in mapping.values.items():
        column = names.get(name)
        if column is None or name == "reading_id":
            raise InputProblem(f'The mapping gives a value for {name!r}, which {kind.layer} does '
                               f"not have; it has {', '.join(names)}.")
        if column.values and value not in column.values:
            raise InputProblem(f"The mapping gives {value!r} for {name}, which is not one of "
                               f"{', '.join(column.values)}.")
        wanted = {"text": str, "bool": bool}.get(column.kind, (int, float))
        if column.kind in ("datetime", "date") or not isinstance(value, wanted) \
                or (isinstance(value, bool) and column.kind != "bool"):
            raise InputProblem(f"The mapping gives {value!r} for {name}, which holds "
                               f"{column.kind}.")
        given[name] = value
    return given


def _written(rows):
    x, y = rows.of("x"), rows.of("y")
    if x is None or y is None:
        return np.full((rows.count, 2), np.nan)
    return np.column_stack([x, y])


def _fill_in(kind, parent, rows, mapping, record):
    """Values that follow from others: the season from the date, how the pan was found."""
    if kind.name == "yield_points":
        dates, season = parent["taken_at"], parent["season"]
        years = np.where(np.isnat(dates), np.nan,
                         dates.astype("datetime64[Y]").astype(float) + 1970)
        season[:] = np.where(np.isnan(season), years, season)
        if record.field["season"] is not None:
            season[np.isnan(season)] = record.field["season"]
    if kind.name == "compaction_readings" and not mapping.uses(kind.part) \
            and rows.of("means") is None and rows.of("felt_top") is not None:
        parent["means"][:] = "felt"


def _count_again(rows, groups, parent, record):
    """Work the plants counted back from plants per area; rows where none could be are set aside."""
    units = record.units
    per_m2 = convert(first_of_groups(rows.of("population"), groups), units.population, "plants/m2")
    width = parent["row_width"].copy()
    if record.field["row_width"] is not None:
        width[np.isnan(width)] = record.field["row_width"]
    counted = per_m2 * convert(width, units.depth, "m") * parent["rows"] * convert(
        parent["length"], units.length, "m")
    wanted = np.isnan(parent["plants"]) & ~np.isnan(per_m2)
    for place in np.flatnonzero(wanted):
        whole = np.round(counted[place])
        if np.isnan(whole):
            rows.set_aside(groups == place, "plants per area say how many were counted only with "
                           "the length and the row width. Give both, or the plants counted.")
        elif abs(counted[place] - whole) > PART_OF_A_PLANT:
            rows.set_aside(groups == place, f"its plants per area would be {counted[place]:.2f} "
                           "plants on that length, and plants are whole. Give the plants counted, "
                           "or check length and row width.")
        else:
            parent["plants"][place] = whole


def _positions(rows, groups, parent, written, crs, record, known, tick):
    """Positions (k, 2) of the readings in the record's CRS; of their stop where they have none."""
    as_written = np.column_stack([first_of_groups(axis, groups) for axis in written.T])
    tick(0.0)
    positions = to_record(as_written, crs, record, tick)
    stops = parent.get("stop")
    if stops is not None:
        unwritten = np.isnan(as_written).all(axis=1)
        for place in np.flatnonzero(unwritten & ~np.isnan(stops)):
            positions[place] = known.stops.get(stops[place], (np.nan, np.nan))
    return positions


def _owners_by_stop(kind, rows, groups, parent, known):
    """Of plants along a tape: the stand count of each stop in the record, None where none is."""
    if kind.name != "plant_positions":
        return None
    owners = np.full(len(parent["stop"]), None, object)
    for place, stop in enumerate(parent["stop"]):
        counts = known.counts.get(stop, ())
        if len(counts) > 1:
            rows.set_aside(groups == place, f"{len(counts)} stand counts of the record have the "
                           f"stop {stop:g}. Give each its own number.")
        elif counts:
            owners[place] = counts[0]
    return owners


def _set_aside_placeless(rows, groups, parent, positions, owners):
    lost = np.isnan(positions).any(axis=1)
    if owners is not None:
        lost &= is_empty(owners)
        positions[np.isnan(positions)] = 0.0  # of stops that are in the record already
    stops = parent.get("stop")
    for place in np.flatnonzero(lost):
        here = groups == place if len(lost) < rows.count else place
        reason = _why_placeless(rows, here, None if stops is None else stops[place])
        if isinstance(here, np.ndarray):
            rows.set_aside(here, reason)
        elif rows.reasons[here] is None:
            rows.reasons[here] = reason


def _why_placeless(rows, here, stop):
    x, y = rows.of("x"), rows.of("y")
    if x is not None and y is not None:
        pair = np.atleast_1d(x[here])[0], np.atleast_1d(y[here])[0]
        if not np.isnan(pair).any():
            return (f"{pair[0]:.10g}, {pair[1]:.10g} is no place on earth in the CRS of the "
                    "positions. Correct it, or check SOURCE_CRS and AXES.")
    if stop is not None and not np.isnan(stop):
        return (f"it has no position, and the record has no place for stop {stop:g}. Give "
                "coordinates, or enter the stop first.")
    return "it has no position. Give coordinates, or the number of a stop of the record."


def _bring_photos(rows, groups, parent, positions, *, record, photos, kept, warnings):
    """Put the path of its photo, relative to the record, into each reading that has one."""
    if "photo" not in parent:
        return
    names = parent["photo"]
    if not photos:
        if not is_empty(names).all():
            warnings.append("Photos are named, but no folder of PHOTOS is given: their names are "
                            "kept as they are.")
        return
    there = photos_in(photos)
    found, wrong = named_photos(names, there)
    for place, reason in wrong.items():
        rows.set_aside(groups == place, reason)
    used = {path for path in found if path is not None}
    bare = np.flatnonzero(is_empty(names) & np.isfinite(positions).all(axis=1))
    tagged, left = tagged_photos(positions[bare], [path for path in there.values()
                                                   if path not in used], record)
    for place, path in tagged.items():
        found[bare[place]] = path
    if left:
        warnings.append(f"Photos with a geotag but no reading near it: "
                        f"{', '.join(path.name for path in left[:8])}"
                        f"{' and more' if len(left) > 8 else ''}. Not brought along.")
    usable = set(groups[rows.usable].tolist())
    for place, path in enumerate(found):
        if path is not None and place in usable:
            names[place] = kept.keep(path)


def _parts(kind, rows, reading_of, mapping, record):
    """The parts as `parts_of` gives them, depths in the record's unit; None where none are read."""
    if not kind.child or not any(key[0] == kind.part for key in rows.values):
        return None
    readings, places, columns = parts_of(kind, rows, reading_of)
    if kind.name == "compaction_readings" and rows.of(kind.part) is None:
        columns["depth"] = _depths(mapping.uses(kind.part), columns["depth"], record)
    return readings, places, columns


def _depths(uses, written, record):
    """Depths of a profile's columns in the record's unit."""
    depths = written.copy()
    for use in uses:
        if use.at is None:
            raise InputProblem(f'{use.header}: the mapping must say "at" which depth it was read.')
        depths[written == use.at] = convert(use.at, use.at_unit or record.units.depth,
                                            record.units.depth)
    return depths
