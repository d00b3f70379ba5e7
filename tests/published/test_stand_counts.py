"""Stand counts as extension services print them: row lengths, wheel distances, hoop factors."""
import numpy as np
import pytest

from plugin.core.observe.stand import hoop_area_m2, row_area_m2, stand_at_stops
from plugin.core.units import convert


def plants_per_acre(plants, area_m2):
    found = stand_at_stops([1], [plants], [area_m2])
    return convert(found.density[0], "plants/m2", "plants/ac")


def row_ft2(length_ft, width_in):
    return row_area_m2(convert(length_ft, "ft", "m"), convert(width_in, "in", "m"))


@pytest.mark.parametrize(("width_in", "feet", "inches"), [
    # Wisconsin L004 and W 120, Tennessee (2011), Purdue and South Dakota guides: feet and inches,
    # rounded to the inch. Ohio prints 69 ft 9 in for 7.5 in, an inch more than the sum gives.
    (7.5, 69, 8), (10, 52, 3), (15, 34, 10), (19, 27, 6), (20, 26, 2), (22, 23, 9), (30, 17, 5),
    (36, 14, 6), (38, 13, 9), (40, 13, 1)])
def test_the_printed_length_of_row_is_a_thousandth_of_an_acre(width_in, feet, inches):
    length_ft = feet + inches / 12
    assert length_ft == pytest.approx(
        convert(0.001, "ac", "m2") / row_ft2(1.0, width_in), abs=0.5 / 12 + 1e-9)
    # and 28 plants there are 28,000 an acre, as near as half an inch of row allows
    assert plants_per_acre(28, row_ft2(length_ft, width_in)) == pytest.approx(
        28_000, rel=0.5 / 12 / length_ft + 1e-9)


@pytest.mark.parametrize(("width_in", "feet"), [(7, 74.7), (22, 23.8), (28, 18.7)])
def test_lengths_printed_to_a_tenth_of_a_foot(width_in, feet):
    # Iowa State, Crop Knowledge
    assert plants_per_acre(1, row_ft2(feet, width_in)) == pytest.approx(1000, rel=0.05 / feet)


@pytest.mark.parametrize(("width_in", "feet"), [
    (7, 74.674), (7.5, 69.696), (10, 52.272), (15, 34.848), (19, 27.512), (20, 26.136),
    (22, 23.760), (28, 18.669), (30, 17.424), (36, 14.520), (38, 13.756), (40, 13.068)])
def test_a_thousandth_of_an_acre_is_522_72_over_the_row_width(width_in, feet):
    # 43.56 ft2 x 12 in = 522.72; lengths rounded to a thousandth of a foot
    assert feet == pytest.approx(522.72 / width_in, abs=5e-4)
    assert plants_per_acre(28, row_ft2(feet, width_in)) == pytest.approx(
        28_000, rel=5e-4 / feet + 1e-9)


@pytest.mark.parametrize(("width_in", "of_an_acre_m", "of_a_hectare_m"), [
    (7, 22.761, 56.24), (7.5, 21.243, 52.49), (10, 15.933, 39.37), (15, 10.622, 26.25),
    (19, 8.386, 20.72), (20, 7.966, 19.69), (22, 7.242, 17.90), (28, 5.690, 14.06),
    (30, 5.311, 13.12), (36, 4.426, 10.94), (38, 4.193, 10.36), (40, 3.983, 9.84)])
def test_a_thousandth_in_metres_of_row(width_in, of_an_acre_m, of_a_hectare_m):
    width_m = convert(width_in, "in", "m")  # lengths to a millimetre and to a centimetre
    assert convert(0.001, "ac", "m2") / row_area_m2(1.0, width_m) == pytest.approx(
        of_an_acre_m, abs=5e-4 + 1e-9)
    assert convert(0.001, "ha", "m2") / row_area_m2(1.0, width_m) == pytest.approx(
        of_a_hectare_m, abs=5e-3 + 1e-9)


def test_a_hundredth_of_an_acre_is_ten_times_as_long():
    # Iowa State, replant checklist: 174.24 ft of 30 in rows
    assert plants_per_acre(280, row_ft2(174.24, 30)) == pytest.approx(28_000, abs=0.5)


@pytest.mark.parametrize(("width_in", "factor"), [
    (36, 14_520), (30, 17_424), (24, 21_780), (20, 26_136), (15, 34_848), (7.5, 69_696)])
def test_one_plant_in_each_foot_of_row(width_in, factor):
    # Virginia Tech, soybean stands: 522,720 over the row width in inches
    assert plants_per_acre(1, row_ft2(1, width_in)) == pytest.approx(factor, abs=1e-6)


def test_wheat_in_three_feet_of_row():
    # Penn State, wheat stands: plants in 3 ft x 4 / row width in inches: 40 in 7 in rows are 22.9
    found = stand_at_stops([1], [40], [row_ft2(3, 7)]).density[0]
    assert found * convert(1, "ft2", "m2") == pytest.approx(22.9, abs=0.05)


@pytest.mark.parametrize(("width_cm", "length_m"), [
    (75, 13.333), (76, 13.158), (50, 20.0), (38, 26.316), (19, 52.632)])
def test_a_thousandth_of_a_hectare_in_metric_rows(width_cm, length_m):
    area = row_area_m2(length_m, convert(width_cm, "cm", "m"))
    assert area == pytest.approx(10.0, rel=5e-4 / length_m + 1e-9)  # length to a millimetre


@pytest.mark.parametrize(("plants", "length_ft", "per_acre"), [
    (28, 17.424, 28_000), (28, 17.5, 27_878), (1, 1, 17_424), (2, 1, 34_848), (55, 50, 19_166)])
def test_counts_in_thirty_inch_rows(plants, length_ft, per_acre):
    assert plants_per_acre(plants, row_ft2(length_ft, 30)) == pytest.approx(per_acre, abs=0.5)


def test_twenty_eight_thousand_an_acre_in_metric():
    area = row_ft2(17.424, 30)
    assert 28 / area == pytest.approx(6.919, abs=5e-4)
    assert convert(28 / area, "plants/m2", "plants/ha") == pytest.approx(69_190, abs=0.5)


@pytest.mark.parametrize(("width_in", "factor"), [
    (15, 5_227_200), (20, 3_920_400), (22, 3_564_000), (30, 2_613_600), (36, 2_178_000),
    (38, 2_063_368)])
def test_the_wheel_factor_of_150_plants(width_in, factor):
    # Illinois: plants per acre = factor / distance in feet; printed to a whole plant-foot
    assert plants_per_acre(150, row_ft2(94, width_in)) == pytest.approx(
        factor / 94, abs=0.5 / 94 + 1e-6)


def test_150_plants_in_94_feet_of_thirty_inch_row():
    assert plants_per_acre(150, row_ft2(94, 30)) == pytest.approx(27_804, abs=0.5)


def hoop_factor(diameter_in):
    return plants_per_acre(1, hoop_area_m2(convert(diameter_in, "in", "m")))


@pytest.mark.parametrize(("diameter_in", "factor"), [
    (18, 24_650), (21, 18_110), (24, 13_866), (27, 10_956), (28.25, 10_007), (30, 8_874),
    (32, 7_799), (33, 7_334), (34, 6_909), (36, 6_162), (38, 5_531)])
def test_the_hoop_factor_is_an_acre_over_the_circle(diameter_in, factor):
    # 43,560 x 576 / (pi d2), worked apart: the nearest plant
    assert factor == pytest.approx(43_560 * 576 / (np.pi * diameter_in**2), abs=0.5)
    assert hoop_factor(diameter_in) == pytest.approx(factor, abs=0.5)


@pytest.mark.parametrize(("diameter_in", "factor"), [
    (18, 24_662), (21, 18_119), (24, 13_872), (27, 10_961), (30, 8_878), (33, 7_337), (36, 6_165)])
def test_the_field_guides_hoop_factors(diameter_in, factor):
    # Purdue's guide reckons with pi = 3.14, which is 0.05 % low
    assert hoop_factor(diameter_in) == pytest.approx(factor, rel=1e-3)


@pytest.mark.parametrize(("diameter_in", "factor"), [(30, 8_900), (32, 7_800), (34, 6_900),
                                                     (36, 6_200)])
def test_the_hoop_factors_rounded_to_hundreds(diameter_in, factor):
    # South Dakota State; it also rounds 28 in to 10,000, which is what 28.25 in gives
    assert hoop_factor(diameter_in) == pytest.approx(factor, abs=50)


def test_a_hoop_of_88_75_inches_around_is_a_ten_thousandth():
    assert 88.75 / np.pi == pytest.approx(28.25, abs=0.005)
    assert hoop_factor(88.75 / np.pi) == pytest.approx(10_000, rel=1e-3)


@pytest.mark.parametrize(("plants", "diameter_in", "per_acre"), [
    (18, 30, 159_804), (13, 24, 180_336)])
def test_the_field_guides_hoop_counts(plants, diameter_in, per_acre):
    area = hoop_area_m2(convert(diameter_in, "in", "m"))
    assert plants_per_acre(plants, area) == pytest.approx(per_acre, rel=1e-3)  # pi = 3.14 again


def test_34_seeds_at_nine_tenths_emergence_spread_by_1_75_plants():
    # sqrt(34 x 0.9 x 0.1) = 1.749 plants, which are 1,749 an acre from a thousandth of an acre
    area = convert(0.001, "ac", "m2")
    found = stand_at_stops([1], [30.6], [area], seeds_per_m2=34 / area)
    assert convert(np.sqrt(found.error_variance[0]), "plants/m2", "plants/ac") == pytest.approx(
        1750, abs=5)
