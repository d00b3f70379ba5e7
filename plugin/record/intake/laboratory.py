"""Results from a laboratory, joined to the probe points by the number on the bag."""
import math

import numpy as np

from ...core.problems import InputProblem
from .assembled import columns_of
from .kinds import LABORATORY

SAME = 1e-9  # of a value: what conversion to the record's unit may have rounded


def completions_of(rows, given, known):
    """Return what goes into empty cells of probe points; the other rows are set aside.

    A value that is there already is never changed: a result that differs from it is set aside,
    one that adds nothing is known.

    Parameters
        rows   RowsRead, with sample_number
        given  dict of column to the value that every row gets
        known  Known
    Returns  tuple of dicts for `batch.Batch`
    """
    columns = _results(rows, given)
    numbers, completions = rows.of("sample_number"), []
    for place in range(rows.count):
        if rows.reasons[place] is not None:
            continue
        try:
            point = _point_of(numbers[place], known.samples)
            found = {name: _plain(values[place]) for name, values in columns.items()}
            new = _new_values(point, found)
        except InputProblem as problem:
            rows.reasons[place] = str(problem)
            continue
        point.update(new)
        completions.append({**dict.fromkeys(LABORATORY), **new, "fid": point["fid"],
                            "reading_id": point["reading_id"],
                            "source_row": int(rows.numbers[place])})
    return tuple(completions)


def _results(rows, given):
    groups = np.arange(rows.count)
    columns = columns_of("probe_points", rows, groups, {"ph_method": "laboratory", **given})
    return {name: columns[name] for name in LABORATORY}


def _point_of(number, samples):
    if number is None:
        raise InputProblem("sample_number: it is empty. Enter the number on the bag.")
    points = samples.get(number.strip().casefold(), ())
    if not points:
        raise InputProblem(f"no probe point has the sample number {number!r}. Enter the point "
                           "first, or correct the number.")
    if len(points) > 1:
        raise InputProblem(f"{len(points)} probe points have the sample number {number!r}. Give "
                           "each its own.")
    return points[0]


def _plain(value):
    return None if value is None or value != value else value


def _new_values(point, found):
    if all(value is None for name, value in found.items() if name != "ph_method"):
        raise InputProblem("it holds no result. Enter one.")
    if found["ph"] is None:
        found["ph_method"] = None
    elif point["ph"] is not None:
        found["ph_method"] = point["ph_method"]
    differing = [name for name, value in found.items() if value is not None
                 and point[name] is not None and not _same(value, point[name])]
    if differing:
        name = differing[0]
        raise InputProblem(f"{name}: the probe point has {point[name]} already, the result is "
                           f"{found[name]}. An import changes no reading; correct it in the "
                           "record.")
    new = {name: value for name, value in found.items()
           if value is not None and point[name] is None}
    if not new:
        raise InputProblem("it is in the record already.")
    return new


def _same(value, other):
    if isinstance(value, str) or isinstance(other, str):
        return value == other
    return math.isclose(value, other, rel_tol=SAME)
