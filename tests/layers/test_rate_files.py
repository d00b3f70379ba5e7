import json
import sqlite3
from contextlib import closing

import pytest
import shapely
import shapely.affinity
from osgeo import gdal, ogr, osr
from shapely.affinity import translate

from plugin.core.deliver import rate_formats
from plugin.core.deliver.rate_table import RateRow
from plugin.core.problems import InputProblem
from plugin.layers.rate_files import check_rates, write_rates
from plugin.layers.rate_zones import rate_zones

FORMATS = {one.name: one for one in rate_formats.FORMATS if one.kind == "vector"}

EAST, NORTH = 500_000.0, 4_400_000.0  # on the central meridian of zone 15: 93 degrees west
# One square clockwise, and a zone of two parts, one with a hole.
ONE = shapely.Polygon([(0, 0), (0, 100), (100, 100), (100, 0)])
TWO = shapely.MultiPolygon([
    shapely.Polygon([(100, 0), (200, 0), (200, 100), (100, 100)],
                    [[(120, 20), (140, 20), (140, 40), (120, 40)]]), shapely.box(300, 0, 350, 40)])
AREAS = [10_000, 9_600, 2_000]
ROWS = [RateRow(1, "keep", 0.0, "seeds/ac"), RateRow(2, "replant", 33_684.2105, "seeds/ac")]


def in_place(*shapes):
    """The WKB of shapes moved to the field."""
    return [shapely.to_wkb(translate(shape, EAST, NORTH)) for shape in shapes]


def zones_of(*shapes, rows=ROWS, crs="EPSG:32615"):
    """RateZones of shapes at the field."""
    return rate_zones(crs, in_place(*shapes), rows)


@pytest.fixture(params=FORMATS)
def rates(request, tmp_path):
    """A rate file in each format: (format, path)."""
    path = tmp_path / f"rates{FORMATS[request.param].ending}"
    write_rates(path, FORMATS[request.param], zones_of(ONE, TWO))
    return request.param, path


def test_every_part_is_one_polygon_with_its_zones_rate(rates):
    name, path = rates
    data = ogr.Open(str(path))  # one closed dataset, read by OGR alone
    layer = data.GetLayer(0)
    expected = ("zone", "action", "rate", "unit")
    if name == "Shapefile":
        expected = tuple(column.upper() for column in expected)
    definition = layer.GetLayerDefn()
    names = tuple(definition.GetFieldDefn(n).GetName() for n in range(definition.GetFieldCount()))
    assert names == expected and max(map(len, names)) <= 10
    features = list(layer)
    assert [[feature.GetField(column) for column in expected] for feature in features] == [
        [1, "keep", 0.0, "seeds/ac"], [2, "replant", 33684.21, "seeds/ac"],
        [2, "replant", 33684.21, "seeds/ac"]]
    assert {feature.GetGeometryRef().GetGeometryType() for feature in features} == {ogr.wkbPolygon}


def test_places_are_longitude_and_latitude_in_that_order(rates):
    _, path = rates
    data = gdal.OpenEx(str(path))
    layer = data.GetLayer(0)
    reference = layer.GetSpatialRef()
    assert reference.IsGeographic() and "WGS" in reference.GetName()
    west, east, south, north = layer.GetExtent()
    # 93 degrees west; latitude 39.75 by 4,400,000 / 0.9996 m of meridian from the equator.
    assert west == pytest.approx(-93, abs=1e-6) and -93 < east < -92.99
    assert 39.7 < south < north < 39.8


def test_areas_stay_those_of_the_zones(rates):
    _, path = rates
    back = osr.CoordinateTransformation(*map(_reference, (4326, 32615)))
    data = ogr.Open(str(path))
    areas = []
    for feature in data.GetLayer(0):
        geometry = feature.GetGeometryRef().Clone()
        geometry.Transform(back)
        areas.append(geometry.Area())
    # GeoJSON keeps 9 decimals of a degree, 0.1 mm: of a side of 100 m, 1 in 1,000,000.
    assert areas == pytest.approx(AREAS, rel=4e-6)


def test_exterior_rings_run_counter_clockwise_in_geojson_and_holes_clockwise(tmp_path):
    path = tmp_path / "rates.geojson"
    write_rates(path, FORMATS["GeoJSON"], zones_of(ONE, TWO))
    content = json.loads(path.read_text(encoding="utf-8"))
    assert content["type"] == "FeatureCollection" and "crs" not in content
    for feature in content["features"]:
        assert feature["geometry"]["type"] == "Polygon"
        exterior, *holes = feature["geometry"]["coordinates"]
        assert shapely.LinearRing(exterior).is_ccw
        assert not any(shapely.LinearRing(hole).is_ccw for hole in holes)
    assert sum(len(feature["geometry"]["coordinates"]) for feature in content["features"]) == 4


def test_a_shapefile_comes_with_its_crs_and_says_how_its_text_is_written(tmp_path):
    write_rates(tmp_path / "rates.shp", FORMATS["Shapefile"],
                zones_of(ONE, rows=[RateRow(1, "é", 1.0, "in")]))
    assert {path.name for path in tmp_path.iterdir()} == {
        "rates.shp", "rates.shx", "rates.dbf", "rates.prj", "rates.cpg"}
    assert (tmp_path / "rates.cpg").read_text().strip().upper() == "UTF-8"
    assert (tmp_path / "rates.prj").read_text().startswith("GEOGCS[\"GCS_WGS_1984\"")
    data = ogr.Open(str(tmp_path / "rates.shp"))
    assert data.GetLayer(0).GetNextFeature().GetField("ACTION") == "é"


def test_a_shapefile_does_not_carry_over_rows_of_the_one_it_replaces(tmp_path):
    for count in (2, 1):
        write_rates(tmp_path / "rates.shp", FORMATS["Shapefile"],
                    zones_of(*(ONE, TWO)[:count], rows=ROWS[:count]))
    data = ogr.Open(str(tmp_path / "rates.shp"))
    assert [feature.GetField("ZONE") for feature in data.GetLayer(0)] == [1]


def _reference(epsg):
    made = osr.SpatialReference()
    made.ImportFromEPSG(epsg)
    made.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    return made


@pytest.mark.parametrize("name", FORMATS)
def test_a_zone_drawn_with_curves_is_one_polygon_of_lines(tmp_path, name):
    path = tmp_path / f"rates{FORMATS[name].ending}"
    circle = ogr.CreateGeometryFromWkt(
        f"CURVEPOLYGON (CIRCULARSTRING ({EAST} {NORTH}, {EAST + 200} {NORTH}, {EAST} {NORTH}))")
    zones = rate_zones("EPSG:32615", [bytes(circle.ExportToIsoWkb(ogr.wkbNDR))], ROWS[:1])
    write_rates(path, FORMATS[name], zones)
    assert check_rates(path, FORMATS[name], zones).polygons == 1
    data = gdal.OpenEx(str(path))
    feature = data.GetLayer(0).GetNextFeature()  # kept: the geometry is a part of it
    geometry = feature.GetGeometryRef()
    assert geometry.GetGeometryType() == ogr.wkbPolygon
    # A circle of 200 m is 31,416 m2; a degree of longitude there is 85.7 km, one of latitude
    # 111.0 km (ellipsoid); lines for arcs of 4 degrees take off 0.1 %.
    assert geometry.Area() * 85_700 * 111_000 == pytest.approx(31_416, rel=5e-3)


def test_a_sound_file_reads_back_as_its_zones(rates):
    name, path = rates
    back = check_rates(path, FORMATS[name], zones_of(ONE, TWO))
    assert (back.format, back.polygons, back.least, back.greatest) == (name, 3, 0.0, 33_684.21)
    assert back.area_m2 == pytest.approx(21_600, rel=4e-6)  # 9 decimals of a degree, see above
    # half of the last decimal: 33,684.2105 is kept as 33,684.21
    assert back.furthest == pytest.approx(0.0005, abs=1e-9)
    assert back.total == pytest.approx(33_684.21 * 11_600, rel=4e-6)


def changed(path, change):
    """Change the features of a file through OGR."""
    data = gdal.OpenEx(str(path), gdal.OF_VECTOR | gdal.OF_UPDATE)
    layer = data.GetLayer(0)
    for feature in list(layer):
        change(feature)
        assert layer.SetFeature(feature) == 0
    layer = data = None


def moved(feature):
    shape = feature.GetGeometryRef().Clone()
    ring = shape.GetGeometryRef(0)
    for number in range(ring.GetPointCount()):
        x, y, _ = ring.GetPoint(number)
        ring.SetPoint_2D(number, y, x)
    feature.SetGeometry(shape)


def shrunk(feature):
    middle = feature.GetGeometryRef().Centroid()
    shape = shapely.from_wkt(feature.GetGeometryRef().ExportToWkt())
    shape = shapely.affinity.scale(shape, 0.99, 0.99, origin=(middle.GetX(), middle.GetY()))
    feature.SetGeometry(ogr.CreateGeometryFromWkt(shape.wkt))


@pytest.mark.parametrize("change,words", [
    (lambda one: one.SetField(2, 33_684.23), "33684.23 in zone 1 instead of 0"),
    (lambda one: one.SetField(3, "cm"), "other units"),
    (lambda one: one.SetField(0, 7), "zone 7 instead of zone 1"),
    (lambda one: one.SetField(1, "till"), "another action in zone 1"),
    (moved, "polygon 1 outside the field"), (shrunk, "m2 in zone 1 instead of 10000")])
def test_a_file_that_differs_from_the_plan_is_refused(rates, change, words):
    name, path = rates
    changed(path, change)
    with pytest.raises(InputProblem, match=f"{name} read back with .*{words}"):
        check_rates(path, FORMATS[name], zones_of(ONE, TWO))


def test_a_file_that_lacks_a_polygon_is_refused(tmp_path):
    path = tmp_path / "r.gpkg"
    write_rates(path, FORMATS["GeoPackage"], zones_of(ONE, TWO))
    with pytest.raises(InputProblem, match="zone|zones"):
        check_rates(path, FORMATS["GeoPackage"],
                    zones_of(ONE, TWO, shapely.box(0, 300, 9, 309),
                             rows=[*ROWS, RateRow(3, "", 1.0, "seeds/ac")]))


@pytest.mark.parametrize("name", FORMATS)
def test_a_geopackage_keeps_no_journal_and_each_format_stands_alone(tmp_path, name):
    path = tmp_path / f"r{FORMATS[name].ending}"
    write_rates(path, FORMATS[name], zones_of(ONE, TWO))
    ends = {one.name.split(".", 1)[1] for one in tmp_path.iterdir()}
    assert ends == {"Shapefile": {"shp", "shx", "dbf", "prj", "cpg"}}.get(
        name, {FORMATS[name].ending[1:]})


def test_a_sound_geopackage_by_sqlite(tmp_path):
    path = tmp_path / "r.gpkg"
    write_rates(path, FORMATS["GeoPackage"], zones_of(ONE, TWO))
    assert path.read_bytes()[18:20] == b"\x01\x01"  # not in the mode that needs side files
    with closing(sqlite3.connect(path)) as base:
        assert base.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert base.execute("PRAGMA foreign_key_check").fetchall() == []


def test_a_rate_wider_than_its_column_is_refused(tmp_path):
    zones = zones_of(ONE, rows=[RateRow(1, "", 12_345_678_901.5, "seeds/ac")])
    with pytest.raises(InputProblem, match="Zone 1: .* has more digits than"):
        write_rates(tmp_path / "r.shp", FORMATS["Shapefile"], zones)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", FORMATS)
def test_text_is_one_line_no_longer_than_its_column(tmp_path, name):
    # 40 characters: a GeoPackage may not hold more than its column says, and a shapefile would
    # cut after 254 bytes, in the middle of a letter
    path = tmp_path / f"r{FORMATS[name].ending}"
    zones = zones_of(ONE, rows=[RateRow(1, "über\nalles " + "😀" * 90, 1.0, "u" * 60)])
    write_rates(path, FORMATS[name], zones)
    check_rates(path, FORMATS[name], zones)
    data = gdal.OpenEx(str(path))
    assert list(data.GetLayer(0).GetNextFeature().items().values())[1:] == [
        "über alles " + "😀" * 29, 1.0, "u" * 40]


def test_a_geopackage_says_what_the_standard_asks_of_it(tmp_path):
    path = tmp_path / "r.gpkg"
    write_rates(path, FORMATS["GeoPackage"], zones_of(ONE, TWO))
    with closing(sqlite3.connect(path)) as base:
        def one(query):
            return base.execute(query).fetchall()
        assert one("PRAGMA application_id") == [(0x47504B47,)]
        assert one("PRAGMA user_version")[0][0] >= 10_200
        assert {row[0] for row in one("SELECT srs_id FROM gpkg_spatial_ref_sys")} >= {4326, -1, 0}
        assert one("SELECT table_name, data_type, srs_id FROM gpkg_contents") == [
            ("rates", "features", 4326)]
        assert one("SELECT table_name, geometry_type_name, srs_id, z, m "
                   "FROM gpkg_geometry_columns") == [("rates", "POLYGON", 4326, 0, 0)]
        (column,) = [row[0] for row in one("SELECT column_name FROM gpkg_geometry_columns")]
        for (blob,) in one(f"SELECT {column} FROM rates"):
            assert blob[:3] == b"GP\0" and int.from_bytes(blob[4:8], "little") == 4326


def test_a_polygon_thinner_than_the_decimals_of_geojson_is_refused(tmp_path):
    # a needle of 0.005 mm on a square: 9 decimals of a degree are 0.1 mm
    zones = zones_of(ONE, shapely.union(shapely.box(200, 0, 250, 50),
                                        shapely.box(220.000017, 50, 220.000022, 90)))
    write_rates(tmp_path / "r.geojson", FORMATS["GeoJSON"], zones)
    with pytest.raises(InputProblem, match="GeoJSON: polygon 2 is too thin"):
        check_rates(tmp_path / "r.geojson", FORMATS["GeoJSON"], zones)
