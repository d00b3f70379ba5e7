"""What was seen on the walk, as figures and words: what the summary keeps and the report prints."""
from collections import Counter, defaultdict
from dataclasses import dataclass

import numpy as np

from ..decide.data_table import read_data_table
from ..observe.clustered import mean_over_stops, share_over_stops
from ..observe.growth_stage import TABLE, TABLES, stage_in_words
from ..observe.seed_advice import advised_depths
from .figures import figure, interval, share

ROOTS = ("0, sound", "1, slight", "2, clear", "3, severe")
PLACES = ("Notes are taken where something shows: these figures are of the places noted, not of "
          "the field.")
DUG = ("Of the seeds dug. Where seeds were dug in gaps the share is lower than the field's; the "
       "stand counts tell the stand.")
SCALE = ("Root rating: this program's own scale, 0 sound to 3 severely bent, clubbed, pruned or "
         "rotted.")


@dataclass(frozen=True)
class Seen:
    """What the scouting layers of a record hold, as plain sequences.

    crop          of the field, or None
    depth_unit    of depths
    stages        (where, bbch, leaves) of each stop or note that has one of them; None unknown
    evenness      words, one of each stop that has one
    seed_stops, seed_depths, seed_emerged   (n,) of each seed dug; NaN or None unknown
    notes         Note of each scouting note
    warnings      sentences that name layer and rows
    """
    crop: str
    depth_unit: str
    stages: tuple
    evenness: tuple
    seed_stops: np.ndarray
    seed_depths: np.ndarray
    seed_emerged: tuple
    notes: tuple
    warnings: tuple


@dataclass(frozen=True)
class Note:
    """One scouting note; what is not entered is None or "".

    where                 stop or row, in words
    incidence, severity   0 to 1
    checked, affected     plants
    turn_at               depth at which roots turn, in the record's unit
    """
    where: str
    subject: str
    organism: str
    words: str
    incidence: float
    severity: float
    checked: float
    affected: float
    root_rating: int
    turn_at: float


def seen_account(seen, photos):
    """Return what was seen as plain data.

    Parameters
        seen    Seen
        photos  list of {"file", "caption", "found"} of every layer's photos
    Returns  dict; None where nothing was noted, dug or staged
    """
    if not (seen.notes or seen.stages or len(seen.seed_stops) or seen.evenness or photos):
        return None
    return {
        "title": "What was seen",
        "notes": figure(len(seen.notes)),
        "note_stops": figure(len({note.where for note in seen.notes})),
        "growth": _growth(seen), "evenness": _counted(seen.evenness),
        "seeds": _seeds(seen), "subjects": _subjects(seen.notes), "roots": _roots(seen),
        "listed": [_listed(note, seen.depth_unit) for note in seen.notes],
        "photos": list(photos), "said": _said(seen), "warnings": list(seen.warnings)}


def _growth(seen):
    words = [stage_in_words(seen.crop, bbch=bbch, leaves=leaves)
             for _, bbch, leaves in seen.stages]
    return _counted(word for word in words if word)


def _counted(words):
    return [{"title": word, "count": figure(count)}
            for word, count in sorted(Counter(words).items())]


def _seeds(seen):
    known = np.isfinite(seen.seed_depths)
    if not known.any() and not any(one is not None for one in seen.seed_emerged):
        return None
    made = {"seeds": figure(len(seen.seed_stops)),
            "stops": figure(len(np.unique(seen.seed_stops)))}
    if known.any():
        made |= _depths(seen, known)
    told = [number for number, one in enumerate(seen.seed_emerged) if one is not None]
    if told:
        up = share_over_stops(seen.seed_stops[told], [seen.seed_emerged[n] for n in told],
                              np.ones(len(told)))
        made |= {"emerged": percent(up.share),
                 "emerged_interval": _interval_of_shares(up.low, up.high)}
    return made


def _depths(seen, known):
    unit = seen.depth_unit
    found = mean_over_stops(seen.seed_stops, seen.seed_depths)
    made = {"mean": _depth(found.mean, unit),
            "interval": None if found.low is None else _depths_between(
                max(found.low, 0.0), found.high, unit),
            "variation": None if found.deviation is None or not found.mean else
            figure(round(100 * found.deviation / found.mean), "%")}
    advice = advised_depths(seen.crop, unit)
    if advice is not None:
        depths = seen.seed_depths[known]
        made["advised"] = _depths_between(advice.low, advice.high, unit)
        for key, limit, beyond in (("too_shallow", advice.too_shallow, np.less),
                                   ("too_deep", advice.too_deep, np.greater)):
            if limit is not None:
                made[key] = {"limit": _depth(limit, unit),
                             "seeds": figure(np.count_nonzero(beyond(depths, limit)))}
        made["advice_source"] = advice.source
    return made


def _subjects(notes):
    """Figures of each subject and organism: notes, incidence and severity."""
    groups = defaultdict(list)
    for note in notes:
        groups[note.subject or "not said", note.organism].append(note)
    return [_subject(subject, organism, mine)
            for (subject, organism), mine in sorted(groups.items())]


def _subject(subject, organism, notes):
    made = {"subject": subject, "organism": organism, "notes": figure(len(notes)),
            "stops": figure(len({note.where for note in notes}))}
    for name in ("incidence", "severity"):
        values = [getattr(note, name) for note in notes if getattr(note, name) is not None]
        made[name] = percent(np.mean(values)) if values else None
        made[f"{name}_range"] = _range_of_shares(min(values), max(values)) \
            if len(values) > 1 else None
        made[f"{name}_notes"] = figure(len(values))
    counted = [note for note in notes if note.checked and note.affected is not None]
    if counted:
        stops = np.unique([note.where for note in counted], return_inverse=True)[1]
        found = share_over_stops(stops, [note.affected for note in counted],
                                 [note.checked for note in counted])
        made |= {"plants": figure(found.readings), "counted_incidence": percent(found.share),
                 "counted_interval": _interval_of_shares(found.low, found.high)}
    return made


def _roots(seen):
    rated = [note.root_rating for note in seen.notes if note.root_rating is not None]
    depths = [note.turn_at for note in seen.notes if note.turn_at is not None]
    if not rated and not depths:
        return None
    made = {"ratings": [{"title": ROOTS[rating], "count": figure(rated.count(rating))}
                        for rating in range(len(ROOTS)) if rating in rated],
            "rated": figure(len(rated)), "scale": SCALE}
    if depths:
        made["turn_at"] = _depth(np.mean(depths), seen.depth_unit)
        made["turn_range"] = _depths_between(min(depths), max(depths), seen.depth_unit)
    return made


def _listed(note, depth_unit):
    said = note.words or ""
    if note.turn_at is not None:
        said = f"{said} Roots turn at {_depth(note.turn_at, depth_unit)['text']}.".strip()
    return {"where": note.where, "subject": " – ".join(
                part for part in (note.subject, note.organism) if part),
            "words": said,
            "incidence": None if note.incidence is None else percent(note.incidence),
            "severity": None if note.severity is None else percent(note.severity),
            "root_rating": None if note.root_rating is None else figure(note.root_rating)}


def _said(seen):
    """What the reader must know of these figures, as sentences."""
    said = []
    if seen.notes:
        said.append(PLACES)
    if any(one is not None for one in seen.seed_emerged):
        said.append(DUG)
    if seen.stages:
        table = read_data_table(TABLE, TABLES)
        said.append(f"Growth stages: leaf count and BBCH set beside each other "
                    f"{table.head['status_in_words']}. {table.head['source']}.")
    return said


def percent(value):
    """Return the figure of a share that was counted or judged, 0 to 1, in whole percent."""
    return figure(round(100 * float(value)), "%")


def _interval_of_shares(low, high):
    low, high = share(low), share(high)  # whose ends are never sure, as those of a chance
    return {"low": low, "high": high, "text": f"{low['text']} to {high['text']}"}


def _range_of_shares(low, high):
    return interval(round(100 * low), round(100 * high), "%")


def _depth(value, unit):
    """A depth to one decimal: seeds a centimetre apart come up differently."""
    return {**figure(value, unit), "text": f"{float(value):.1f} {unit}"}


def _depths_between(low, high, unit):
    low, high = _depth(low, unit), _depth(high, unit)
    return {"low": low, "high": high, "text": low["text"] if low["text"] == high["text"]
            else f"{low['text']} to {high['text']}"}
