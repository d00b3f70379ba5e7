"""Faults of an ISO 11783-10 task file that readers pass over: what a controller would trip on."""
from collections import Counter

import numpy as np

from .iso_grid import CODES, VALUES
from .iso_task import ROOT

# Attributes that name another element of the file, by the element they stand in.
_REFERENCES = {"FRM": "I", "PFD": "EFGHI", "TSK": "CDEF", "PDV": "CDE"}
_INT32 = (-2**31, 2**31 - 1)
_BYTES = {str(CODES): 1, str(VALUES): 4}  # of a cell, for each set point
_NEAR = 1e-8  # degrees, a millimetre: points may lie this far outside after rounding


def faults(root, grids, extent):
    """Return what is wrong with a task file, one sentence each; none of a sound one.

    Parameters
        root    Element of the main file
        grids   dict of the name of each grid file, without extension, to its bytes
        extent  (west, south, east, north) of the field in degrees; points outside betray latitude
                and longitude put the wrong way round
    """
    if root.tag != ROOT:
        return [f"its root is {root.tag}, not {ROOT}"]
    found = [*_identities(root), *_places(root, extent)]
    for task in root.all("TSK"):
        found += _codes(task)
        found += _set_points(task)
        for grid in task.all("GRD"):
            found += _grid(task, grid, grids, extent)
    for polygon in root.walk():
        if polygon.tag == "PLN":
            found += _rings(polygon)
    return found


def _identities(root):
    ids = Counter(element.attributes["A"] for element in root.walk()
                  if element.tag in ("CTR", "FRM", "PFD", "TSK", "VPN", "PDT"))
    yield from (f"{name} is the id of {count} elements" for name, count in ids.items() if count > 1)
    for element in root.walk():
        for letter in _REFERENCES.get(element.tag, ""):
            name = element.attributes.get(letter)
            if name is not None and name not in ids:
                yield f"{element.tag} names {name}, which is not there"


def _places(root, extent):
    for point in root.walk():
        if point.tag != "PNT":
            continue
        north, east = float(point.attributes["C"]), float(point.attributes["D"])
        if not _inside(east, north, extent):
            yield f"the point at latitude {north:g}, longitude {east:g} lies outside the field"
            return


def _inside(east, north, extent):
    west, south, most_east, most_north = extent
    return (west - _NEAR <= east <= most_east + _NEAR
            and south - _NEAR <= north <= most_north + _NEAR)


def _codes(task):
    codes = Counter(zone.attributes["A"] for zone in task.all("TZN"))
    yield from (f"zone code {code} stands for {count} zones"
                for code, count in codes.items() if count > 1)
    yield from (f"zone code {code} is not between 0 and 254" for code in codes
                if not 0 <= int(code) <= 254)
    for letter, what in (("H", "default"), ("I", "lost position"), ("J", "outside the field")):
        if task.attributes.get(letter) not in codes:
            yield f"the zone for {what}, {task.attributes.get(letter)}, is not there"


def _set_points(task):
    kinds = {tuple(value.attributes["A"] for value in zone.all("PDV")) for zone in task.all("TZN")}
    if len(kinds) > 1 or kinds == {()}:
        yield "its zones do not all carry the same set points"
    for zone in task.all("TZN"):
        for value in zone.all("PDV"):
            raw = int(value.attributes["B"])
            if not _INT32[0] <= raw <= _INT32[1]:
                yield f"zone {zone.attributes['A']} holds {raw}, beyond 32 bits"


def _grid(task, grid, grids, extent):
    given = grid.attributes
    name, kind = given.get("G"), given.get("I")
    rows, columns = int(given["F"]), int(given["E"])
    zones = {zone.attributes["A"]: len(zone.all("PDV")) for zone in task.all("TZN")}
    if kind == str(VALUES) and given.get("J") not in zones:
        yield f"the grid's values belong to zone {given.get('J')}, which is not there"
        return
    if name not in grids:
        yield f"the grid file {name} is not there"
        return
    length = rows * columns * _BYTES[kind]
    length *= zones[given["J"]] if kind == str(VALUES) else 1
    content = grids[name]
    if len(content) != length or given.get("H", str(length)) != str(length):
        yield (f"{rows} rows of {columns} cells take {length} bytes; the grid file has "
               f"{len(content)}, and the task file says {given.get('H')}")
    elif kind == str(CODES):
        strange = sorted(set(content) - {int(code) for code in zones})
        if strange:
            yield f"grid cells hold zone code {strange[0]}, which is not there"
    yield from _grid_place(given, rows, columns, extent)


def _grid_place(given, rows, columns, extent):
    """Compare the grid with the field: it covers it, and ends less than a cell beyond it."""
    south, west, high, wide = (float(given[letter]) for letter in "ABCD")
    ends = (west, south, west + columns * wide, south + rows * high)
    beyond = (extent[0] - west, extent[1] - south, ends[2] - extent[2], ends[3] - extent[3])
    if any(not -_NEAR <= over <= cell + _NEAR
           for over, cell in zip(beyond, (wide, high, wide, high))):
        yield (f"the grid, from latitude {ends[1]:.6f} to {ends[3]:.6f} and longitude "
               f"{ends[0]:.6f} to {ends[2]:.6f}, is not that of the field")


def _rings(polygon):
    rings = [(line.attributes["A"], points_of(line)) for line in polygon.all("LSG")]
    for _, points in rings:
        if len(points) < 4 or (points[0] != points[-1]).any():
            yield "a ring is not closed"
            return
    exteriors = [points for kind, points in rings if kind == "1"]
    holes = [points for kind, points in rings if kind == "2"]
    if not exteriors or rings[0][0] != "1":
        yield "a polygon does not begin with its outer ring"
    for number, ring in enumerate(exteriors):
        others = exteriors[:number] + exteriors[number + 1:]
        if any(_inside_ring(ring, other) for other in others):
            yield "a hole is written as an outer ring"
    for hole in holes:
        if not any(_inside_ring(hole, ring) for ring in exteriors):
            yield "a hole lies in no outer ring"


def points_of(line):
    """Return the points (k, 2), longitude and latitude, of a line string Element."""
    return np.array([[float(point.attributes["D"]), float(point.attributes["C"])]
                     for point in line.all("PNT")]).reshape(-1, 2)


def _inside_ring(ring, around):
    """Whether most points of a ring lie inside another: some may touch its line."""
    x, y = ring[:-1, 0, None], ring[:-1, 1, None]
    (x1, y1), (x2, y2) = around[:-1].T, around[1:].T
    above = (y1 > y) != (y2 > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = x < x1 + (y - y1) * (x2 - x1) / (y2 - y1)
    return (np.count_nonzero(above & crossing, axis=1) % 2).mean() > 0.5
