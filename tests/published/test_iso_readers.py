"""Task files read by two independent libraries, npm isoxml 1.11.2 and PyPI isoxml 0.0.4.

`./run test` installs them (tests/readers); where these tests are started otherwise and the readers
are not there yet, they are installed first.
"""
import json
import subprocess
from pathlib import Path

import numpy as np
import pytest
import shapely
from rate_file_readers import install, node_of, python_of

from plugin.core.deliver.set_points import set_point_of
from plugin.layers.cells_of_zones import OUTSIDE, zones_at
from plugin.layers.rate_zones import WGS_84, transformation
from plugin.layers.task_files import read_task_file, write_task
from tests.layers.small_zones import NAMES, PLACES, settings, zones_at_place

ROOT = Path(__file__).resolve().parents[2]
SCRIPTS = ROOT / "tests" / "readers"
UNITS = ("seeds/ac", "cm", "lb/ac", "gal/ac")
CASES = [(kind, version, place, unit)
         for (place, unit) in zip(PLACES, UNITS) for version in ("3.3", "4.3")
         for kind in ("zones", "values", "codes")]
HEXADECIMAL = {"seeds/ac": "000B", "cm": "0033", "lb/ac": "0006", "gal/ac": "0001"}
DESCRIBED = {"seeds/ac": "Setpoint Count Per Area Application Rate",
             "cm": "Setpoint Tillage Depth", "lb/ac": "Setpoint Mass Per Area Application Rate",
             "gal/ac": "Setpoint Volume Per Area Application Rate"}


@pytest.fixture(scope="session")
def readings(tmp_path_factory):
    """Return {case: (zones, what npm's library read, what PyPI's did)}; each library runs once."""
    readers = install(ROOT / ".build" / "readers")
    folder, paths, zones = tmp_path_factory.mktemp("tasks"), {}, {}
    for case in CASES:
        kind, version, place, unit = case
        paths[case] = folder / f"{len(paths)}.zip"
        zones[case] = zones_at_place(place, unit)
        write_task(paths[case], kind, zones[case], settings(version))
    files = list(map(str, paths.values()))
    by_npm, by_pypi = (json.loads(subprocess.run(
        [*map(str, command), *files], check=True, capture_output=True, text=True,
        encoding="utf-8").stdout) for command in (
            (node_of(readers), SCRIPTS / "read_tasks.mjs", readers),
            (python_of(readers), "-X", "utf8", SCRIPTS / "read_tasks.py")))
    return {case: (zones[case], by_npm[str(path)], by_pypi[str(path)], path)
            for case, path in paths.items()}


@pytest.mark.parametrize("case", CASES, ids=" ".join)
def test_both_libraries_read_without_a_warning(readings, case):
    _, npm, pypi, _ = readings[case]
    assert npm["warnings"] == pypi["warnings"] == pypi["broken"] == []
    assert (npm["version"], npm["status"], str(pypi["status"])) == (case[1][0], "1", "1")
    assert npm["field"] == pypi["field"] == NAMES.field[:32]
    assert npm["customer"] == NAMES.customer[:32] and npm["task"] == NAMES.task
    assert npm["area"] == pypi["area"] == 120_000  # 400 m by 300 m
    assert pypi["codes"] == [1, 1, 0]


@pytest.mark.parametrize("case", CASES, ids=" ".join)
def test_zones_carry_our_identifier_and_raw_rates(readings, case):
    zones, npm, pypi, _ = readings[case]
    kind, version, _, unit = case
    one = set_point_of(unit)
    raw = [one.raw(row.rate, unit) for row in zones.rows]
    if kind == "zones" and version == "3.3":
        raw.insert(2, raw[1])  # the second part of zone 2
    wanted = [0, one.raw(10.0, unit), *(raw if kind != "values" else [0])]
    for read in (npm, pypi):
        assert [zone["value"] for zone in read["zones"]] == wanted
        assert [zone["code"] for zone in read["zones"]] == list(range(len(wanted)))
        assert {zone["ddi"] for zone in read["zones"]} == {HEXADECIMAL[unit]}
    # nine decimals of gal/ac's scale are five digits
    assert npm["zones"][2]["scale"] == pytest.approx(one.step_in(unit), rel=1e-4)


@pytest.mark.parametrize("case", [case for case in CASES if case[0] == "zones"], ids=" ".join)
def test_polygons_have_our_areas_and_places(readings, case):
    zones, npm, pypi, _ = readings[case]
    turn = transformation(WGS_84, zones.crs_wkt)

    def in_metres(shape):
        return shapely.transform(shape, lambda points: np.array(
            turn.TransformPoints(points))[:, :2])

    npm_shapes = [[in_metres(shapely.Polygon(rings[0], rings[1:])) for rings in zone["polygons"]]
                  for zone in npm["zones"]]
    pypi_shapes = [[in_metres(shapely.from_wkt(wkt)) for wkt in zone["wkt"]]
                   for zone in pypi["zones"]]
    assert all(all(zone["valid"]) for zone in pypi["zones"])
    for shapes in (npm_shapes, pypi_shapes):
        parts = [part for zone in shapes for part in zone]
        wanted = [part for wkb in zones.shapes for part in shapely.from_wkb(wkb).geoms]
        assert len(parts) == len(wanted) == 4
        for found, meant in zip(parts, wanted):
            # nine decimals of a degree are 0.1 mm: of some 1,000 m of outline 0.1 m2
            assert shapely.symmetric_difference(found, meant).area < 0.2
            assert len(found.interiors) == len(meant.interiors)
    outline = shapely.from_geojson(json.dumps(npm["outline"]))
    assert in_metres(outline).area == pytest.approx(120_000, rel=1e-6)


@pytest.mark.parametrize("case", [case for case in CASES if case[0] == "values"], ids=" ".join)
def test_every_cell_lies_where_its_rate_belongs(readings, case):
    zones, npm, pypi, path = readings[case]
    unit = case[3]
    one = set_point_of(unit)
    root, grids = read_task_file(path)
    grid = next(element for element in root.walk() if element.tag == "GRD").attributes
    cells = np.array(pypi["cells"])
    ours = np.frombuffer(grids["GRD00000"], "<i4")
    assert cells.shape[:2] == (int(grid["F"]), int(grid["E"]))
    assert np.array_equal(cells.ravel(), ours)
    (described,) = npm["description"]
    assert described["DDEntityName"].startswith(DESCRIBED[unit]) and described["unit"] == unit
    # npm's library leaves out cells of 0 and tells where each of the others lies
    assert len(npm["cells"]) == np.count_nonzero(ours)
    corners = np.array([cell["corners"] for cell in npm["cells"]])
    centres, rates = corners[:, :4].mean(axis=1), np.array([cell["rate"] for cell in npm["cells"]])
    numbers = zones_at(zones, centres)
    wanted = np.array([one.raw(row.rate, unit) for row in zones.rows])
    inside = numbers != OUTSIDE
    right = rates[inside] == wanted[numbers[inside]]
    assert np.count_nonzero(inside) > 2000
    # of cells whose middle lies on an edge rounding decides: one in a thousand at most
    assert np.count_nonzero(~right) <= inside.sum() / 1000
    assert set(rates[~inside]) <= set(wanted)  # those that only reach into the field


@pytest.mark.parametrize("case", [case for case in CASES if case[0] == "codes"], ids=" ".join)
def test_a_grid_of_codes_is_the_grid_of_rates_by_its_codes(readings, case):
    _, _, pypi, _ = readings[case]
    _, _, values, _ = readings[("values", *case[1:])]
    raw = {zone["code"]: zone["value"] for zone in pypi["zones"]}
    assert [[raw[code] for code in row] for row in pypi["cells"]] == np.array(
        values["cells"]).reshape(np.array(pypi["cells"]).shape).tolist()
