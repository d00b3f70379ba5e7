import json

import pytest
import shapely
from osgeo import gdal, ogr, osr
from shapely.affinity import translate

from plugin.core.deliver.rate_table import RateRow
from plugin.core.problems import InputProblem
from plugin.layers.rate_files import FORMATS, write_rates

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


@pytest.fixture(params=FORMATS)
def rates(request, tmp_path):
    """A rate file in each format: (format, path)."""
    path = tmp_path / f"rates{FORMATS[request.param][2]}"
    count = write_rates(path, request.param, "EPSG:32615", in_place(ONE, TWO), ROWS)
    assert count == 3
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
    # RFC 7946 files keep 7 decimals of a degree, 1 cm: of a side of 100 m, 1 in 10,000.
    assert areas == pytest.approx(AREAS, rel=4e-4)


def test_exterior_rings_run_counter_clockwise_in_geojson_and_holes_clockwise(tmp_path):
    path = tmp_path / "rates.geojson"
    write_rates(path, "GeoJSON", "EPSG:32615", in_place(ONE, TWO), ROWS)
    content = json.loads(path.read_text(encoding="utf-8"))
    assert content["type"] == "FeatureCollection" and "crs" not in content
    for feature in content["features"]:
        assert feature["geometry"]["type"] == "Polygon"
        exterior, *holes = feature["geometry"]["coordinates"]
        assert shapely.LinearRing(exterior).is_ccw
        assert not any(shapely.LinearRing(hole).is_ccw for hole in holes)
    assert sum(len(feature["geometry"]["coordinates"]) for feature in content["features"]) == 4


def test_a_shapefile_comes_with_its_crs_and_says_how_its_text_is_written(tmp_path):
    write_rates(tmp_path / "rates.shp", "Shapefile", "EPSG:32615", in_place(ONE),
                [RateRow(1, "é", 1.0, "in")])
    assert {path.name for path in tmp_path.iterdir()} == {
        "rates.shp", "rates.shx", "rates.dbf", "rates.prj", "rates.cpg"}
    assert (tmp_path / "rates.cpg").read_text().strip().upper() == "UTF-8"
    assert (tmp_path / "rates.prj").read_text().startswith("GEOGCS[\"GCS_WGS_1984\"")
    data = ogr.Open(str(tmp_path / "rates.shp"))
    assert data.GetLayer(0).GetNextFeature().GetField("ACTION") == "é"


def test_a_shapefile_does_not_carry_over_rows_of_the_one_it_replaces(tmp_path):
    for count in (2, 1):
        write_rates(tmp_path / "rates.shp", "Shapefile", "EPSG:32615", in_place(ONE, TWO)[:count],
                    ROWS[:count])
    data = ogr.Open(str(tmp_path / "rates.shp"))
    assert [feature.GetField("ZONE") for feature in data.GetLayer(0)] == [1]


@pytest.mark.parametrize("wkb,words", [
    (b"", "Zone 1 has no polygon. Draw it"),
    (shapely.to_wkb(shapely.Polygon()), "Zone 1 has no polygon. Draw it"),
    (shapely.to_wkb(shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 1)])),
     "Zone 1: its polygon crosses itself. Mend it with Fix"),
], ids=["no geometry", "empty", "crossing"])
def test_a_zone_without_a_sound_polygon_is_refused_and_nothing_is_written(tmp_path, wkb, words):
    with pytest.raises(InputProblem, match=words):
        write_rates(tmp_path / "rates.shp", "Shapefile", "EPSG:32615", [wkb], ROWS[:1])
    assert list(tmp_path.iterdir()) == []


def _reference(epsg):
    made = osr.SpatialReference()
    made.ImportFromEPSG(epsg)
    made.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    return made


@pytest.mark.parametrize("name", FORMATS)
def test_a_zone_drawn_with_curves_is_one_polygon_of_lines(tmp_path, name):
    path = tmp_path / f"rates{FORMATS[name][2]}"
    circle = ogr.CreateGeometryFromWkt(
        f"CURVEPOLYGON (CIRCULARSTRING ({EAST} {NORTH}, {EAST + 200} {NORTH}, {EAST} {NORTH}))")
    assert write_rates(path, name, "EPSG:32615", [bytes(circle.ExportToIsoWkb(ogr.wkbNDR))],
                       ROWS[:1]) == 1
    data = gdal.OpenEx(str(path))
    feature = data.GetLayer(0).GetNextFeature()  # kept: the geometry is a part of it
    geometry = feature.GetGeometryRef()
    assert geometry.GetGeometryType() == ogr.wkbPolygon
    # A circle of 200 m is 31,416 m2; a degree of longitude there is 85.7 km, one of latitude
    # 111.0 km (ellipsoid); lines for arcs of 4 degrees take off 0.1 %.
    assert geometry.Area() * 85_700 * 111_000 == pytest.approx(31_416, rel=5e-3)
