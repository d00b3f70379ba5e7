"""A task file made of zones with one rate each."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem
from .iso_grid import CODES, VALUES, grid_bytes
from .iso_task import (
    DEFAULT_CODE,
    FIRST_CODE,
    MOST_ZONES,
    OUTSIDE_CODE,
    Shown,
    TaskFile,
    TaskGrid,
    TreatmentZone,
)
from .set_points import SHOWN_DECIMALS, set_point_of

_OTHER_DECIMALS = 2


@dataclass(frozen=True)
class RateJob:
    """What a task file is made of.

    version        of the task file, one of iso_task.VERSIONS
    names          iso_task.Names
    unit           of all rates
    outside, lost  rates outside the field, and without a position or where no zone lies
    area_m2        of the field
    boundary       polygons of the field: tuples of rings (k, 2) of longitude and latitude, closed,
                   the exterior first
    zones          (name, rate, polygons) of each zone, its polygons like those of the boundary
    """
    version: str
    names: object
    unit: str
    outside: float
    lost: float
    area_m2: float
    boundary: tuple
    zones: tuple


def task_of_polygons(job):
    """Return the TaskFile of a job whose zones are polygons.

    In version 3 every part of a zone is a zone of its own, since a zone of version 3 is read with
    one polygon.

    Raises   InputProblem: more zones than there are codes, or a rate that no identifier holds
    """
    single = job.version.startswith("3")
    pieces = [(name, rate, part) for name, rate, polygons in job.zones
              for part in ([(polygon,) for polygon in polygons] if single else [tuple(polygons)])]
    _require_codes(len(pieces), "zones" if not single else
                   "zones, each part of a zone being one in version 3,")
    raw = _raw_of(job)
    return _file(job, [TreatmentZone(FIRST_CODE + number, name, raw(rate), polygons)
                       for number, (name, rate, polygons) in enumerate(pieces)])


def task_of_values(job, place, zone_numbers):
    """Return the TaskFile of a job as a grid of values.

    Parameters
        place         DegreeGrid
        zone_numbers  (rows, columns) which of the job's zones a cell belongs to, the southernmost
                      row first; -1 outside the field, where the rate is that of outside
    """
    raw = _raw_of(job)
    values = np.array([*(raw(rate) for _, rate, _ in job.zones), raw(job.outside)], np.int64)
    content = grid_bytes(values[zone_numbers], VALUES)
    return _file(job, [TreatmentZone(FIRST_CODE, "Grid", raw(job.outside))],
                 TaskGrid(place, VALUES, content))


def task_of_codes(job, place, zone_numbers):
    """Return the TaskFile of a job as a grid of zone codes; parameters as in task_of_values.

    Raises   InputProblem: more zones than there are codes
    """
    _require_codes(len(job.zones), "zones")
    raw, numbers = _raw_of(job), np.asarray(zone_numbers)
    cells = np.where(numbers < 0, OUTSIDE_CODE, FIRST_CODE + numbers)
    return _file(job, [TreatmentZone(FIRST_CODE + number, name, raw(rate))
                       for number, (name, rate, _) in enumerate(job.zones)],
                 TaskGrid(place, CODES, grid_bytes(cells, CODES)))


def _require_codes(count, what):
    if count > MOST_ZONES:
        raise InputProblem(f"{count} {what} are more than the {MOST_ZONES} that a task file has "
                           "codes for (0 to 254, two of them kept for outside the field and for "
                           "a lost position). Write a grid of rates, or merge zones of one rate.")


def _raw_of(job):
    set_point = set_point_of(job.unit)
    return lambda rate: set_point.raw(rate, job.unit)


def _file(job, zones, grid=None):
    set_point, raw = set_point_of(job.unit), _raw_of(job)
    return TaskFile(
        job.version, job.names, job.area_m2, job.boundary, set_point,
        Shown(set_point.step_in(job.unit), SHOWN_DECIMALS.get(job.unit, _OTHER_DECIMALS), job.unit),
        (TreatmentZone(OUTSIDE_CODE, "Outside the field", raw(job.outside)),
         TreatmentZone(DEFAULT_CODE, "Position lost, no zone", raw(job.lost)), *zones), grid)
