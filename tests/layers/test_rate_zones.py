import numpy as np
import pytest
import shapely
from shapely.affinity import translate

from plugin.core.deliver.rate_table import RateRow
from plugin.core.problems import InputProblem
from plugin.layers.rate_zones import rate_zones, rings_of, transformation

EAST, NORTH = 500_000.0, 4_400_000.0
ROWS = [RateRow(1, "a", 1.0, "in"), RateRow(2, "b", 2.0, "in"), RateRow(3, "c", 3.0, "in")]


def zones_of(*shapes, crs="EPSG:32615", east=EAST, north=NORTH):
    wkbs = [shape if isinstance(shape, bytes) else shapely.to_wkb(translate(shape, east, north))
            for shape in shapes]
    return rate_zones(crs, wkbs, ROWS[:len(shapes)])


LEFT, RIGHT = shapely.box(0, 0, 100, 100), shapely.box(100, 0, 150, 100)


def test_zones_are_measured_in_their_own_metres():
    meant = zones_of(LEFT, RIGHT).meant()
    assert [(zone.name, zone.rate, zone.area_m2, zone.outline_m) for zone in meant] == [
        ("zone 1", 1.0, 10_000.0, 400.0), ("zone 2", 2.0, 5_000.0, 300.0)]


@pytest.mark.parametrize("crs,scale", [("EPSG:26915", 1.0), ("EPSG:2236", 0.3048006096)])
def test_zones_in_feet_or_another_datum_are_measured_in_metres(crs, scale):
    # Florida East, US survey feet: its scale is within 1 in 10,000 of true here
    zones = zones_of(LEFT, crs=crs, east=656_000.0, north=900_000.0)
    assert zones.meant()[0].area_m2 == pytest.approx(10_000 * scale**2, rel=2e-4)


@pytest.mark.parametrize("crs", ["EPSG:3857", "EPSG:32618"])
def test_areas_are_of_the_ground_whatever_the_crs_makes_of_them(crs):
    # Web Mercator shows 1.7 times the area at 39.7 degrees; UTM three zones on adds 6 %
    true = zones_of(LEFT, RIGHT)
    turn = transformation("EPSG:32615", crs)
    shapes = [shapely.to_wkb(shapely.transform(shapely.from_wkb(wkb), lambda points: np.array(
        turn.TransformPoints(points))[:, :2])) for wkb in true.shapes]
    found = rate_zones(crs, shapes, ROWS[:2])
    assert [zone.area_m2 for zone in found.meant()] == pytest.approx(
        [zone.area_m2 for zone in true.meant()], rel=2e-3)  # UTM's own scale


def test_zones_in_degrees_are_measured_in_metres():
    # one second of latitude is 30.87 m at 45 degrees, one of longitude 21.92 m (WGS 84)
    second = 1 / 3600
    shape = shapely.box(7.0, 45.0, 7.0 + 10 * second, 45.0 + 10 * second)
    zone, = zones_of(shapely.to_wkb(shape), crs="EPSG:4326").meant()
    assert zone.area_m2 == pytest.approx(308.7 * 219.2, rel=1e-3)


@pytest.mark.parametrize("crs,east,north,west,south", [
    ("EPSG:32615", 500_000, 4_400_000, -93.0, 39.75),
    ("EPSG:32721", 500_000, 6_200_000, -57, -34.3),
    ("EPSG:32755", 500_000, 6_200_000, 147, -34.3), ("EPSG:32633", 500_000, 5_400_000, 15, 48.75)])
def test_south_and_west_are_negative(crs, east, north, west, south):
    extent = zones_of(LEFT, crs=crs, east=east, north=north).extent
    assert extent[0] == pytest.approx(west, abs=1e-6) and extent[1] == pytest.approx(south, abs=0.1)
    assert extent[2] > extent[0] and extent[3] > extent[1]


def test_rings_are_closed_rounded_and_the_hole_comes_second():
    shape = shapely.Polygon(LEFT.exterior, [[(10, 10), (20, 10), (20, 20), (10, 20)]])
    zones = zones_of(shapely.MultiPolygon([shape, shapely.box(200, 0, 210, 10)]))
    (polygons,) = rings_of(zones.shapes, zones.crs_wkt, 9)
    assert [len(rings) for rings in polygons] == [2, 1]
    for rings in polygons:
        for ring in rings:
            assert ring.shape == (5, 2) and (ring[0] == ring[-1]).all()
            assert np.array_equal(np.round(ring, 9), ring)
    hole = polygons[0][1]
    assert np.ptp(hole[:, 1]) < 0.2 * np.ptp(polygons[0][0][:, 1])


def test_points_that_rounding_makes_one_are_given_once():
    shape = shapely.Polygon([(0, 0), (100, 0), (100, 1e-6), (100, 100), (0, 100)])
    zones = zones_of(shape)
    assert rings_of(zones.shapes, zones.crs_wkt, 9)[0][0][0].shape == (5, 2)


CROSSING = shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 1)])
TOUCHING = shapely.Polygon([(0, 0), (50, 0), (100, 0), (100, 100), (50, 0), (0, 100)])


@pytest.mark.parametrize("shapes,words", [
    ([b""], "Zone 1 has no polygon. Draw it"), ([shapely.Polygon()], "Zone 1 has no polygon"),
    ([LEFT, CROSSING], "Zone 2: its polygon crosses or touches itself. Mend it with Fix"),
    ([TOUCHING], "Zone 1: its polygon crosses or touches itself"),
    ([shapely.Point(0, 0)], "Zone 1 has no polygon"),
    ([LEFT, shapely.box(90, 0, 150, 100)], "overlap on 6.7 % of the field"),  # 1,000 of 15,000 m2
    ([LEFT, LEFT], "overlap on 1e.02 % of the field, where the controller would find two")])
def test_zones_that_a_controller_cannot_follow_are_refused(shapes, words):
    with pytest.raises(InputProblem, match=words):
        zones_of(*shapes)


def test_a_field_over_the_180th_meridian_is_refused():
    wkt = shapely.box(-20_000, 0, 20_000, 100)
    with pytest.raises(InputProblem, match="180th meridian must be split"):
        zones_of(wkt, crs="EPSG:3832", east=3_339_584.72, north=-2_000_000)  # Mercator, 150 east


def test_parts_without_a_width_are_left_out_and_a_zone_of_nothing_else_is_refused():
    # 1 cm by 50 m, beside a square of 100 m
    sliver = shapely.box(200, 0, 200.01, 50)
    zones = zones_of(shapely.MultiPolygon([LEFT, sliver]), RIGHT)
    assert zones.meant()[0].area_m2 == 10_000 and zones.shapes[0][5] == 1
    with pytest.raises(InputProblem, match="Zone 2 is nowhere wider than 0.02 m. Merge it"):
        zones_of(LEFT, sliver)


def test_a_gap_between_vertices_that_should_be_one_makes_no_hole_in_the_field():
    # the neighbour's edge bulges away by a hundredth of a mm
    bulged = shapely.Polygon([(100, 0), (150, 0), (150, 100), (100, 100), (100, 80),
                              (100.00001, 50), (100, 20)])
    zones = zones_of(LEFT, bulged)
    ((rings,),) = rings_of([zones.field], zones.crs_wkt, 9)
    assert len(rings) == 1


def test_a_zone_too_thin_for_the_decimals_is_refused():
    # a wedge that ends in a needle of 0.02 mm; the 9th decimal is 0.1 mm
    needle = shapely.Polygon([(0, 0), (100, 0), (100, 50), (100.00002, 100), (99.99999, 100),
                              (99.99999, 50), (0, 50)])
    zones = zones_of(needle)
    with pytest.raises(InputProblem, match="around latitude 39.7.*, longitude -92.9.* too thin"):
        rings_of(zones.shapes, zones.crs_wkt, 9)
