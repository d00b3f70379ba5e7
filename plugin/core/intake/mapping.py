"""What each column of a source is read as: the mapping, as data and as JSON."""
import json
from dataclasses import dataclass, field

from ..problems import InputProblem


@dataclass(frozen=True)
class Target:
    """What a column of a source can be read as.

    name    of a column of the record; with its table before a dot where it is a part's ("
            row_counts.plants"), or of what is worked out from it (x, y, time_of_day...)
    kind    text, int, real, bool, datetime, time, x, y, xy, range or photo
    unit    the record's, "" for none
    values  the words allowed, all of them when empty
    series  whether several columns of a source may be read as it, each at a number of its own
    words   the headers it goes by
    """
    name: str
    kind: str
    title: str
    unit: str = ""
    values: tuple = ()
    series: bool = False
    words: tuple = ()


@dataclass(frozen=True)
class ColumnUse:
    """One column of a source and what it is read as.

    unit     of the numbers in it, "" for the record's
    at       of a series, its number: depth of a resistance, row unit of a count
    at_unit  unit of a depth `at`, "" for the record's
    decimal  "point" or "comma"; "" to look at the numbers
    """
    header: str
    target: str
    unit: str = ""
    at: float = None
    at_unit: str = ""
    decimal: str = ""


@dataclass(frozen=True)
class Mapping:
    """The columns used, the values that every row gets, and the cone that forces were read with."""
    columns: tuple
    values: dict = field(default_factory=dict)
    cone_area: float = None
    cone_area_unit: str = "in2"

    def uses(self, target):
        """Return the ColumnUses of a target, in order."""
        return tuple(use for use in self.columns if use.target == target)


def mapping_to_json(mapping):
    """Return a mapping as JSON text, without what is left at its default."""
    content = {"columns": [_without_defaults(use) for use in mapping.columns]}
    if mapping.values:
        content["values"] = mapping.values
    if mapping.cone_area is not None:
        content |= {"cone_area": mapping.cone_area, "cone_area_unit": mapping.cone_area_unit}
    return json.dumps(content, ensure_ascii=False, indent=1)


def mapping_from_json(text):
    """Return the Mapping of JSON text.

    Raises   InputProblem: it is no JSON or not of this shape; the message says where
    """
    try:
        content = json.loads(text)
    except ValueError as problem:
        raise InputProblem(f"The mapping is no JSON: {problem}.") from problem
    if not isinstance(content, dict) or not isinstance(content.get("columns"), list):
        raise InputProblem('The mapping must hold "columns": a list of {"header": ..., '
                           '"target": ...}.')
    _refuse_unknown(content, ("columns", "values", "cone_area", "cone_area_unit"), "The mapping")
    values = content.get("values", {})
    if not isinstance(values, dict):
        raise InputProblem('The mapping\'s "values" must be an object of names and values.')
    area = content.get("cone_area")
    if area is not None and (isinstance(area, bool) or not isinstance(area, (int, float))):
        raise InputProblem('The mapping\'s "cone_area" must be a number.')
    return Mapping(tuple(_use(one) for one in content["columns"]), values, area,
                   str(content.get("cone_area_unit", "in2")))


def _use(content):
    if not isinstance(content, dict) or not all(
            isinstance(content.get(name), str) for name in ("header", "target")):
        raise InputProblem('Each column of the mapping needs a "header" and a "target", both '
                           f"texts; one is {json.dumps(content, ensure_ascii=False)[:80]}.")
    where = f"The mapping of {content['header']!r}"
    _refuse_unknown(content, ("header", "target", "unit", "at", "at_unit", "decimal"), where)
    at = content.get("at")
    if at is not None and (isinstance(at, bool) or not isinstance(at, (int, float))):
        raise InputProblem(f'{where}: "at" must be a number.')
    if content.get("decimal", "") not in ("", "point", "comma"):
        raise InputProblem(f'{where}: "decimal" must be point or comma.')
    texts = {name: str(content.get(name, "")) for name in ("unit", "at_unit", "decimal")}
    return ColumnUse(content["header"], content["target"], at=at, **texts)


def _refuse_unknown(content, known, where):
    for name in content:
        if name not in known:
            raise InputProblem(f"{where} has {name!r}, which is not known; known are "
                               f"{', '.join(known)}.")


def _without_defaults(use):
    more = {"unit": use.unit, "at": use.at, "at_unit": use.at_unit, "decimal": use.decimal}
    return {"header": use.header, "target": use.target,
            **{name: value for name, value in more.items() if value not in ("", None)}}
