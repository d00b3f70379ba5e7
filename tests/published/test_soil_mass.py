"""Parts per million of a soil layer in pounds an acre, as extension and laboratories print it."""
import pytest

from plugin.core.decide.soil_mass import USUAL_BULK_DENSITY, mass_per_area

INCH_M = 0.0254


@pytest.mark.parametrize("density,depth_in,factor", [
    # lb/ac = ppm x depth (in) x 0.22661 x density, worked by hand
    (1.20, 1, 0.272), (1.20, 6, 1.63), (1.20, 20 / 3, 1.81), (1.20, 12, 3.26),
    (1.33, 1, 0.301), (1.33, 6, 1.81), (1.33, 20 / 3, 2.01), (1.33, 12, 3.62),
    (1.40, 1, 0.317), (1.40, 6, 1.90), (1.40, 20 / 3, 2.12), (1.40, 12, 3.81)])
def test_factors_of_depth_and_density(density, depth_in, factor):
    found = mass_per_area(1.0, depth_m=depth_in * INCH_M, unit="lb/ac", bulk_density=density)
    assert found == pytest.approx(factor, abs=0.0055)  # half a digit as printed


def test_the_usual_factors_of_six_to_seven_inches_and_of_a_foot():
    # x 2 for 6 2/3 in (2,000,000 lb/ac) and x 3.6 for 12 in, to half a digit
    assert mass_per_area(1.0, depth_m=20 / 3 * INCH_M, unit="lb/ac") == pytest.approx(2, abs=0.05)
    assert mass_per_area(1.0, depth_m=12 * INCH_M, unit="lb/ac") == pytest.approx(3.6, abs=0.05)
    # UC Davis laboratory, soils/450: 8 in weigh 2.4 million lb/ac
    assert mass_per_area(1e6, depth_m=8 * INCH_M, unit="lb/ac") == pytest.approx(2.4e6, rel=0.01)


@pytest.mark.parametrize("density,pounds", [(USUAL_BULK_DENSITY, 61), (1.47, 68)])
def test_seventeen_ppm_of_a_foot(density, pounds):
    # 17 ppm x 3.6 = 61 lb/ac; by Illinois' factor of 4, which is a density of 1.47: 68
    found = mass_per_area(17.0, depth_m=12 * INCH_M, unit="lb/ac", bulk_density=density)
    assert found == pytest.approx(pounds, abs=0.6)
