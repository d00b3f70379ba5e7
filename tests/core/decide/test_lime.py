import numpy as np
import pytest

from plugin.core.decide.lime import lime_plan
from plugin.core.decide.lime_methods import load_lime_method
from plugin.core.decide.lime_quality import effective_by_fineness, effective_by_pounds
from plugin.core.decide.rate_zones import RateSettings
from plugin.core.grid import Grid
from plugin.core.problems import InputProblem
from plugin.core.surface import Surface
from plugin.core.zone.workable import WorkableShape

ACRE_M2 = 4046.8564224
OREGON = load_lime_method("lime_oregon_2025")
SPREAD = RateSettings("lime", "ton/ac", "USD", step=0.5, greatest=4, price=30)


def surface_of(name, estimate, unit=""):
    estimate = np.asarray(estimate, float)
    return Surface(name=name, unit=unit, grid=Grid(0.0, 0.0, 10.0, *estimate.shape),
                   inside=np.ones(estimate.shape), estimate=estimate,
                   standard_error=np.zeros(estimate.shape), account={})


def plan_of(ph, buffer_ph, deviation=0.0, ph_surface=None, **changed):
    buffer_ph = surface_of("Buffer pH", buffer_ph)
    draws = buffer_ph.estimate.ravel() + np.random.default_rng(2).normal(0, deviation, (400, 1))
    given = {"target_ph": 6.4, "depth_m": 6 * 0.0254, "depth_unit": "in", "effective_percent": 100,
             "area_unit": "ac", "shape": WorkableShape(), **changed}
    return lime_plan(ph_surface or surface_of("pH", ph), buffer_ph, draws,
                     np.arange(buffer_ph.estimate.size), OREGON, SPREAD, **given)


def test_each_zone_gets_the_lime_of_its_buffer_and_none_at_the_target():
    # buffer 6.4 to 6.4: 2.1, to the half: 2.0; 6.0: 3.5; pH 6.6 needs none
    plan = plan_of([[5.5, 5.5, 5.4, 6.6]], [[6.4, 6.4, 6.0, 6.2]])
    assert sorted((zone.action, zone.rate, round(zone.area * ACRE_M2)) for zone in plan.zones) \
        == [("apply", 2.0, 200), ("apply", 3.5, 100), ("none", 0, 100)]


def test_a_weaker_lime_takes_more_and_a_shallower_depth_less():
    # 2.1 / 0.60 = 3.5; 3 in: 1.05, to the half: 1.0
    assert plan_of([[5.5]], [[6.4]], effective_percent=60).zones[0].rate == 3.5
    assert plan_of([[5.5]], [[6.4]], depth_m=3 * 0.0254).zones[0].rate == 1.0


def test_the_band_of_the_need_is_that_of_the_buffer():
    # between buffer 6.3 and 6.5 the table falls 0.35 a tenth: 0.05 of buffer is 0.175 tons
    zone, = plan_of([[5.5]], [[6.4]], deviation=0.05).zones
    assert zone.figures["need, low"][0] == pytest.approx(2.1 - 1.645 * 0.175, abs=0.06)
    assert zone.figures["need, high"][0] == pytest.approx(2.1 + 1.645 * 0.175, abs=0.06)


def test_where_the_table_was_left_the_plan_says_so():
    plan = plan_of([[5.0, 5.0]], [[5.4, 6.0]], outside="clamp")
    assert any("On 50.0 % of the area" in caution for caution in plan.cautions)
    with pytest.raises(InputProblem, match="lie outside the table"):
        plan_of([[5.0, 5.0]], [[5.4, 6.0]])


def test_a_draw_outside_the_table_is_read_as_its_edge():
    zone, = plan_of([[5.0]], [[5.5]], deviation=0.2).zones
    assert zone.figures["need, high"][0] == pytest.approx(7.0)


def test_a_zone_tells_between_which_buffer_ph_its_rate_holds():
    # 2.0 t: 2.5 from a need of 2.25 on, 6.4 - 0.15 / 4 = 6.3625; 1.5 below 1.75, 6.5 + 0.05 / 3
    figures = plan_of([[5.5]], [[6.4]]).zones[0].figures
    assert figures["more up to a buffer pH of"] == (pytest.approx(6.36), "")
    assert figures["less from a buffer pH of"] == (pytest.approx(6.52), "")
    # 6.35 to 6.45 in the table: 2.3 to 1.95
    assert figures["rate for 0.1 of buffer pH"] == (pytest.approx(0.35), "ton/ac")
    assert figures["money for 0.1 of buffer pH"] == (pytest.approx(10.5), "USD/ac")


def test_method_depth_and_quality_are_told():
    plan = plan_of([[5.5]], [[6.4]])
    assert plan.settings["lime_method"] == ("Lime by the Sikora buffer, Oregon 2025", "")
    assert plan.settings["lime_depth"] == (pytest.approx(6), "in")
    assert plan.settings["lime_quality"] == (100, "% effective")
    assert "Sikora buffer alone" in plan.cautions[0] and "EM 9585" in plan.sources[0]


def test_surfaces_that_do_not_belong_together_are_refused():
    with pytest.raises(InputProblem, match="not on the same grid"):
        plan_of([[5.5, 5.5]], [[6.4]])
    with pytest.raises(InputProblem, match="pH is in ppm; this plan needs a figure without unit"):
        plan_of(None, [[6.4]], ph_surface=surface_of("pH", [[5.5]], "ppm"))


@pytest.mark.parametrize(("ph", "said"), [([[15.0]], "1 of 1 values of pH"),
                                          ([[-1.0]], "1 of 1 values of pH")])
def test_a_ph_that_is_none_is_refused(ph, said):
    with pytest.raises(InputProblem, match=said):
        plan_of(ph, [[6.4]])


def test_a_lime_without_effect_is_refused():
    with pytest.raises(InputProblem, match="lime_quality"):
        plan_of([[5.5]], [[6.4]], effective_percent=0)
    with pytest.raises(InputProblem, match="0 effective lb/ton"):
        effective_by_pounds(0)
    with pytest.raises(InputProblem, match="Each finer sieve lets less through"):
        effective_by_fineness(passing_20=70, passing_60=90, passing_100=50,
                              carbonate_equivalent=90)
    with pytest.raises(InputProblem, match="equivalent is 0"):
        effective_by_fineness(passing_20=95, passing_60=70, passing_100=50,
                              carbonate_equivalent=0)
