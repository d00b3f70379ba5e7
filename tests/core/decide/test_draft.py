from dataclasses import replace

import numpy as np
import pytest

from plugin.core.decide.draft import Outfit, pass_at, sources
from plugin.core.problems import InputProblem

OUTFIT = Outfit(tool="subsoiler_narrow", texture="fine", tools=4, width_m=3.0, speed_km_h=6.0,
                field_efficiency=0.8, tractor="track", surface="firm", rated_pto_kw=150)


def test_ground_that_is_left_takes_nothing():
    found = pass_at([0.0, 0.3], OUTFIT)
    assert found.fuel_l_per_ha[0] == found.hours_per_ha[0] == found.draft_n[0] == 0
    assert found.fuel_l_per_ha[1] > 0


def test_draft_grows_with_depth_and_tools_in_proportion():
    one, two = pass_at([0.2, 0.4], OUTFIT).draft_n
    assert two == pytest.approx(2 * one)
    assert pass_at(0.2, replace(OUTFIT, tools=8)).draft_n == pytest.approx(2 * one)
    assert pass_at(0.2, OUTFIT, draft_factor=1.5).draft_n == pytest.approx(1.5 * one)


def test_a_tool_counted_by_width_needs_no_number_of_tools():
    plow = replace(OUTFIT, tool="moldboard_plow", tools=None)
    wide = replace(plow, width_m=6.0)
    assert pass_at(0.2, wide).draft_n == pytest.approx(2 * pass_at(0.2, plow).draft_n)


def test_a_load_above_the_tractor_is_told_as_above_one():
    assert pass_at(0.5, replace(OUTFIT, rated_pto_kw=40)).load > 1


def test_every_source_is_cited_with_its_standing():
    assert len(sources()) == 3 and all("D497" in one and "second-hand" in one for one in sources())


@pytest.mark.parametrize(("changed", "said"), [
    ({"tool": "spade"}, "tillage_tool is spade. Choose one of subsoiler_narrow"),
    ({"texture": None}, "soil_texture is empty. Choose one of fine, medium, coarse"),
    ({"tractor": "horse"}, "tractor is horse"), ({"surface": "ice"}, "tractor_surface is ice"),
    ({"tools": None}, "tillage_shanks is empty"), ({"width_m": 0}, "machine_width is 0"),
    ({"speed_km_h": np.nan}, "tillage_speed"), ({"field_efficiency": 85}, "field_efficiency is 85"),
    ({"rated_pto_kw": -1}, "tractor_power")])
def test_an_outfit_that_is_not_whole_is_refused_by_name(changed, said):
    with pytest.raises(InputProblem, match=said):
        replace(OUTFIT, **changed)


def test_a_depth_that_is_missing_is_refused():
    with pytest.raises(InputProblem, match="1 of 2 depths"):
        pass_at([0.3, np.nan], OUTFIT)
