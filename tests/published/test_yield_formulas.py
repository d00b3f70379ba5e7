"""Dry yield from grain flow: sums worked by hand, and a printed column of wet bushel weights."""
import pytest

from plugin.core.observe.yield_points import STANDARD_MOISTURE, dry_yield_kg_per_m2
from plugin.core.units import bushel_kg, convert


def bushels(flow_lb_s, seconds, distance_ft, swath_ft, moisture, crop="corn"):
    dry = dry_yield_kg_per_m2(convert(flow_lb_s, "lb/s", "kg/s"), seconds,
                              convert(distance_ft, "ft", "m"), convert(swath_ft, "ft", "m"),
                              moisture, crop)
    return convert(dry, "kg/m2", "kg/ac") / bushel_kg(crop)


@pytest.mark.parametrize(("flow", "distance_ft", "swath_ft", "moisture", "dry"), [
    # 30 x 43,560 / (7.3333 x 20) = 8,910 lb/ac; / 56 = 159.11; x 82 / 84.5 = 154.40
    (30, 5 * 5280 / 3600, 20, 18, 154.40),
    # 40 x 43,560 / (6.6 x 30) = 8,800 lb/ac; / 56 = 157.14; x 80 / 84.5 = 148.77
    (40, 4.5 * 5280 / 3600, 30, 20, 148.77),
    # 62 in x 360 in / 6,272,640 = 0.0035583 ac; 28 / 56 / 0.0035583 = 140.52; x 82.8 / 84.5
    (28, 62 / 12, 360 / 12, 17.2, 137.69)])
def test_records_worked_by_hand(flow, distance_ft, swath_ft, moisture, dry):
    assert bushels(flow, 1.0, distance_ft, swath_ft, moisture) == pytest.approx(dry, abs=0.005)


@pytest.mark.parametrize(("flow", "mph", "swath_ft", "wet"), [
    (30, 5, 20, 159.11), (40, 4.5, 30, 157.14)])
def test_the_speed_form_of_the_same_sum_before_drying(flow, mph, swath_ft, wet):
    # wet bu/ac = 29,700 x flow / (mph x swath x 56); at standard moisture nothing is taken off
    found = bushels(flow, 1.0, mph * 5280 / 3600, swath_ft, 15.5)
    assert found == pytest.approx(29_700 * flow / (mph * swath_ft * 56), rel=1e-12)
    assert found == pytest.approx(wet, abs=0.005)


@pytest.mark.parametrize(("moisture", "pounds"), [
    (10, 52.56), (15, 55.67), (18, 57.70), (20, 59.15), (25, 63.09), (30, 67.60)])
def test_wet_pounds_that_make_one_dry_bushel(moisture, pounds):
    # University of Wisconsin Extension, Bushels and test weight: so many pounds on an acre are
    # one bushel. The printed column is up to 0.02 lb off 56 x 84.5 / (100 - M).
    found = bushels(pounds, 1.0, 43_560, 1.0, moisture)
    assert found == pytest.approx(1.0, abs=0.02 / pounds)


@pytest.mark.parametrize(("crop", "moisture", "bushel_lb"), [
    ("corn", 15.5, 56), ("soybean", 13, 60), ("wheat", 13.5, 60), ("sorghum", 14, 56)])
def test_at_standard_moisture_a_bushel_of_grain_is_a_bushel(crop, moisture, bushel_lb):
    assert STANDARD_MOISTURE[crop] == moisture
    assert bushels(bushel_lb, 1.0, 43_560, 1.0, moisture, crop) == pytest.approx(1.0, rel=1e-12)


def test_tonnes_per_hectare_are_ten_times_flow_over_speed_and_swath():
    # 10 x 8 kg/s / (1.8 m/s x 9 m) = 4.938 t/ha
    found = convert(dry_yield_kg_per_m2(8.0, 2.0, 3.6, 9.0, 15.5, "corn"), "kg/m2", "t/ha")
    assert found == pytest.approx(80 / 16.2, rel=1e-12)
