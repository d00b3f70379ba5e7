"""Impossible and unlikely values, and mistakes of unit, as worked by hand."""
import numpy as np
import pytest

from plugin.core.check.limits import Limits, Mistake, _rows, check_limits, limits_of
from plugin.core.check.reading_set import ReadingSet
from plugin.core.decide.stand_ceiling import stand_ceiling_per_m2
from plugin.core.units import convert

SEEDS = Limits(0, 1.0, 3.5, 10.0, "common practice")
CENTIMETRES = Mistake("depth_unit", 1 / 2.54, "centimetres were entered as inches")


def readings(values, title="Seed depth", unit="in"):
    values = np.array(values, float)
    return ReadingSet("seed_depths", title, unit, np.arange(1, len(values) + 1),
                      np.column_stack([np.arange(len(values)), np.zeros(len(values))]), values)


def kinds(flags):
    return [(flag.kind, flag.fid) for flag in flags]


def test_usual_and_empty_values_are_not_flagged():
    assert check_limits(readings([1.0, 2.0, 3.5, np.nan]), SEEDS, (CENTIMETRES,)) == []


def test_each_value_gets_the_flag_that_explains_it():
    # 5 in would be 1.97 in if it were cm; 4 in 1.57 in; 9.5 in still unusual as 3.74; 0.5 too.
    found = check_limits(readings([2, 2, 2, 2, 5, 9.5, 0.5, 11, -1]), SEEDS, (CENTIMETRES,))
    assert kinds(found) == [("depth_unit", 5), ("unlikely_value", 6), ("unlikely_value", 7),
                            ("impossible_value", 8), ("impossible_value", 9)]
    assert "Seed depth is 5 in." == found[0].what
    assert "centimetres were entered as inches, it is 1.969 in" in found[0].why
    assert found[0].position_m == (4.0, 0.0)
    assert "cannot be below 0 in or above 10 in" in found[3].why


def test_a_whole_set_is_flagged_once():
    found = check_limits(readings([5, 5.5, 4, 6, 2]), SEEDS, (CENTIMETRES,))
    assert kinds(found) == [("depth_unit", None)]
    assert "rows 1, 2, 3 and 4" in found[0].what and "5.5 in in the middle" in found[0].what
    assert "it" not in found[0].why.split() or "2.165" in found[0].why
    # Half of the rows is not most of them, and two are too few to speak of a set.
    assert len(check_limits(readings([5, 5, 2, 2]), SEEDS, (CENTIMETRES,))) == 2
    assert len(check_limits(readings([5, 5]), SEEDS, (CENTIMETRES,))) == 2


def test_the_likeliest_mistake_speaks_first():
    both = (Mistake("depth_unit", 0.5, "first"), Mistake("depth_unit", 0.4, "second"))
    assert "first" in check_limits(readings([5]), SEEDS, both)[0].why


def test_a_mistake_may_differ_from_row_to_row():
    # Plants per acre entered on grounds of 1/1000 and 1/500 acre: the counts are far too high.
    stand = readings([28e6, 15e6, 30_000], "Stand", "plants/ac")
    limits = Limits(0, 2_000, 45_000, 69_000, "common practice")
    found = check_limits(stand, limits, (Mistake("count_basis", np.array([1e-3, 2e-3, 1e-3]),
                                                 "plants per ac were entered"),))
    assert kinds(found) == [("count_basis", 1), ("count_basis", 2)]
    assert "28,000 plants/ac" in found[0].why and "30,000 plants/ac" in found[1].why


def test_the_table_speaks_of_the_crop_before_any_and_converts():
    assert limits_of("seed_depth", "corn", "in").likely_from == pytest.approx(2.5 / 2.54)
    assert limits_of("seed_depth", "other", "cm").likely_from == 1
    assert limits_of("seed_depth", None, "cm") == limits_of("seed_depth", "other", "cm")
    assert limits_of("stand", "other", "plants/ac") is None
    assert limits_of("nothing", "corn", "cm") is None


def test_the_table_holds_together():
    for (quantity, crop), row in _rows().items():
        ends = [float(row[name]) for name in ("least", "likely_from", "likely_to", "greatest")]
        assert ends == sorted(ends), (quantity, crop)
        assert ends[1] < ends[2] and row["source"]


@pytest.mark.parametrize("crop", ["corn", "soybean", "wheat", "sorghum"])
def test_the_greatest_stand_is_that_of_the_stand_ceiling(crop):
    assert limits_of("stand", crop, "plants/ha").greatest == pytest.approx(
        float(convert(stand_ceiling_per_m2(crop), "plants/m2", "plants/ha")))
