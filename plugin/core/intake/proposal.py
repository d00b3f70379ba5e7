"""The mapping that headers and the units in them suggest."""
import csv
from functools import cache
from pathlib import Path

from ..units import measure_alike, measures_force
from .header import header_words
from .mapping import ColumnUse, Mapping

_TABLE = Path(__file__).with_name("header_words.csv")


@cache
def _table():
    with open(_TABLE, encoding="utf-8", newline="") as file:
        return {row["target"]: tuple(row["words"].split("|")) for row in csv.DictReader(file)}


def words_for(layer, name):
    """Return the headers that a target of a layer goes by; a name with a dot has its layer."""
    return _table().get(name if "." in name else f"{layer}.{name}") or _table().get(name, ())


def propose_mapping(headers, targets):
    """Return the Mapping that the headers suggest; what no target goes by is left out.

    A header goes to the target whose words it holds most of; a target takes one header, but a
    series takes every header with a number of its own. A unit that cannot be the target's is
    taken for none.

    Parameters
        headers  names of the columns, each once
        targets  Targets that the readings can go to
    """
    read = {header: header_words(header) for header in headers}
    uses = dict(_series(read, targets))
    ranked = sorted(
        ((_score(read[header], target), -place, -rank, header, target)
         for place, header in enumerate(headers) if header not in uses
         for rank, target in enumerate(targets)), key=lambda one: one[:3], reverse=True)
    taken = {use.target for use in uses.values()}
    for score, _, _, header, target in ranked:
        if score and header not in uses and target.name not in taken:
            uses[header] = ColumnUse(header, target.name, unit=_unit(read[header], target))
            taken.add(target.name)
    return Mapping(tuple(uses[header] for header in headers if header in uses))


def is_known_header(text, targets):
    """Return whether a header is one that a target goes by, exactly or as one of a series.

    A number alone is none: it may be a reading.
    """
    words = header_words(text)
    if not words.words and not words.units and not words.number_unit:
        return False
    return any(_score(words, target) >= EXACT for target in targets) or (
        words.number is not None and any(_in_series(words, target) for target in targets))


EXACT = 1000
BY_UNIT = 500


def _score(words, target):
    if not target.unit and any("/" in unit for unit in words.units):
        return 0  # plants per acre are no plants counted
    best = 0
    tokens = words.words.split()
    for phrase in target.words:
        parts = phrase.split()
        if words.words == phrase:
            best = max(best, EXACT + len(parts))
        elif len(phrase) > 2 and _holds(tokens, parts):
            best = max(best, 10 * len(parts) + (tokens[:len(parts)] == parts))
    if best and words.number is not None and words.number_unit == "" and not target.series \
            and best < EXACT:
        return 0
    if any(target.unit and _fits(unit, target) for unit in words.units):
        if not best and not words.words and (target.series or "/" in target.unit):
            return EXACT  # a unit alone says it: psi, bu/ac
        if "/" in target.unit:
            return max(best, BY_UNIT)  # plants/ac are a population, whatever it is called
    return best


def _holds(tokens, parts):
    return any(tokens[start:start + len(parts)] == parts
               for start in range(len(tokens) - len(parts) + 1))


def _series(read, targets):
    """Yield the headers that are members of a series: at least two of one target."""
    for target in targets:
        if not target.series:
            continue
        members = [(header, words) for header, words in read.items()
                   if words.number is not None and _in_series(words, target)]
        if len(members) < 2:
            continue
        for header, words in members:
            depth_unit = words.number_unit or next(
                (unit for unit in words.units if measure_alike(unit, "m")), "")
            yield header, ColumnUse(header, target.name, unit=_unit(words, target),
                                    at=words.number, at_unit=depth_unit)


def _in_series(words, target):
    if not target.series:
        return False
    if not words.words:
        return target.unit != "" and (not words.units or any(_fits(unit, target)
                                                             for unit in words.units))
    tokens = [token for token in words.words.split() if token not in ("at", "depth", "of")]
    return " ".join(tokens) in target.words or (
        not tokens and any(_fits(unit, target) for unit in words.units))


def _unit(words, target):
    if not target.unit:
        return ""
    units = words.units + ((words.number_unit,) if words.number_unit else ())
    return next((unit for unit in units if _fits(unit, target)), "")


def _fits(unit, target):
    if measure_alike(unit, "kPa") or measures_force(unit):
        return measure_alike(target.unit, "kPa")
    if {unit, target.unit} == {"bu/ac", "t/ha"}:
        return True
    return measure_alike(unit, target.unit)
