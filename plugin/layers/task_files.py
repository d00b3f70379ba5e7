"""ISO 11783-10 task files: a zip with the folder TASKDATA, written and read back."""
import zipfile
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from ..core.deliver.degree_grid import DegreeGrid, metres_per_degree
from ..core.deliver.hand_over import compared, compared_cells
from ..core.deliver.iso_faults import faults
from ..core.deliver.iso_reading import read_task
from ..core.deliver.iso_task import GRID_NAME, Names, elements_of
from ..core.deliver.set_points import set_point_of
from ..core.deliver.task_of_rates import RateJob, task_of_codes, task_of_polygons, task_of_values
from ..core.deliver.xml_text import FINEST, xml_text
from ..core.problems import InputProblem
from .cells_of_zones import OUTSIDE, cells_of_zones, near_an_edge, zones_at
from .rate_zones import WGS_84, measured, polygon_of, rings_of
from .strict_ogr import strict_ogr
from .xml_elements import read_elements

FOLDER, MAIN = "TASKDATA", "TASKDATA.XML"
_ON_EDGE_M = 0.01  # of an edge: rounding decides to which side a place belongs
_SHIFT_M = 1e-3  # how far rounding to 9 decimals moves a point, with room to spare


@dataclass(frozen=True)
class TaskSettings:
    """What a task file needs to know besides its zones.

    outside, lost  rates outside the field and without a position, in the unit of the zones
    cell_m         side of a grid's cells, metres
    """
    version: str
    names: Names
    outside: float = 0.0
    lost: float = 0.0
    cell_m: float = 5.0
    most_cells: int = 200_000


def write_task(path, kind, zones, settings, *, tick=None):
    """Write zones as a task file to a new zip, without checking it.

    Parameters
        path   the zip; made as it is, so give a path beside the final one
        kind   zones, values or codes, as in rate_formats
        zones  RateZones in the controller's unit
        tick   called with the fraction done
    Raises   InputProblem: too many zones or cells, or a rate that no identifier holds
    """
    unit, meant = zones.rows[0].unit, zones.meant()
    drawn = kind == "zones"
    *polygons, boundary = rings_of([*zones.shapes, zones.field], zones.crs_wkt, FINEST)
    parts = tuple((_name_of(row), row.rate, rings if drawn else ())
                  for row, rings in zip(zones.rows, polygons))
    job = RateJob(settings.version, settings.names, unit, settings.outside, settings.lost,
                  sum(zone.area_m2 for zone in meant),
                  boundary, parts)
    if drawn:
        file = task_of_polygons(job)
    else:
        place = DegreeGrid.covering(*zones.extent, cell_m=settings.cell_m,
                                    most_cells=settings.most_cells)
        cells = cells_of_zones(zones, place, tick=tick)
        file = (task_of_values if kind == "values" else task_of_codes)(job, place, cells)
    _pack(path, file)


def read_task_file(path):
    """Return the root Element of a zipped task file, and its grids as a dict of name to bytes.

    Raises   InputProblem: it is no zip with a TASKDATA folder, or its XML is not well formed
    """
    try:
        with zipfile.ZipFile(path) as packed:
            broken = packed.testzip()
            root = read_elements(packed.read(f"{FOLDER}/{MAIN}"))
            grids = {name[len(FOLDER) + 1:-len(".bin")]: packed.read(name)
                     for name in packed.namelist() if name.endswith(".bin")}
    except (OSError, KeyError, zipfile.BadZipFile) as problem:
        raise InputProblem(f"{path} holds no {FOLDER}/{MAIN} that can be read: "
                           f"{problem}.") from problem
    if broken:
        raise InputProblem(f"{path}: {broken} is damaged.")
    return root, grids


def check_task(path, one, zones, settings, *, tick=None):
    """Return the ReadBack of a task file, read anew and compared with its zones.

    Parameters
        path   the zip
        one    RateFormat
        zones  RateZones that were written
        tick   called with the fraction done
    Raises   InputProblem: it has a fault, or differs from the zones
    """
    root, grids = read_task_file(path)
    try:
        found = faults(root, grids, zones.extent)
        if found:
            raise InputProblem(f"{one.name} read back with a fault: {found[0]}. Nothing was "
                               "handed over.")
        task = read_task(root, grids)
    except (KeyError, ValueError) as problem:
        if isinstance(problem, InputProblem):
            raise
        raise InputProblem(f"{one.name} cannot be read back: {problem!r} is wrong or missing. "
                           "Nothing was handed over.") from problem
    set_point = set_point_of(zones.rows[0].unit)
    _check_task(one, task, set_point, zones, settings)
    if task.cells is None:
        return _compare_zones(one, task, set_point, zones, settings)
    return _compare_cells(one, task, set_point, zones, settings, tick)


def _name_of(row):
    return f"{row.zone} {row.action}".strip()


def _pack(path, file):
    now = datetime.now().timetuple()[:6]
    contents = {MAIN: xml_text(elements_of(file)).encode("utf-8")}
    if file.grid is not None:
        contents[f"{GRID_NAME}.bin"] = file.grid.content
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in contents.items():
            entry = zipfile.ZipInfo(f"{FOLDER}/{name}", now)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            packed.writestr(entry, content)


def _check_task(one, task, set_point, zones, settings):
    unit = zones.rows[0].unit
    identifiers = {zone.ddi for zone in task.zones.values()}
    if identifiers != {set_point.ddi}:
        raise InputProblem(f"{one.name} read back with identifiers {sorted(identifiers)} instead "
                           f"of {set_point.ddi}. Nothing was handed over.")
    for zone, wanted in ((task.outside, settings.outside), (task.lost, settings.lost),
                         (task.default, settings.lost)):
        found = float(set_point.value(zone.raw, unit))
        if abs(found - wanted) > set_point.step_in(unit) / 2 * (1 + 1e-6):
            raise InputProblem(f"{one.name} read back with {found:g} {unit} for {zone.name} "
                               f"instead of {wanted:g}. Nothing was handed over.")
    (field,) = _measured(zones, [task.boundary], ["the field"], [0.0])
    (wanted,) = measured([zones.field], zones.crs_wkt, zones.metres_wkt, ["the field"], [0.0])
    compared(one.name, [wanted], [field], polygons=1, step=1.0, shift_m=_SHIFT_M)


def _measured(zones, polygons, names, rates):
    """HandedZones of zones given as polygons of rings in degrees."""
    with strict_ogr():
        spatial = [_multi(parts) for parts in polygons]
    return measured(spatial, WGS_84, zones.metres_wkt, names, rates)


def _multi(parts):
    """Return the WKB of a collection of polygons, each of rings: byte order, type 6, number."""
    wkbs = [polygon_of(rings) for rings in parts]
    return b"\x01" + (6).to_bytes(4, "little") + len(wkbs).to_bytes(4, "little") + b"".join(wkbs)


def _compare_zones(one, task, set_point, zones, settings):
    unit = zones.rows[0].unit
    if settings.version.startswith("3"):  # there each part of a zone is a zone
        zones = zones.single_parts()
    polygons = [zone.polygons for zone in task.drawn]
    rates = [float(set_point.value(zone.raw, unit)) for zone in task.drawn]
    found = _measured(zones, polygons, [zone.name for zone in task.drawn], rates)
    return compared(one.name, zones.meant(), found, polygons=sum(map(len, polygons)),
                    step=set_point.step_in(unit), shift_m=_SHIFT_M)


def _compare_cells(one, task, set_point, zones, settings, tick):
    unit, meant = zones.rows[0].unit, zones.meant()
    centres = task.place.centres()
    rates = set_point.value(task.cells.ravel(), unit)
    numbers = zones_at(zones, centres, tick=tick)
    inside = np.flatnonzero(numbers != OUTSIDE)
    wanted = np.array([zone.rate for zone in meant])[numbers[inside]]
    unlike = inside[np.abs(rates[inside] - wanted) > set_point.step_in(unit)]
    on_edge = unlike[near_an_edge(zones, centres[unlike], _ON_EDGE_M)]
    kept = np.setdiff1d(inside, on_edge)
    per_north, per_east = metres_per_degree((zones.extent[1] + zones.extent[3]) / 2)
    high, wide = task.place.cell_north * per_north, task.place.cell_east * per_east
    astray = np.flatnonzero((numbers == OUTSIDE) & (task.cells.ravel() != task.outside.raw))
    if not near_an_edge(zones, centres[astray], np.hypot(high, wide)).all():
        raise InputProblem(f"{one.name} read back with rates outside the field. Nothing was "
                           "handed over.")
    if not len(kept):
        raise InputProblem(f"No cell of {settings.cell_m:g} m has its middle in the field. Choose "
                           "smaller cells.")
    (field,) = measured([zones.field], zones.crs_wkt, zones.metres_wkt, ["the field"], [0.0])
    return compared_cells(one.name, meant, rates[kept], numbers[kept],
                          step=set_point.step_in(unit), cell_m2=high * wide,
                          outline_m=field.outline_m, cell_m=max(high, wide))
