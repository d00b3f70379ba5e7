"""Whether a summary has the shape the report prints."""
import json
from pathlib import Path

from ..core.problems import InputProblem
from .phrases import PLANS
from .words import tr

_WANTED = {"made": dict, "field": dict, "readings": list, "yields": list, "cautions": list,
           "lacking": list}
_SECTIONS = ("stand", "pan", "replant", "tillage")


def read_summary(path):
    """Return the summary in a JSON file.

    Raises   InputProblem: no such file, not JSON, or not in the shape of a field call's summary
    """
    path = Path(path)
    if not path.is_file():
        raise InputProblem(tr("There is no file {path}. Run the field call first; it writes "
                              "summary.json into its folder.").format(path=path))
    try:
        summary = json.loads(path.read_text(encoding="utf-8"))
    except ValueError as error:
        raise InputProblem(tr("{name} is not a summary: it does not read as JSON ({error}). Choose "
                              "the summary.json that the field call wrote.").format(
            name=path.name, error=error)) from error
    faults = faults_of(summary)
    if faults:
        raise InputProblem(tr("{name} is not a summary this version can print: {faults}. Choose "
                              "the summary.json that the field call wrote, or run the field call "
                              "again.").format(name=path.name, faults="; ".join(faults)))
    return summary


def faults_of(summary):
    """Return what is wrong with a summary, in words; an empty list where nothing is."""
    if not isinstance(summary, dict):
        return [tr("it holds no named sections")]
    faults = [tr("{section} is missing").format(section=key) if key not in summary
              else tr("{section} is not what it should be").format(section=key)
              for key, kind in _WANTED.items() if not isinstance(summary.get(key), kind)]
    faults += [tr("{section} is missing").format(section=key) for key in _SECTIONS
               if key not in summary]
    faults += [tr("{section} is not what it should be").format(section=key) for key in _SECTIONS
               if not isinstance(summary.get(key), (dict, type(None)))]
    faults += [tr("{section} is not what it should be").format(section=key)
               for key in ("seen", "findings", "sidedress", "lime")  # older summaries have none
               if not isinstance(summary.get(key), (dict, type(None)))]
    if not isinstance(summary.get("soil", []), list):
        faults.append(tr("{section} is not what it should be").format(section="soil"))
    if faults:
        return faults
    if summary.get("units") not in ("us", "metric"):
        faults.append(tr("its units are {units}, not us or metric").format(
            units=summary.get("units")))
    if not str(summary["field"].get("name") or "").strip():
        faults.append(tr("the field has no name"))
    for key in PLANS:
        if summary.get(key) is not None and not isinstance(summary[key].get("zones"), list):
            faults.append(tr("{section} has no zones").format(section=key))
    return faults + [tr("{figure} has no text").format(figure=name)
                     for name in _without_text(summary, "")]


def _without_text(part, name):
    if isinstance(part, dict):
        if ("value" in part or {"low", "high"} <= set(part)) and not isinstance(
                part.get("text"), str):
            yield name
        for key, value in part.items():
            yield from _without_text(value, f"{name}.{key}" if name else str(key))
    elif isinstance(part, list):
        for number, value in enumerate(part, 1):
            yield from _without_text(value, f"{name} {number}")
