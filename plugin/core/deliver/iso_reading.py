"""What an ISO 11783-10 task file says, read from its elements: the way back from `iso_task`."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem
from .degree_grid import DegreeGrid
from .iso_faults import points_of
from .iso_grid import CODES, VALUES, grid_cells


@dataclass(frozen=True)
class ReadZone:
    """A treatment zone: code, name, identifier (number) and raw value, and its polygons' rings."""
    code: int
    name: str
    ddi: int
    raw: int
    polygons: tuple


@dataclass(frozen=True)
class ReadTask:
    """A task: its field's area (m2) and polygons, its zones by code, its grid if it has one.

    cells   (rows, columns) raw values, the southernmost row first, whatever the grid's kind
    """
    area_m2: int
    boundary: tuple
    zones: dict
    default: ReadZone
    lost: ReadZone
    outside: ReadZone
    place: DegreeGrid = None
    cells: np.ndarray = None

    @property
    def drawn(self):
        """The zones that have polygons, in the order of their codes."""
        return [zone for _, zone in sorted(self.zones.items()) if zone.polygons]


def read_task(root, grids):
    """Return the ReadTask of a task file with one task and one field, without known faults.

    Parameters
        root   Element of the main file
        grids  dict of grid name to bytes
    Raises   InputProblem: a grid file has the wrong length
    """
    (field,), (task,) = root.all("PFD"), root.all("TSK")
    zones = {zone.code: zone for zone in map(_zone, task.all("TZN"))}
    place = cells = None
    for grid in task.all("GRD"):
        place, cells = _grid(grid.attributes, grids, zones)
    default, lost, outside = (zones[int(task.attributes[letter])] for letter in "HIJ")
    return ReadTask(int(field.attributes["D"]), _polygons(field), zones, default, lost, outside,
                    place, cells)


def _zone(zone):
    (value,) = zone.all("PDV")
    return ReadZone(int(zone.attributes["A"]), zone.attributes.get("B", ""),
                    int(value.attributes["A"], 16), int(value.attributes["B"]), _polygons(zone))


def _polygons(element):
    """Polygons as tuples of rings; each outer ring begins one, in either version."""
    found = []
    for line in (line for polygon in element.all("PLN") for line in polygon.all("LSG")):
        if line.attributes["A"] == "1":
            found.append([])
        found[-1].append(points_of(line))
    return tuple(map(tuple, found))


def _grid(given, grids, zones):
    south, west, high, wide = (float(given[letter]) for letter in "ABCD")
    place = DegreeGrid(south, west, high, wide, int(given["F"]), int(given["E"]))
    kind = int(given["I"])
    if kind not in (CODES, VALUES):
        raise InputProblem(f"The grid is of the unknown type {kind}.")
    cells = grid_cells(grids[given["G"]], kind, place.rows, place.columns)
    if kind == CODES:
        raw = np.zeros(256, np.int64)
        for code, zone in zones.items():
            raw[code] = zone.raw
        cells = raw[cells]
    return place, cells
