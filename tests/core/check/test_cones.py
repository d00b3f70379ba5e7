"""Cones: the ratio of their areas, sets off by it, and sets that are not."""
import numpy as np
import pytest

from plugin.core.check.cones import AREA_RATIO, check_cone_scales, check_mixed_cones


def peaks(middle, count=12, spread=0.2, seed=1):
    return middle * np.exp(np.random.default_rng(seed).normal(0, spread, count))


def sets(*named):
    return [(name, "compaction_readings", values) for name, values in named]


def test_the_ratio_of_the_areas_is_that_of_the_reference():
    # 0.5 in2 over 0.2 in2: 322.7 mm2 over 129.3 mm2.
    assert AREA_RATIO == pytest.approx(2.5, abs=0.005)


def test_two_sets_off_by_the_ratio_are_flagged():
    found = check_cone_scales(sets(("of Monday", peaks(1600)), ("of Tuesday",
                                                               peaks(1600 * 2.5, seed=2))))
    assert len(found) == 1 and found[0].kind == "cone_scale" and found[0].fid is None
    assert "of Tuesday peak 2." in found[0].what and "of Monday" in found[0].what


@pytest.mark.parametrize("ratio", [1.0, 1.4, 6.0])
def test_sets_off_by_another_ratio_are_not(ratio):
    first, second = peaks(1500, 30), peaks(1500 * ratio, 30, seed=2)
    found = check_cone_scales(sets(("of Monday", first), ("of Tuesday", second)))
    assert not any("times as high" in flag.what for flag in found)


@pytest.mark.parametrize(("middle", "words"), [
    (6000, "high for a field"), (600, "low for a field")])
def test_a_set_by_itself_is_flagged_where_the_other_scale_would_make_it_usual(middle, words):
    found = check_cone_scales(sets(("of Monday", np.full(8, float(middle)))))
    assert len(found) == 1 and words in found[0].why
    other = middle / AREA_RATIO if middle > 3000 else middle * AREA_RATIO
    assert f"{float(f'{other:.4g}'):,.10g} kPa" in found[0].why


@pytest.mark.parametrize("middle", [1200, 2000, 4400, 100, 30_000])
def test_a_usual_set_or_one_beyond_both_scales_is_not(middle):
    assert check_cone_scales(sets(("of Monday", np.full(8, float(middle))))) == []


def test_a_few_insertions_say_nothing():
    assert check_cone_scales(sets(("of Monday", np.full(4, 6000.0)))) == []
    assert check_cone_scales([]) == []


def test_the_cone_of_the_fewer_and_the_one_not_named_are_flagged():
    found = check_mixed_cones("compaction_readings", [3, 5, 6, 9], np.zeros((4, 2)),
                              ["small", "large", "small", None])
    assert [(flag.fid, flag.kind) for flag in found] == [(5, "mixed_cones"), (9, "mixed_cones")]
    assert "large cone, 2 of 4 with the small one" in found[0].what
    assert "not named" in found[1].what
    assert check_mixed_cones("compaction_readings", [1], np.zeros((1, 2)), ["large"]) == []
