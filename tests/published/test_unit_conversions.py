"""Factors as standards bodies and extension services print them, to the digits they print."""
import pytest

from plugin.core.units import (
    bushels_per_acre_as_tonnes_per_hectare,
    convert,
    pressures_of_forces,
)


@pytest.mark.parametrize(("value", "unit", "printed", "to", "half_digit"), [
    # NIST SP 811 (2008), appendix B.8; "exact" ones to rounding
    (1, "psi", 6.894757, "kPa", 5e-7), (1, "ac", 4046.856422, "m2", 5e-6),
    (1, "ac", 0.4046856, "ha", 5e-8), (1, "ha", 2.471054, "ac", 5e-7),
    (1, "in", 2.54, "cm", 1e-12), (1, "ft", 0.3048, "m", 1e-12),
    (1, "lb", 0.45359237, "kg", 1e-12), (1, "MPa", 145.0377, "psi", 5e-5),
    (1, "ac", 43_560, "ft2", 1e-7),
    # a limit of 300 psi and its kin, as penetrometer guides print them
    (100, "psi", 689, "kPa", 0.5), (200, "psi", 1379, "kPa", 0.5), (300, "psi", 2068, "kPa", 0.5),
    (300, "psi", 2.07, "MPa", 0.005), (300, "psi", 206.8, "N/cm2", 0.05),
    (2.0, "MPa", 290, "psi", 0.5), (2.5, "MPa", 363, "psi", 0.5), (3.0, "MPa", 435, "psi", 0.5),
    (1.5, "MPa", 218, "psi", 0.5),
    # 28,000 plants per acre by hand: 28,000 x 2.471054 = 69,190
    (28_000, "plants/ac", 69_190, "plants/ha", 0.5), (1, "lb/ac", 1.12085, "kg/ha", 5e-6),
    (1, "lb/s", 0.4536, "kg/s", 5e-5),
    # the same appendix: horsepower of 550 ft lbf/s, US liquid gallon, pound-force, mile per hour
    (1, "hp", 0.7456999, "kW", 5e-8), (1, "gal", 3.785412, "L", 5e-7),
    (1, "lbf", 4.448222, "N", 5e-7), (1, "mph", 1.609344, "km/h", 1e-12),
    (1, "gal/ac", 9.353964, "L/ha", 1e-4)])
def test_printed_factors_come_back(value, unit, printed, to, half_digit):
    assert convert(value, unit, to) == pytest.approx(printed, abs=half_digit)


@pytest.mark.parametrize(("psi", "kpa", "n_cm2", "small_n", "small_lbf", "large_n", "large_lbf"), [
    (100, 689, 68.9, 89, 20, 222, 50), (200, 1379, 137.9, 178, 40, 445, 100),
    (300, 2068, 206.8, 267, 60, 667, 150), (290, 2000, 200.0, 259, None, 645, None),
    (363, 2500, 250.0, 323, None, 807, None), (435, 3000, 300.0, 388, None, 968, None)])
def test_a_pressure_is_that_of_the_force_on_each_cone(psi, kpa, n_cm2, small_n, small_lbf, large_n,
                                                      large_lbf):
    # cones of ASABE S313.3: bases of 129.3 and 322.7 mm2 (0.2 and 0.5 in2), by their diameters
    assert convert(psi, "psi", "kPa") == pytest.approx(kpa, abs=3)  # psi are rounded to one
    assert convert(kpa, "kPa", "N/cm2") == pytest.approx(n_cm2, abs=0.051)
    for newtons, pounds, area_mm2, area_in2 in ((small_n, small_lbf, 129.3, 0.2),
                                                (large_n, large_lbf, 322.7, 0.5)):
        assert pressures_of_forces(newtons, "N", "kPa", area=area_mm2, area_unit="mm2") \
            == pytest.approx(kpa, abs=1000 * 0.5 / area_mm2 + 1)  # half a newton and half a kPa
        if pounds:
            assert pressures_of_forces(pounds, "lbf", "psi", area=area_in2, area_unit="in2") \
                == pytest.approx(psi)


@pytest.mark.parametrize(("crop", "kg_per_ha"), [
    ("corn", 62.768), ("sorghum", 62.768), ("soybean", 67.251), ("wheat", 67.251)])
def test_a_bushel_per_acre_in_kilograms_per_hectare(crop, kg_per_ha):
    # 56 lb: 56 x 0.45359237 / 0.40468564 = 62.768; 60 lb: 67.251 (printed to three decimals)
    found = 1000 * bushels_per_acre_as_tonnes_per_hectare(1.0, crop)
    assert found == pytest.approx(kg_per_ha, abs=5e-4)
