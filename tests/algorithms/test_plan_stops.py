"""planstops through the door: on the ground, in order, for receiver and paper."""
import datetime

import numpy as np
import pytest
from osgeo import gdal, ogr, osr
from qgis.core import (
    QgsFeature,
    QgsGeometry,
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsVectorLayer,
)

from tests.algorithms.small_calls import CRS, FIELD_WKT, make_call, stand_rows
from tests.report.pdf_reading import pages_of


def polygons(*wkts, crs=CRS):
    """A memory layer of polygons."""
    layer = QgsVectorLayer(f"MultiPolygon?crs={crs}", "field", "memory")
    features = []
    for wkt in wkts:
        feature = QgsFeature()
        geometry = QgsGeometry.fromWkt(wkt)
        geometry.convertToMultiType()
        feature.setGeometry(geometry)
        features.append(feature)
    layer.dataProvider().addFeatures(features)
    return layer


def stops_of(path):
    """(easting, northing, stop, leg, stratum) of each stop, in the order of the file."""
    source = ogr.Open(str(path))
    return [(row.GetGeometryRef().GetX(), row.GetGeometryRef().GetY(), row["stop"], row["leg"],
             row["stratum"]) for row in source.GetLayer(0)]


def waypoints_of(path):
    """(longitude, latitude, name) of each waypoint."""
    source = ogr.Open(str(path))
    return [(row.GetGeometryRef().GetX(), row.GetGeometryRef().GetY(), row["name"])
            for row in source.GetLayer(0)]


def inside(stops, wkt, buffer=0.0):
    ground = ogr.CreateGeometryFromWkt(wkt).Buffer(buffer) if buffer else \
        ogr.CreateGeometryFromWkt(wkt)
    return [ground.Buffer(0.01).Contains(ogr.CreateGeometryFromWkt(f"POINT ({x} {y})"))
            for x, y, *_ in stops]


@pytest.fixture
def soil(tmp_path):
    """A raster in degrees that is 1 in the west of the field and 5 in the east."""
    turn = osr.CoordinateTransformation(_reference(CRS), _reference("EPSG:4326"))
    west, south, _ = turn.TransformPoint(499_900, 4_399_900)
    east, north, _ = turn.TransformPoint(500_300, 4_400_300)
    path = tmp_path / "soil.tif"
    raster = gdal.GetDriverByName("GTiff").Create(str(path), 40, 40, 1, gdal.GDT_Float32)
    raster.SetGeoTransform((west, (east - west) / 40, 0, north, 0, -(north - south) / 40))
    raster.SetProjection(_reference("EPSG:4326").ExportToWkt())
    values = np.ones((40, 40)) + np.arange(40) / 100
    values[:, 20:] += 4
    raster.GetRasterBand(1).WriteArray(values)
    raster = None
    return path


def _reference(name):
    reference = osr.SpatialReference()
    reference.SetFromUserInput(name)
    reference.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    return reference


@pytest.mark.parametrize("design", [0, 1])
def test_stops_lie_on_the_ground_and_are_numbered_in_their_order(run, out, design):
    keep_out = "POLYGON ((500100 4400000, 500110 4400000, 500110 4400210, 500100 4400210, " \
               "500100 4400000))"
    made = run("planstops", BOUNDARY=polygons(FIELD_WKT), COUNT=18, DESIGN=design, HEADLAND=12,
               KEEP_OUT=polygons(keep_out), START=f"500003,4400002 [{CRS}]",
               STOPS=out / "stops.gpkg", GPX=out / "stops.gpx")
    stops = stops_of(out / "stops.gpkg")
    assert made["CHOSEN"] == 18 == len(stops) and made["CRS"] == CRS
    assert all(inside(stops, FIELD_WKT, -12)) and not any(inside(stops, keep_out))
    assert [stop for _, _, stop, *_ in stops] == list(range(1, 19))
    way = np.array([(500_003, 4_400_002)] + [stop[:2] for stop in stops] + [(500_003, 4_400_002)])
    legs = np.hypot(*np.diff(way, axis=0).T)
    assert [stop[3] for stop in stops] == pytest.approx(legs[:-1])
    assert made["LENGTH"] == pytest.approx(legs.sum())
    names = [name for *_, name in waypoints_of(out / "stops.gpx")]
    assert names == [f"{number:02}" for number in range(1, 19)]


def test_a_boundary_in_degrees_is_brought_into_its_zone(run, out):
    field = QgsGeometry.fromWkt("POLYGON ((-93 39.75, -92.997 39.75, -92.997 39.752, -93 39.752, "
                                "-93 39.75))")
    made = run("planstops", BOUNDARY=polygons(field.asWkt(), crs="EPSG:4326"), COUNT=5,
               STOPS=out / "stops.gpkg", GPX=out / "stops.gpx")
    assert made["CRS"] == "EPSG:32615"
    places = waypoints_of(out / "stops.gpx")
    assert len(places) == 5
    assert all(-93 < east < -92.997 and 39.75 < north < 39.752 for east, north, _ in places)


def test_precision_and_spread_give_the_number(run, out, tmp_path):
    made = run("planstops", BOUNDARY=polygons(FIELD_WKT), PRECISION=10, CV=20,
               STOPS=out / "stops.gpkg")
    assert made["CHOSEN"] == 18 and made["REACHED"] == pytest.approx(9.946, abs=1e-3)
    earlier = make_call(tmp_path / "earlier.gpkg", stands=stand_rows())
    made = run("planstops", BOUNDARY=polygons(FIELD_WKT), PRECISION=20, EARLIER=earlier,
               CONFIDENCE=90, STOPS=out / "more.gpkg")
    # The stops of that record have 7.0 plants per m2 or 3.5, rounded to whole plants counted.
    density = [row["plants"] for row in stand_rows()]
    assert made["SPREAD"] == pytest.approx(100 * np.std(density, ddof=1) / np.mean(density))
    assert made["REACHED"] <= 20


def test_strata_follow_a_raster_in_another_crs(run, out, soil):
    made = run("planstops", BOUNDARY=polygons(FIELD_WKT), COUNT=12, DESIGN=2,
               COVARIATES=[str(soil)], STRATA=2, STOPS=out / "stops.gpkg")
    stops = stops_of(out / "stops.gpkg")
    assert made["CHOSEN"] == 12
    assert {stratum for *_, stratum in stops} == {1, 2}
    assert all((x < 500_103) == (stratum == 1) for x, *_, stratum in stops if
               abs(x - 500_103) > 25)


@pytest.mark.parametrize(("units", "words"), [
    ("us", ["Length (ft)", "Plants", "12 in", "(psi)"]),
    ("metric", ["Length (m)", "30 cm", "(kPa)"])])
def test_the_sheet_has_map_list_and_blanks(run, out, units, words):
    run("planstops", BOUNDARY=polygons(FIELD_WKT), COUNT=14, TITLE="Long piece", UNITS=units,
        READINGS=[0, 2], STOPS=out / "stops.gpkg", SHEET=out / "sheet.pdf")
    pages = pages_of(out / "sheet.pdf")
    text = " ".join(" ".join(pages).split())
    assert "FIELD SHEET" in pages[0] and "Long piece" in pages[0] and "Date" in pages[0]
    assert "14 stops. The dashed line is the way" in text
    assert "Stand counts" in text and "Compaction readings" in text and "Soil probes" not in text
    flat = "".join(text.split())
    assert all("".join(word.split()) in flat for word in words)
    easting = f"{stops_of(out / 'stops.gpkg')[0][0]:.0f}"
    assert easting in text


HOLE = ("POLYGON ((500000 4400000, 500400 4400000, 500400 4400200, 500000 4400200, "
        "500000 4400000), (500150 4400050, 500150 4400150, 500250 4400150, 500250 4400050, "
        "500150 4400050))")
PARTS = ("MULTIPOLYGON (((500000 4400000, 500100 4400000, 500100 4400100, 500000 4400100, "
         "500000 4400000)), ((500300 4400000, 500400 4400000, 500400 4400100, 500300 4400100, "
         "500300 4400000)))")


@pytest.mark.parametrize("design", [0, 1])
@pytest.mark.parametrize("wkt", [HOLE, PARTS])
def test_holes_and_parts_are_kept_to(run, out, wkt, design):
    run("planstops", BOUNDARY=polygons(wkt), COUNT=9, DESIGN=design, STOPS=out / "stops.gpkg")
    stops = stops_of(out / "stops.gpkg")
    assert len(stops) == 9 and all(inside(stops, wkt))


@pytest.mark.parametrize(("options", "words"), [
    ({"COUNT": 0}, "0 stops are no walk"), ({"COUNT": 100_000}, "100000 stops are no walk"),
    ({}, "either COUNT"), ({"COUNT": 5, "PRECISION": 10}, "either COUNT"),
    ({"PRECISION": 10}, "enter CV"), ({"PRECISION": 0, "CV": 15}, "PRECISION is 0 %"),
    ({"PRECISION": 10, "CV": 0}, "CV is 0 %"), ({"PRECISION": 1, "CV": 90}, "more than 500"),
    ({"COUNT": 5, "DESIGN": 2}, "needs COVARIATES"), ({"COUNT": 5, "HEADLAND": 400}, "headland"),
    ({"COUNT": 5, "GPX": "stops.txt"}, "ends in .gpx")])
def test_what_makes_no_walk_is_refused_and_nothing_is_written(run, out, options, words):
    with pytest.raises(QgsProcessingException, match=f"(?i){words}"):
        run("planstops", BOUNDARY=polygons(FIELD_WKT), STOPS=out / "stops.gpkg", **options)
    assert not list(out.iterdir())


@pytest.mark.parametrize(("wkts", "words"), [
    ((), "no polygon with an area"),
    (("POLYGON ((0 0, 10 0, 20 0, 0 0))",), "no polygon with an area|crosses or touches itself"),
    (("POLYGON ((0 0, 10 10, 10 0, 0 10, 0 0))",), "crosses or touches itself")])
def test_a_boundary_of_no_area_is_refused(run, out, wkts, words):
    with pytest.raises(QgsProcessingException, match=words):
        run("planstops", BOUNDARY=polygons(*wkts), COUNT=5, STOPS=out / "stops.gpkg")
    assert not list(out.iterdir())


def test_ground_that_is_kept_out_whole_is_refused(run, out):
    with pytest.raises(QgsProcessingException, match="cover all of the field"):
        run("planstops", BOUNDARY=polygons(FIELD_WKT), KEEP_OUT=polygons(FIELD_WKT), COUNT=5,
            STOPS=out / "stops.gpkg")


def test_full_precision_of_the_mean_takes_few_stops(run, out):
    made = run("planstops", BOUNDARY=polygons(FIELD_WKT), PRECISION=100, CV=15,
               STOPS=out / "stops.gpkg")
    assert made["CHOSEN"] == 3
    assert any("a map is tried" in warning for warning in run.warnings)


def test_a_cancelled_plan_writes_nothing(run, out):
    feedback = QgsProcessingFeedback()
    feedback.cancel()
    assert run("planstops", feedback, BOUNDARY=polygons(FIELD_WKT), COUNT=5,
               STOPS=out / "stops.gpkg", SHEET=out / "sheet.pdf") == {}
    assert not list(out.iterdir())


def test_an_earlier_record_without_the_readings_is_refused(run, out, tmp_path):
    earlier = make_call(tmp_path / "earlier.gpkg", field={"visit_date": datetime.date(2026, 5, 1)})
    for quantity, words in ((0, "no reading"), (5, "nitrate_n_ppm")):
        with pytest.raises(QgsProcessingException, match=words):
            run("planstops", BOUNDARY=polygons(FIELD_WKT), PRECISION=10, EARLIER=earlier,
                QUANTITY=quantity, STOPS=out / "stops.gpkg")
    assert not list(out.iterdir())
