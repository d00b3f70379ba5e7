import datetime
import re
from dataclasses import replace

import pytest

from plugin.core.decide.draft import Outfit
from plugin.core.problems import InputProblem
from plugin.core.zone.workable import WorkableShape
from plugin.record.plan_settings import (
    lime_settings,
    replant_doubts,
    replant_not_entered,
    replant_settings,
    setting_titles,
    sidedress_product,
    sidedress_settings,
    tillage_rig,
    tillage_settings,
    workable_shape,
)
from plugin.record.read import open_record
from plugin.record.schema import layer_spec
from tests.algorithms.small_calls import FACTORS, field_of, make_call


def record(tmp_path, units="us", **field):
    return open_record(make_call(tmp_path / "a.gpkg", units, field=field), only=())


@pytest.mark.parametrize("units,area,grain", [("us", "ac", "bu"), ("metric", "ha", "t")])
def test_replant_settings_are_the_records_own(qgis_app, tmp_path, units, area, grain):
    found = replant_settings(record(tmp_path, units, seed_rebate=50.0, insurance_payment=12.5,
                                    currency="EUR"))
    given = field_of(units)
    for name in ("planting_date", "replant_date", "expected_yield", "crop_price", "target_stand",
                 "expected_emergence", "seed_unit_cost", "termination_cost", "replanting_cost"):
        assert getattr(found, name) == given[name]
    assert (found.area_unit, found.grain_unit, found.currency, found.crop) == (
        area, grain, "EUR", "corn")
    assert (found.seed_rebate, found.insurance_payment) == (50.0, 12.5)
    # What a record may leave empty costs nothing, and a seed unit holds 80,000 seeds.
    assert (found.other_replant_cost, found.drying_cost, found.unevenness_loss) == (0, 0, 0)
    assert found.seeds_per_unit == 80_000


def test_both_unit_systems_cost_the_same_per_square_metre(qgis_app, tmp_path):
    costs = {units: replant_settings(record(tmp_path, units)).fixed_cost_per_area
             / FACTORS[units]["area"] for units in ("us", "metric")}
    # 8 plants wanted, 95 % come up: 8.42 seeds of 280 / 80,000 each; 0.3 and 0.6 cents beside it.
    assert costs["us"] == pytest.approx(8 / 0.95 * 280 / 80_000 + 0.009, rel=1e-9)
    assert costs["us"] == pytest.approx(costs["metric"], rel=1e-9)  # rounding


@pytest.mark.parametrize("column", [
    "planting_date", "replant_date", "expected_yield", "crop_price", "target_stand",
    "expected_emergence", "seed_unit_cost", "termination_cost", "replanting_cost", "crop"])
def test_a_figure_that_the_replant_decision_needs_is_asked_for(qgis_app, tmp_path, column):
    with pytest.raises(InputProblem, match=f"^field, {column}: .* is empty. Enter it in the rec"):
        replant_settings(record(tmp_path, **{column: None}))


def test_all_empty_figures_are_named_at_once_by_the_titles_of_the_form(qgis_app, tmp_path):
    given = record(tmp_path, crop_price=None, replant_date=None, crop=None, tillage_step=None,
                   tillage_cost=None)
    with pytest.raises(InputProblem, match="^field: these are empty: Crop, Replant date, Crop "
                                           "price. Enter them in the record.$"):
        replant_settings(given)
    with pytest.raises(InputProblem, match="^field: these are empty: Tillage step, Tillage cost. "
                                           "Enter them in the record.$"):
        tillage_settings(given, chance_limit=0.5)


@pytest.mark.parametrize("target,told", [(13_599, True), (13_600, False), (68_000, False),
                                         (68_001, True)])
def test_a_target_far_from_the_seeds_planted_is_asked_about(qgis_app, tmp_path, target, told):
    # 40 % and 200 % of 34,000.
    given = record(tmp_path, seeds_planted=34_000.0, target_stand=float(target))
    assert replant_doubts(given) == ((
        f"field, target_stand: {target:,} plants/ac are wanted, but 34,000 seeds/ac were planted. "
        "Check both figures and their unit. Used as they are.",) if told else ())


@pytest.mark.parametrize("day,told", [(20, False), (21, True)])
def test_a_replant_date_before_the_visit_is_asked_about(qgis_app, tmp_path, day, told):
    given = record(tmp_path, visit_date=datetime.date(2026, 5, day))  # replant date: 20 May
    assert replant_doubts(given) == ((
        "field, replant_date: 2026-05-20 is before the visit (2026-05-21). Enter the day the field "
        "could be replanted. Used as it is.",) if told else ())


@pytest.mark.parametrize("column", ["target_stand", "seeds_planted", "visit_date", "replant_date"])
def test_what_is_empty_raises_no_doubt(qgis_app, tmp_path, column):
    given = {"target_stand": 9e6, "visit_date": datetime.date(2026, 9, 1)}
    assert len(replant_doubts(record(tmp_path, **{**given, column: None}))) == 1


@pytest.mark.parametrize("units,unit", [("us", "in"), ("metric", "cm")])
def test_tillage_settings_are_the_records_own(qgis_app, tmp_path, units, unit):
    found = tillage_settings(record(tmp_path, units), chance_limit=0.25)
    given = field_of(units)
    assert (found.least, found.greatest, found.step, found.margin, found.cost_per_area) == tuple(
        given[f"tillage_{name}"] for name in ("least", "greatest", "step", "margin", "cost"))
    assert (found.depth_unit, found.chance_limit, found.currency) == (unit, 0.25, "USD")


@pytest.mark.parametrize("column", ["tillage_least", "tillage_greatest", "tillage_step",
                                    "tillage_margin", "tillage_cost"])
def test_a_figure_that_the_tillage_plan_needs_is_asked_for(qgis_app, tmp_path, column):
    with pytest.raises(InputProblem, match=f"^field, {column}: .* is empty. Enter it"):
        tillage_settings(record(tmp_path, **{column: None}), chance_limit=0.5)


@pytest.mark.parametrize("units,width_m,area_m2", [
    ("us", 40 * 0.3048, 1.5 * 43_560 * 0.3048**2), ("metric", 40.0, 15_000.0)])
def test_machine_and_smallest_zone_come_in_metres(qgis_app, tmp_path, units, width_m, area_m2):
    shape = workable_shape(record(tmp_path, units, machine_width=40.0, smallest_zone=1.5,
                                  row_heading=12.0))
    assert shape.machine_width_m == shape.smallest_width_m == pytest.approx(width_m, rel=1e-12)
    assert shape.smallest_area_m2 == pytest.approx(area_m2, rel=1e-12)
    assert shape.heading_deg == 12.0


def test_a_record_that_names_nothing_asks_for_no_shape(qgis_app, tmp_path):
    given = record(tmp_path, machine_width=None, smallest_zone=None, row_heading=None)
    assert workable_shape(given) == WorkableShape()



NITROGEN = {"nitrate_rule": "sidedress_illinois", "usual_nitrogen": 150.0, "nitrogen_step": 5.0,
            "nitrogen_greatest": 120.0}
LIME = {"lime_method": "lime_north_carolina", "lime_buffer": "mehlich", "target_ph": 6.0,
        "lime_depth": 8.0, "lime_quality": 92.0, "lime_greatest": 3.0, "lime_step": 0.25}


@pytest.mark.parametrize("units,rate,mass,grain", [("us", "lb/ac", "lb", "bu/ac"),
                                                   ("metric", "kg/ha", "kg", "t/ha")])
def test_sidedress_settings_are_the_records_own(qgis_app, tmp_path, units, rate, mass, grain):
    rule, site, spread = sidedress_settings(record(
        tmp_path, units, **NITROGEN, nitrogen_least=20.0, nitrogen_price=0.5,
        previous_crop="soybean", manure_earlier=True, mixed_cover_crop=False))
    assert rule.name == "sidedress_illinois"
    assert (site.rate_unit, site.yield_unit, site.usual_rate) == (rate, grain, 150)
    assert (site.previous_crop, site.manure_earlier, site.mixed_cover_crop, site.wet_spring) == (
        "soybean", True, False, None)
    assert (spread.step, spread.greatest, spread.least, spread.usual_rate, spread.price) == (
        5, 120, 20, 150, 0.5)
    # what an account calls its settings is what the field's form does
    told = [f"nitrogen_{name}" for name in ("step", "greatest", "least", "price")]
    assert {"usual_nitrogen", *told} <= set(setting_titles())


@pytest.mark.parametrize("units,density", [("us", 11.06), ("metric", 1.325280)])
def test_the_product_of_the_nitrogen_is_the_records_own(qgis_app, tmp_path, units, density):
    # 11.06 lb/gal x 0.45359237 kg/lb / 3.785411784 L/gal = 1.325280 kg/L
    found = sidedress_product(record(tmp_path, units, nitrogen_content=32.0,
                                     nitrogen_density=density))
    assert found.content == 0.32
    assert found.density_kg_per_l == pytest.approx(1.325280, rel=1e-6)
    assert {"nitrogen_content", "nitrogen_density"} <= set(setting_titles())


def test_a_product_without_a_content_is_none_and_of_0_percent_is_refused(qgis_app, tmp_path):
    assert sidedress_product(record(tmp_path, nitrogen_density=11.0)) is None
    assert sidedress_product(record(tmp_path, nitrogen_content=46.0)).density_kg_per_l is None
    for column, told in (("nitrogen_content", r"nitrogen_content is 0 %\. Enter a number above 0"),
                         ("nitrogen_density", r"nitrogen_density is 0 lb/gal")):
        given = {"nitrogen_content": 46.0, column: 0.0}
        with pytest.raises(InputProblem, match=told):
            sidedress_product(record(tmp_path, **given))


def test_what_may_be_empty_of_sidedressing_counts_as_none(qgis_app, tmp_path):
    rule, _, spread = sidedress_settings(record(
        tmp_path, **{**NITROGEN, "usual_nitrogen": None}, wet_spring=False),
        "sidedress_iowa_1997")
    assert rule.name == "sidedress_iowa_1997"  # chosen in place of the record's
    assert (spread.least, spread.usual_rate, spread.price) == (0, None, None)


@pytest.mark.parametrize("units,depth_m", [("us", 8 * 0.0254), ("metric", 0.08)])
def test_lime_settings_are_the_records_own(qgis_app, tmp_path, units, depth_m):
    found = lime_settings(record(tmp_path, units, **LIME, lime_price=30.0))
    assert (found.method.name, found.target_ph, found.effective_percent) == (
        "lime_north_carolina", 6.0, 92.0)
    assert found.depth_m == pytest.approx(depth_m, rel=1e-12)
    assert (found.spread.step, found.spread.greatest, found.spread.least, found.spread.price) == (
        0.25, 3.0, 0.0, 30.0)
    assert found.spread.rate_unit == {"us": "ton/ac", "metric": "t/ha"}[units]


def test_a_quality_given_takes_the_place_of_the_records(qgis_app, tmp_path):
    given = record(tmp_path, **{**LIME, "lime_quality": None})
    assert lime_settings(given, effective_percent=70.0).effective_percent == 70.0
    with pytest.raises(InputProblem, match="field, lime_quality: Lime quality is empty"):
        lime_settings(given)


RIG = {"tillage_tool": "subsoiler_narrow", "tillage_shanks": 5, "field_efficiency": 85.0,
       "soil_texture": "medium", "tractor": "front_wheel_assist", "tractor_surface": "tilled"}
RIG_OF = {"us": {**RIG, "tillage_width": 12.5, "tillage_speed": 4.0, "tractor_power": 174.0,
                 "fuel_price": 3.5},
          "metric": {**RIG, "tillage_width": 3.81, "tillage_speed": 6.437376,
                     "tractor_power": 129.7518, "fuel_price": 0.9246}}


@pytest.mark.parametrize("units", ["us", "metric"])
def test_tool_and_tractor_come_in_si_whatever_the_record_is_kept_in(qgis_app, tmp_path, units):
    rig, lacking = tillage_rig(record(tmp_path, units, **RIG_OF[units]))
    # 12.5 ft = 3.81 m; 4 mph = 6.437376 km/h; 174 hp of 745.6999 W = 129.7518 kW
    assert lacking == () and replace(rig.outfit, width_m=1, speed_km_h=1, rated_pto_kw=1) == Outfit(
        tool="subsoiler_narrow", texture="medium", tools=5, width_m=1, speed_km_h=1,
        field_efficiency=0.85, tractor="front_wheel_assist", surface="tilled", rated_pto_kw=1)
    assert (rig.outfit.width_m, rig.outfit.speed_km_h, rig.outfit.rated_pto_kw) == pytest.approx(
        (3.81, 6.437376, 129.7518), rel=1e-6)
    assert rig.fuel_price == RIG_OF[units]["fuel_price"] and rig.units.name == units


def test_what_the_rig_lacks_is_named_as_the_form_calls_it(qgis_app, tmp_path):
    assert tillage_rig(record(tmp_path)) == (None, (
        "Tillage tool", "Tillage speed", "Field efficiency", "Soil texture", "Tractor",
        "Ground under the tractor", "Tractor power", "Machine width"))
    some = {**RIG_OF["us"], "tillage_shanks": None, "tillage_width": None}
    assert tillage_rig(record(tmp_path, **some)) == (None, ("Shanks", "Machine width"))
    plow = {**some, "tillage_tool": "moldboard_plow", "machine_width": 10.0, "fuel_price": None}
    rig, lacking = tillage_rig(record(tmp_path, **plow))
    assert lacking == ("Fuel price",) and rig.outfit.width_m == pytest.approx(3.048)


@pytest.mark.parametrize("column,said", [
    ("tillage_speed", "field, tillage_speed is 0 mph. Enter a number above 0"),
    ("tillage_width", "field, tillage_width is 0 ft"), ("fuel_price", "is 0 USD/gal"),
    ("tractor_power", "field, tractor_power is 0 hp"), ("field_efficiency", "is 0 %")])
def test_a_rig_that_cannot_be_is_refused_in_the_records_unit(qgis_app, tmp_path, column, said):
    with pytest.raises(InputProblem, match=said):
        tillage_rig(record(tmp_path, **{**RIG_OF["us"], column: 0.0}))


def test_extra_nitrogen_and_weed_control_are_costs_of_their_own(qgis_app, tmp_path):
    bare = replant_settings(record(tmp_path))
    more = replant_settings(record(tmp_path, extra_nitrogen_cost=18.0, extra_weed_cost=7.5))
    assert more.fixed_cost_per_area - bare.fixed_cost_per_area == pytest.approx(25.5)
    assert "extra_nitrogen_cost" in replant_not_entered(record(tmp_path))


def test_every_example_of_a_price_says_its_year_and_that_it_is_one():
    for column in layer_spec("field").columns:
        if "USD" in column.description:
            assert "Example only: " in column.description
            assert re.search(r"\b(19|20)\d\d\b", column.description), column.name
            assert column.default is None
    told = {column.name for column in layer_spec("field").columns
            if "Example only" in column.description}
    assert told == {"crop_price", "seed_unit_cost", "termination_cost", "replanting_cost",
                    "insurance_payment", "tillage_cost", "fuel_price"}
