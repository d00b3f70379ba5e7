"""An ISO 11783-10 task file: one field, one task, one set point, as objects and as elements.

Letters and codes are those of the task file schemas 3.3 and 4.3.
"""
from dataclasses import dataclass

import numpy as np

from .degree_grid import DegreeGrid
from .iso_grid import VALUES
from .set_points import SetPoint
from .xml_text import Element, designator, fixed

ROOT = "ISO11783_TaskData"
VERSIONS = ("3.3", "4.3")
GRID_NAME = "GRD00000"
OUTSIDE_CODE, DEFAULT_CODE, FIRST_CODE, LAST_CODE = 0, 1, 2, 254
MOST_ZONES = LAST_CODE - FIRST_CODE + 1
BOUNDARY, ZONE = 1, 2  # kinds of polygon
_EXTERIOR, _INTERIOR = 1, 2  # kinds of line string
_RING_POINT, _PLANNED, _FROM_OFFICE = 2, 1, 1


@dataclass(frozen=True)
class Names:
    """What a task file says of the job, cut to 32 characters where it is written."""
    customer: str
    farm: str
    field: str
    task: str
    program: str
    program_version: str


@dataclass(frozen=True)
class Shown:
    """How a controller shows raw values: times `scale`, to `decimals`, with `unit`."""
    scale: float
    decimals: int
    unit: str


@dataclass(frozen=True)
class TreatmentZone:
    """A zone: its code, name and raw value, and its polygons.

    A polygon is a tuple of closed rings, the exterior first; a ring is (k, 2) longitude, latitude.
    """
    code: int
    name: str
    raw: int
    polygons: tuple = ()


@dataclass(frozen=True)
class TaskGrid:
    """A grid of the task: where it lies, its kind (CODES or VALUES), and the bytes of its file.

    code   of the zone whose set point its values are; for a grid of codes without meaning
    """
    place: DegreeGrid
    kind: int
    content: bytes
    code: int = FIRST_CODE


@dataclass(frozen=True)
class TaskFile:
    """All of a task file.

    version    one of VERSIONS
    boundary   polygons of the field, as those of a TreatmentZone
    zones      TreatmentZones; those of OUTSIDE_CODE and DEFAULT_CODE among them
    grid       TaskGrid, or None
    """
    version: str
    names: Names
    area_m2: float
    boundary: tuple
    set_point: SetPoint
    shown: Shown
    zones: tuple
    grid: TaskGrid = None


def elements_of(file):
    """Return the root Element of a TaskFile.

    Version 3 holds a split field as one polygon with several exteriors, version 4 as several
    polygons.
    """
    names, major = file.names, file.version.split(".")[0]
    boundary = [file.boundary] if major == "3" else [(polygon,) for polygon in file.boundary]
    shown, minor = file.shown, file.version.split(".")[1]
    return Element(ROOT, {
        "VersionMajor": major, "VersionMinor": minor,
        "ManagementSoftwareManufacturer": designator(names.program),
        "ManagementSoftwareVersion": designator(names.program_version),
        "DataTransferOrigin": str(_FROM_OFFICE)}, (
        Element("VPN", {"A": "VPN1", "B": "0", "C": fixed(shown.scale), "D": str(shown.decimals),
                        "E": designator(shown.unit)}),
        Element("CTR", {"A": "CTR1", "B": designator(names.customer)}),
        Element("FRM", {"A": "FRM1", "B": designator(names.farm), "I": "CTR1"}),
        Element("PFD", {"A": "PFD1", "C": designator(names.field),
                        "D": str(round(file.area_m2)), "E": "CTR1", "F": "FRM1"},
                tuple(_polygon(BOUNDARY, polygons) for polygons in boundary)),
        _task(file)))


def _task(file):
    zones = tuple(_zone(zone, file.set_point) for zone in file.zones)
    return Element("TSK", {
        "A": "TSK1", "B": designator(file.names.task), "C": "CTR1", "D": "FRM1", "E": "PFD1",
        "G": str(_PLANNED), "H": str(DEFAULT_CODE), "I": str(DEFAULT_CODE),
        "J": str(OUTSIDE_CODE)}, zones + (() if file.grid is None else (_grid(file.grid),)))


def _zone(zone, set_point):
    value = Element("PDV", {"A": set_point.hexadecimal, "B": str(zone.raw), "E": "VPN1"})
    return Element("TZN", {"A": str(zone.code), "B": designator(zone.name)},
                   (value, *(_polygon(ZONE, [polygon]) for polygon in zone.polygons)))


def _polygon(kind, polygons):
    return Element("PLN", {"A": str(kind)}, tuple(
        _ring(_INTERIOR if number else _EXTERIOR, ring)
        for rings in polygons for number, ring in enumerate(rings)))


def _ring(kind, ring):
    return Element("LSG", {"A": str(kind)}, tuple(
        Element("PNT", {"A": str(_RING_POINT), "C": fixed(latitude), "D": fixed(longitude)})
        for longitude, latitude in np.asarray(ring, float)))


def _grid(grid):
    place = grid.place
    made = {"A": fixed(place.south), "B": fixed(place.west), "C": fixed(place.cell_north),
            "D": fixed(place.cell_east), "E": str(place.columns), "F": str(place.rows),
            "G": GRID_NAME, "H": str(len(grid.content)), "I": str(grid.kind)}
    if grid.kind == VALUES:
        made["J"] = str(grid.code)
    return Element("GRD", made)
