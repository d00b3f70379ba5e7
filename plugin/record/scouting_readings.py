"""What the scouting layers of a record hold: stages, seeds dug, notes and photos."""
from pathlib import Path

import numpy as np

from ..core.deliver.seen import Note, Seen
from ..core.observe.growth_stage import stages_disagree
from .schema import title_of_value
from .stops import rows_named, stop_numbers

LAYERS_READ = ("stand_counts", "seed_depths", "compaction_readings", "probe_points",
               "scout_notes")
PICTURES = (".jpg", ".jpeg", ".png")


def scouting_readings(record):
    """Return (Seen, photos) of a record; a value that cannot be is taken for missing and named.

    A photo counts as found where its path, as entered, leads to a picture below the record's own
    folder: no other place is looked at.

    Returns  Seen, and a list of {"file", "caption", "found"} as `seen_account` takes it
    """
    warnings = []
    notes = _notes(record, warnings)
    seeds = record.table("seed_depths")
    depths = _sound(seeds, "seed_depths", "depth", warnings)
    stages = _stages(record, warnings)
    evenness = tuple(title_of_value(value) for value in record.table("stand_counts")["evenness"]
                     if value)
    seen = Seen(record.field["crop"], record.units.depth, stages, evenness,
                stop_numbers(seeds, np.ones(len(depths), bool)), depths,
                tuple(seeds["emerged"]), notes, tuple(warnings))
    return seen, _photos(record)


def photo_path(folder, name):
    """Return the picture that a photo's path leads to below a folder, or None."""
    folder = Path(folder).resolve()
    try:
        path = (folder / name).resolve()
        inside = path.is_relative_to(folder) and path.is_file()
    except (OSError, ValueError):  # no path at all, such as one with a null in it
        return None
    return path if inside and path.suffix.lower() in PICTURES else None


def _sound(table, layer, column, warnings, *, most=np.inf):
    """A column of numbers, NaN where it is below 0 or above the most; those are named."""
    values = table[column]
    with np.errstate(invalid="ignore"):
        wrong = (values < 0) | (values > most)
    if wrong.any():
        warnings.append(f"{layer}, {rows_named(table['fid'][wrong])}, {column}: a value that "
                        "cannot be. Correct it. Not counted.")
    return np.where(wrong, np.nan, values)


def _where(table, number):
    stop = table["stop"][number]
    return f"stop {stop:.0f}" if np.isfinite(stop) else f"row {table['fid'][number]}"


def _stages(record, warnings):
    found, crop = [], record.field["crop"]
    for layer in ("stand_counts", "scout_notes"):
        table, odd = record.table(layer), []
        for number in range(len(table["fid"])):
            bbch, leaves = (_whole(table[name][number])
                            for name in ("growth_stage_bbch", "leaf_collars"))
            if bbch is None and leaves is None:
                continue
            found.append((_where(table, number), bbch, leaves))
            if stages_disagree(crop, bbch, leaves):
                odd.append(table["fid"][number])
        if odd:
            warnings.append(f"{layer}, {rows_named(odd)}: leaf collars and BBCH growth stage do "
                            "not agree. Check both. Counted by the leaves.")
    return tuple(found)


def _notes(record, warnings):
    table = record.table("scout_notes")
    columns = {name: _sound(table, "scout_notes", name, warnings, most=most)
               for name, most in (("incidence", 100), ("severity", 100), ("root_rating", 3),
                                  ("plants_checked", np.inf), ("plants_affected", np.inf),
                                  ("roots_turn_at", np.inf))}
    with np.errstate(invalid="ignore"):
        more = columns["plants_affected"] > columns["plants_checked"]
    if more.any():
        warnings.append(f"scout_notes, {rows_named(table['fid'][more])}: more plants affected "
                        "than checked. Correct one. Not counted.")
        columns["plants_affected"] = np.where(more, np.nan, columns["plants_affected"])
    return tuple(_note(record, table, columns, number) for number in range(len(table["fid"])))


def _note(record, table, columns, number):
    checked, affected = (_number(columns[name][number])
                         for name in ("plants_checked", "plants_affected"))
    incidence = _number(columns["incidence"][number])
    if checked and affected is not None:  # what was counted is surer than what was judged
        incidence = 100 * affected / checked
    severity = _number(columns["severity"][number])
    subject = table["subject"][number]
    return Note(
        where=_where(table, number),
        subject=title_of_value(subject) if subject else "",
        organism=table["organism"][number] or "", words=table["seen"][number] or "",
        incidence=None if incidence is None else incidence / 100,
        severity=None if severity is None else severity / 100, checked=checked,
        affected=affected, root_rating=_whole(columns["root_rating"][number]),
        turn_at=_number(columns["roots_turn_at"][number]))


def _photos(record):
    folder, found = Path(record.path).parent, []
    for layer in LAYERS_READ:
        table = record.table(layer)
        for number, name in enumerate(table.get("photo", ())):
            if name:
                subject = table["subject"][number] if "subject" in table else None
                caption = ", ".join(part for part in (
                    _where(table, number), subject and title_of_value(subject)) if part)
                found.append({"file": name, "caption": caption,
                              "found": photo_path(folder, name) is not None})
    return found


def _number(value):
    return float(value) if np.isfinite(value) else None


def _whole(value):
    return int(value) if np.isfinite(value) else None
