"""Sidedress nitrogen against the examples and tables of its sources."""
import numpy as np
import pytest

from plugin.core.decide.nitrate_rules import (
    NitrogenSite,
    load_nitrate_rule,
    nitrate_rules,
    nitrogen_needed,
)


def needed(rule, nitrate, **site):
    site = NitrogenSite(**{"crop": "corn", "rate_unit": "lb/ac", "yield_unit": "bu/ac", **site})
    return nitrogen_needed(load_nitrate_rule(rule), site, nitrate)


@pytest.mark.parametrize(("nitrate", "wet", "rate"), [
    (17, False, 64),   # Iowa PM 1714 (1997): (25 - 17) x 8
    (17, True, 32),    # wet spring: (21 - 17) x 8
    (10, True, 88),    # the check published by Iowa State in 2004 (second-hand)
    (25, False, 0), (30, False, 0), (21, True, 0)])
def test_iowa_takes_eight_pounds_for_each_ppm_below_the_critical_content(nitrate, wet, rate):
    found = needed("sidedress_iowa_1997", nitrate, wet_spring=wet, manure_since_harvest=False)
    assert found == pytest.approx(rate, abs=1e-9)


def test_iowa_is_content_with_less_on_manured_ground_in_a_wet_spring():
    found = needed("sidedress_iowa_1997", 10, wet_spring=True, manure_since_harvest=True)
    assert found == pytest.approx((15 - 10) * 8)


@pytest.mark.parametrize(("nitrate", "manured", "crop_before", "rate"), [
    (14, True, "corn", 113.5),      # Agronomy Guide table 1.4-4: 1.1 x 170 - (3.5 + 1.75) x 14
    (14, False, "soybean", 162.5),  # 187 - (0.75 + 0 + 1) x 14
    (14, False, "forage_legume", 187 - 4.25 * 14),
    (21, True, "corn", 0), (20.99, False, "corn", 187 - 0.75 * 20.99)])
def test_pennsylvania_takes_a_credit_by_manure_and_the_crop_before(nitrate, manured, crop_before,
                                                                   rate):
    found = needed("sidedress_pennsylvania", nitrate, expected_yield=170,
                   manure_since_harvest=manured, manure_earlier=manured,
                   previous_crop=crop_before)
    assert found == pytest.approx(rate, abs=1e-9)


@pytest.mark.parametrize(("cover", "rate_kg_ha"), [(False, 129 - 57), (True, 129 - 57 + 56.2)])
def test_pennsylvania_of_2022_takes_5_7_kg_for_each_ppm(cover, rate_kg_ha):
    # White et al. (2022): 12.9 kg N for each tonne of grain, less 5.7 kg/ha for each ppm
    found = needed("sidedress_pennsylvania_2022", 10, expected_yield=10, yield_unit="t/ha",
                   rate_unit="kg/ha", manure_earlier=True, mixed_cover_crop=cover)
    assert found == pytest.approx(rate_kg_ha)


def test_pennsylvania_of_2022_prints_its_slope_in_pounds_too():
    # White et al. (2022), as restated: 5.1 lb/ac for each ppm, 50 lb/ac after the cover crop
    site = {"expected_yield": 200, "manure_earlier": True}
    ten, eleven = needed("sidedress_pennsylvania_2022", [10, 11], mixed_cover_crop=False, **site)
    assert ten - eleven == pytest.approx(5.1, abs=0.05)
    more = needed("sidedress_pennsylvania_2022", [10], mixed_cover_crop=True, **site) - ten
    assert more == pytest.approx(50, abs=0.5)


@pytest.mark.parametrize(("nitrate", "rate"), [
    (19, 111),  # the example printed by Ohio State (2022): 156 - 45
    (0, 156), (10, 156), (11, 126), (15, 126), (16, 111), (20, 111), (21, 66), (25, 66), (26, 0)])
def test_ohio_takes_the_credit_of_the_class(nitrate, rate):
    assert needed("sidedress_ohio_2022", nitrate, usual_rate=156) == pytest.approx(rate)


@pytest.mark.parametrize(("nitrate", "rate"), [(20, 100), (10, 140), (9.9, 180), (25, 0)])
def test_illinois_takes_four_pounds_for_each_ppm_from_ten_on(nitrate, rate):
    # column by the University of Illinois (second-hand): 180 - 4 x 20 = 100 lb/ac
    assert needed("sidedress_illinois", nitrate, usual_rate=180) == pytest.approx(rate)


@pytest.mark.parametrize("rule", nitrate_rules())
def test_a_metric_record_gets_the_same_nitrogen(rule):
    told = {"previous_crop": "soybean", "manure_since_harvest": True, "manure_earlier": True,
            "wet_spring": False, "mixed_cover_crop": False}
    kg_ha_of_lb_ac = 0.45359237 / 0.40468564224  # NIST SP 811 (2008)
    t_ha_of_bu_ac = 56 * kg_ha_of_lb_ac / 1000   # 56 lb a bushel, Wisconsin Extension
    nitrate = np.arange(0, 30, 0.7)
    us = needed(rule, nitrate, expected_yield=170, usual_rate=150, **told)
    metric = needed(rule, nitrate, expected_yield=170 * t_ha_of_bu_ac, yield_unit="t/ha",
                    usual_rate=150 * kg_ha_of_lb_ac, rate_unit="kg/ha", **told)
    assert metric == pytest.approx(us * kg_ha_of_lb_ac, rel=1e-9, abs=1e-9)
