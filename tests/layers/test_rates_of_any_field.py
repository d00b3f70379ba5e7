"""Any label grid as a rate file of each format: no gap, no overlap, each place its rate."""
import json
import tempfile
import xml.etree.ElementTree as ElementTree
import zipfile
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from osgeo import gdal

from plugin.core.deliver.rate_formats import FORMATS
from plugin.core.deliver.rate_table import RateRow
from plugin.core.zone.workable import WorkableShape
from plugin.layers.rate_files import check_rates, write_rates
from plugin.layers.rate_zones import WGS_84, rate_zones, transformation
from plugin.layers.task_files import check_task, write_task
from plugin.layers.zone_layers import zone_layer
from tests.layers import small_zones
from tests.layers.small_zones import PLACES, any_field

UNIT, STEP = "seeds/ac", 4.0468564224  # of an ISO file
# How far a format may move a point, metres: GeoJSON and ISO 11783-10 keep 9 decimals, half of which
# is 0.06 mm each way.
MOVED_M = {"Shapefile": 1e-5, "GeoPackage": 1e-5, "GeoJSON": 1e-4, "ISO 11783-10, zones": 1e-4}
SHAPES = st.builds(WorkableShape, smallest_area_m2=st.sampled_from([0.0, 300.0]),
                   smallest_width_m=st.sampled_from([0.0, 18.0]),
                   headland_m=st.sampled_from([0.0, 0.0, 9.0]))


def zones_of(seed, shape, place, deviation_m):
    """RateZones of any field, each zone with a rate of its own, and the field in metres."""
    wkb, zones = any_field(seed, shape, place)
    layer = zone_layer("z", zones, wkb, shape=shape, deviation_m=deviation_m)
    rates = np.random.default_rng(seed).choice(np.arange(20_000, 36_000), len(layer.rows), False)
    rows = [RateRow(number, "plant", float(rate), UNIT) for number, rate in enumerate(rates, 1)]
    return rate_zones(PLACES[place][0], layer.geometries, rows), shapely.from_wkb(wkb)


def in_metres(shape, crs_wkt):
    turn = transformation(WGS_84, crs_wkt)
    return shapely.transform(shape, lambda points: np.array(turn.TransformPoints(points))[:, :2])


def vector_parts(path):
    """(polygon in degrees, rate) of each row, read by OGR alone."""
    data = gdal.OpenEx(str(path))
    found = []
    for feature in data.GetLayer(0):
        named = {key.lower(): value for key, value in feature.items().items()}
        shape = feature.GetGeometryRef()
        shape.FlattenTo2D()
        found.append((shapely.from_wkb(bytes(shape.ExportToWkb())), named["rate"]))
    return found


def task_of(path):
    with zipfile.ZipFile(path) as packed:
        members = {name: packed.read(name) for name in packed.namelist()}
    return (ElementTree.fromstring(members["TASKDATA/TASKDATA.XML"]).find("TSK"),
            members.get("TASKDATA/GRD00000.bin"))


def task_parts(path):
    """(polygon in degrees, rate) of each polygon of a zone, read by an XML parser alone."""
    found = []
    for zone in task_of(path)[0].iter("TZN"):
        rate = int(zone.find("PDV").get("B")) * STEP
        for polygon in zone.iter("PLN"):
            rings = [[(float(point.get("D")), float(point.get("C"))) for point in ring]
                     for ring in polygon]
            found.append((shapely.Polygon(rings[0], rings[1:]), rate))
    return found


def written(path, one, zones, version):
    """Write and check a file; return its ReadBack."""
    if one.kind == "vector":
        write_rates(path, one, zones)
        return check_rates(path, one, zones)
    chosen = small_zones.settings(version, cell_m=4.0)
    write_task(path, one.kind, zones, chosen)
    return check_task(path, one, zones, chosen)


@settings(max_examples=6)
@example(251, WorkableShape(), "south west", 0.0, "3.3")  # a tip 1.3 cm wide
@given(st.integers(0, 10**6), SHAPES, st.sampled_from(sorted(PLACES)), st.sampled_from([0.0, 4.0]),
       st.sampled_from(["3.3", "4.3"]))
def test_polygons_of_every_format_fill_the_field_and_keep_each_rate(seed, shape, place, deviation_m,
                                                                    version):
    zones, field = zones_of(seed, shape, place, deviation_m)
    meant = {row.rate: shapely.from_wkb(wkb) for row, wkb in zip(zones.rows, zones.shapes)}
    for one in (one for one in FORMATS if one.kind in ("vector", "zones")):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / f"r{one.ending}"
            back = written(path, one, zones, version)
            parts = vector_parts(path) if one.kind == "vector" else task_parts(path)
        step = STEP if one.kind == "zones" else 0.01
        # a line moved by so much covers its length times that, and no two lines cover more
        outline_m = sum(shape.length for shape in meant.values())
        slack = MOVED_M[one.name] * outline_m + 1e-6 * field.area
        assert back.polygons == len(parts) == sum(len(shape.geoms) for shape in meant.values())
        assert back.area_m2 == pytest.approx(field.area, abs=slack)
        by_rate = {}
        for shape, rate in parts:
            rates = [each for each in meant if abs(each - rate) <= step / 2 + 1e-6]
            assert len(rates) >= 1 and shape.is_valid
            by_rate.setdefault(min(rates, key=lambda each: abs(each - rate)), []).append(shape)
        turned = {rate: in_metres(shapely.MultiPolygon(shapes), zones.crs_wkt)
                  for rate, shapes in by_rate.items()}
        assert set(turned) == set(meant)
        for rate, shape in turned.items():
            assert shape.symmetric_difference(meant[rate]).area <= slack
        whole = shapely.union_all(list(turned.values()))
        assert sum(shape.area for shape in turned.values()) - whole.area <= slack  # no overlap
        assert whole.symmetric_difference(field).area <= slack  # no gap


@settings(max_examples=5)
@given(st.integers(0, 10**6), SHAPES, st.sampled_from(sorted(PLACES)),
       st.sampled_from(["values", "codes"]), st.sampled_from(["3.3", "4.3"]))
def test_every_cell_of_a_grid_has_the_rate_of_its_place(seed, shape, place, kind, version):
    zones, field = zones_of(seed, shape, place, 0.0)
    one = next(one for one in FORMATS if one.kind == kind)
    with tempfile.TemporaryDirectory() as folder:
        back = written(Path(folder) / "r.zip", one, zones, version)
        task, content = task_of(Path(folder) / "r.zip")
    grid = task.find("GRD").attrib
    rows, columns = int(grid["F"]), int(grid["E"])
    raw = np.frombuffer(content, "<i4" if kind == "values" else "u1").reshape(rows, columns)
    if kind == "codes":
        of_code = {int(zone.get("A")): int(zone.find("PDV").get("B")) for zone in task.iter("TZN")}
        raw = np.vectorize(of_code.get)(raw)
    # the south-west corner comes first, then along the row to the east
    north = float(grid["A"]) + (np.arange(rows) + 0.5) * float(grid["C"])
    east = float(grid["B"]) + (np.arange(columns) + 0.5) * float(grid["D"])
    places = np.array(transformation(WGS_84, zones.crs_wkt).TransformPoints(
        np.column_stack([np.tile(east, rows), np.repeat(north, columns)])))[:, :2]
    points, rate = shapely.points(places), raw.ravel() * STEP
    shapes = {row.rate: shapely.from_wkb(wkb) for row, wkb in zip(zones.rows, zones.shapes)}
    for meant, shape in shapes.items():
        # within a centimetre of an edge rounding decides
        inside = shapely.contains(shape, points) & (shapely.distance(shape.boundary, points) > 0.01)
        assert (np.abs(rate[inside] - meant) <= STEP / 2 + 1e-6).all()
    half_diagonal_m = 4 / 2**0.5 + 0.01
    assert (rate[shapely.distance(field, points) > half_diagonal_m] == 0).all()
    assert back.polygons == pytest.approx(field.area / 16, rel=0.05)


def test_geojson_and_shapefile_wind_their_rings_as_each_asks(tmp_path):
    zones, _ = zones_of(3, WorkableShape(), "south west", 4.0)
    for one in FORMATS[:3]:
        written(tmp_path / f"r{one.ending}", one, zones, "")
    content = json.loads((tmp_path / "r.geojson").read_text("utf-8"))
    rings = [ring for feature in content["features"]
             for ring in enumerate(feature["geometry"]["coordinates"])]
    assert all(shapely.LinearRing(ring).is_ccw != bool(number) for number, ring in rings)
    assert {number > 0 for number, _ in rings} == {False, True}
    assert all(west < 0 > south for _, ring in rings for west, south in ring)
    for exterior, *holes in shapefile_rings((tmp_path / "r.shp").read_bytes()):
        assert not shapely.LinearRing(exterior).is_ccw
        assert all(shapely.LinearRing(hole).is_ccw for hole in holes)


def shapefile_rings(content):
    """The rings of each record of a .shp of polygons, by the published layout of the file."""
    assert int.from_bytes(content[:4], "big") == 9994 and content[32] == 5
    at = 100
    while at < len(content):
        length = 2 * int.from_bytes(content[at + 4:at + 8], "big")
        record = content[at + 8:at + 8 + length]
        parts, points = np.frombuffer(record, "<i4", 2, 36)
        starts = np.frombuffer(record, "<i4", parts, 44)
        places = np.frombuffer(record, "<f8", 2 * points, 44 + 4 * parts).reshape(-1, 2)
        yield np.split(places, starts[1:])
        at += 8 + length
