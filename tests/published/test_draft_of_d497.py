"""Draft, power, fuel and time against the worked example and the published look-ups of D497."""
from dataclasses import replace

import numpy as np
import pytest

from plugin.core.decide.data_table import read_data_table
from plugin.core.decide.draft import Outfit, draft_tools, draft_within, hectares_per_hour, pass_at
from plugin.core.decide.tillage_depth import TillageSettings, tillage_plan
from plugin.core.decide.tillage_energy import Rig
from plugin.core.units import METRIC, convert
from plugin.core.zone.workable import WorkableShape
from tests.core.decide.test_tillage_depth import surface_of

# Worked by hand from D497.7 (2011): 5 narrow points 0.76 m apart, medium soil, 6.5 km/h, a
# front-assist tractor of 130 kW at the take-off on tilled soil, efficiency 0.85.
SUBSOILER = Outfit(tool="subsoiler_narrow", texture="medium", tools=5, width_m=3.80,
                   speed_km_h=6.5, field_efficiency=0.85, tractor="front_wheel_assist",
                   surface="tilled", rated_pto_kw=130)


@pytest.mark.parametrize(("depth_cm", "draft_kn", "drawbar", "pto", "load", "litres_per_ha"), [
    (38, 40.17, 72.5, 99.4, 0.764, 16.36), (33, 34.89, 63.0, 86.3, 0.664, 14.99),
    (28, 29.60, 53.4, 73.2, 0.563, 13.62)])
def test_a_five_shank_subsoiler_takes_what_was_worked(depth_cm, draft_kn, drawbar, pto, load,
                                                      litres_per_ha):
    found = pass_at(depth_cm / 100, SUBSOILER)  # tolerances: half of the last digit worked
    assert found.draft_n / 1000 == pytest.approx(draft_kn, abs=0.006)
    assert found.drawbar_kw == pytest.approx(drawbar, abs=0.06)
    assert found.pto_kw == pytest.approx(pto, abs=0.06)
    assert found.load == pytest.approx(load, abs=0.0006)
    assert found.fuel_l_per_ha == pytest.approx(litres_per_ha, abs=0.012)
    assert 1 / found.hours_per_ha == pytest.approx(2.10, abs=0.005)


def test_a_field_in_three_depths_takes_nine_percent_less_than_one_depth():
    # 32.4 ha, 20 % at 38, 50 % at 33, 30 % at 28 cm: 481 L against 530 L
    zones = pass_at([0.38, 0.33, 0.28], SUBSOILER).fuel_l_per_ha @ [0.2, 0.5, 0.3] * 32.4
    uniform = float(pass_at(0.38, SUBSOILER).fuel_l_per_ha) * 32.4
    assert (zones, uniform) == pytest.approx((481, 530), abs=0.6)
    assert zones / uniform - 1 == pytest.approx(-0.092, abs=0.0006)


@pytest.mark.parametrize(("mph", "feet", "efficiency", "acres_per_hour"), [
    (4, 12.5, 0.85, 5.15),                       # worked: 4 x 12.5 x 0.85 / 8.25
    (5, 10.0, 0.85, 5.2), (5, 12.5, 0.85, 6.4),  # Iowa State PM 696: 5 shanks, 24 and 30 in
    (5, 14.0, 0.85, 7.2), (5, 17.5, 0.83, 8.8),  # 7 shanks, 24 and 30 in
    # chisels 11 ft 3 in, 13 ft 9 in, 16 ft 3 in; their efficiency was not read: that of the
    # subsoilers, 83 % for the widest, gives what is printed
    (5.5, 11.25, 0.85, 6.4), (5.5, 13.75, 0.85, 7.8), (5.5, 16.25, 0.83, 9.0)])
def test_capacities_are_those_of_the_bulletin(mph, feet, efficiency, acres_per_hour):
    outfit = replace(SUBSOILER, speed_km_h=mph * 1.609344, width_m=feet * 0.3048,
                     field_efficiency=efficiency)
    assert hectares_per_hour(outfit) / 0.40468564224 == pytest.approx(acres_per_hour, abs=0.06)


# D497.7 as read second-hand, the two last chisels from memory: what the width counts, A, B and C,
# the soil factors and the percent a draft holds within
D497 = """
subsoiler_narrow tools 226 0    1.8 1.0 0.70 0.45 50
subsoiler_winged tools 294 0    2.4 1.0 0.70 0.45 50
moldboard_plow   m     652 0    5.1 1.0 0.70 0.45 40
chisel_straight  tools 91  5.4  0   1.0 0.85 0.65 50
chisel_shovel    tools 107 6.3  0   1.0 0.85 0.65 50
chisel_twisted   tools 123 7.3  0   1.0 0.85 0.65 50
disk_tandem      m     309 16.0 0   1.0 0.88 0.78 50
disk_offset      m     364 18.8 0   1.0 0.88 0.78 50
"""


@pytest.mark.parametrize("row", D497.strip().splitlines())
def test_a_tool_draws_what_each_cell_of_its_row_says(row):
    tool, counts, *cells = row.split()
    a, b, c, fine, medium, coarse, within = map(float, cells)
    for texture, factor in (("fine", fine), ("medium", medium), ("coarse", coarse)):
        # 3 tools on 2 m, so that the width counts as the row says; 10 cm deep, 8 km/h
        outfit = replace(SUBSOILER, tool=tool, texture=texture, tools=3, width_m=2.0,
                         speed_km_h=8.0)
        wide = 3 if counts == "tools" else 2
        assert pass_at(0.10, outfit).draft_n == pytest.approx(
            factor * (a + b * 8 + c * 64) * wide * 10)
    assert draft_within(tool) == within / 100


def test_there_is_no_tool_beyond_those_rows():
    assert set(draft_tools()) == {row.split()[0] for row in D497.strip().splitlines()}


@pytest.mark.parametrize(("tractor", "firm", "tilled", "soft"), [
    ("two_wheel_drive", 0.72, 0.67, 0.55), ("front_wheel_assist", 0.77, 0.73, 0.65),
    ("four_wheel_drive", 0.78, 0.75, 0.70), ("track", 0.82, 0.80, 0.78)])
def test_a_tractor_pulls_the_share_that_its_ground_lets_it(tractor, firm, tilled, soft):
    for surface, share in (("firm", firm), ("tilled", tilled), ("soft", soft)):
        found = pass_at(0.30, replace(SUBSOILER, tractor=tractor, surface=surface))
        assert found.drawbar_kw / found.pto_kw == pytest.approx(share)


def test_diesel_is_that_of_the_part_load():
    # (0.22 X + 0.096) of the rated power: half of 130 kW in use takes 0.206 x 130 = 26.78 L/h
    found = pass_at(0.30, SUBSOILER)
    litres_per_hour = found.fuel_l_per_ha / found.hours_per_ha
    assert litres_per_hour == pytest.approx((0.22 * found.load + 0.096) * 130)


def test_rows_from_memory_are_marked():
    rows = {row[0]: row[-1] for row in read_data_table("draft_d497").rows}
    assert rows["chisel_shovel"] == rows["chisel_twisted"] == "M"
    assert dict(row[::4] for row in read_data_table("traction_d497").rows)["track"] == "M"


def test_a_plan_of_the_worked_field_tells_the_worked_litres():
    # The same 32.4 ha as zones: 324 cells of 1000 m2, 65, 162 and 97 of them with the bottom of the
    # pan 2 cm above each depth. 65 + 162 + 97 cells are 20.1, 50 and 29.9 %, so within 0.6 L.
    bottom = np.concatenate([np.full(65, 36.0), np.full(162, 31.0), np.full(97, 26.0)])[None]
    plan = tillage_plan(
        surface_of(bottom, unit="cm", cell=1000**0.5), surface_of(np.ones_like(bottom), "chance",
                                                                  "", cell=1000**0.5),
        TillageSettings(least=20, greatest=45, step=1, margin=2, cost_per_area=58, currency="USD",
                        depth_unit="cm"),
        area_unit="ha", shape=WorkableShape(), rig=Rig(SUBSOILER, METRIC, 1.0))
    assert sorted(zone.rate for zone in plan.zones) == [28, 33, 38]
    for name, litres in (("fuel by this plan", 481), ("fuel at one depth", 530)):
        assert plan.figures[name] == (pytest.approx(litres, abs=1.0), "L")
    deep = next(zone for zone in plan.zones if zone.rate == 38)
    assert deep.figures["draft"] == (pytest.approx(40.17, abs=0.006), "kN")
    assert deep.figures["power at the take-off"] == (pytest.approx(99.4, abs=0.06), "kW")
    assert deep.figures["share of the tractor's power"] == (pytest.approx(76.4, abs=0.06), "%")


def test_the_worked_figures_come_out_in_us_units_as_printed():
    # 99.4 kW is printed as 133 hp; 226 N per tool and cm as 129 lbf per tool and in; fuel of 38, 33
    # and 28 cm as 1.75, 1.60 and 1.46 gal/ac
    assert convert(99.4, "kW", "hp") == pytest.approx(133, abs=0.5)
    assert convert(226, "N", "lbf") * 2.54 == pytest.approx(129, abs=0.5)
    fuel = pass_at([0.38, 0.33, 0.28], SUBSOILER).fuel_l_per_ha
    assert convert(fuel, "L/ha", "gal/ac") == pytest.approx([1.75, 1.60, 1.46], abs=0.005)
