import numpy as np
import pytest

from plugin.core.observe import yield_points
from plugin.core.observe.yield_points import (
    KEPT,
    REASONS,
    CleaningLimits,
    clean_yield,
    dry_yield_kg_per_m2,
)
from plugin.core.problems import InputProblem, Stopped

PASSES, LONG = 12, 40  # passes 6 m apart, a record a second, 2 m apart
MIDDLE = 5 * LONG + 20  # a record in the middle of a pass in the middle of the field


def harvest(seed=3):
    """An even field: what every filter passes, but for the ends of the passes."""
    number = np.repeat(np.arange(PASSES), LONG)
    along = np.tile(np.arange(LONG) * 2.0, PASSES)
    count = len(number)
    return {"positions_m": np.column_stack([number * 6.0, along]),
            "yields": np.random.default_rng(seed).uniform(9.5, 10.5, count),
            "inside": np.ones(count, bool), "passes": number + 1.0,
            "interval_s": np.ones(count), "distance_m": np.full(count, 2.0),
            "swath_m": np.full(count, 6.0), "moisture": np.full(count, 18.0)}


def reasons(records, **more):
    return np.array(REASONS)[clean_yield(**records, **more)]


def without_ends(records):
    """The same records with no pass numbers, so that only the filter looked at acts."""
    return {**records, "passes": None}


def left_out_of(records):
    found = reasons(without_ends(records))
    return {int(place): str(found[place]) for place in np.flatnonzero(found != KEPT)}


def test_an_even_field_keeps_every_record():
    assert left_out_of(harvest()) == {}


@pytest.mark.parametrize(("column", "value", "reason"), [
    ("yields", np.nan, "no yield"), ("yields", 0.0, "no yield"), ("yields", -1.0, "no yield"),
    ("yields", np.inf, "no yield"), ("inside", False, "outside the field"),
    ("swath_m", 2.9, "narrow swath"),             # below half of 6 m
    ("moisture", 6.9, "moisture out of range"), ("moisture", 35.1, "moisture out of range"),
    ("yields", 0.49, "yield out of range"),       # below 5 % of the median, 10
    ("yields", 22.0, "yield out of range"),       # above twice the 98th percentile, 10.5
    ("yields", 15.0, "far from the mean"),        # more than 3 of 0.37 from 10
    ])
def test_a_record_beyond_one_limit_is_left_out_for_that_reason_alone(column, value, reason):
    records = harvest()
    records[column][MIDDLE] = value
    assert left_out_of(records) == {MIDDLE: reason}


@pytest.mark.parametrize(("column", "value"), [
    ("swath_m", 3.0), ("moisture", 7.0), ("moisture", 35.0), ("swath_m", np.nan),
    ("moisture", np.nan), ("distance_m", np.nan), ("interval_s", np.nan), ("distance_m", 2.4)])
def test_a_record_on_a_limit_or_without_the_figure_is_kept(column, value):
    records = harvest()
    records[column][MIDDLE] = value
    assert MIDDLE not in left_out_of(records)


def test_a_jump_of_speed_goes_and_so_does_the_jump_back():
    # 2 to 2.5 m/s is 25 %, back again 20 %: only the first is above 20 %
    records = harvest()
    records["distance_m"][MIDDLE] = 2.5
    assert left_out_of(records) == {MIDDLE: "sudden change of speed"}
    records["distance_m"][MIDDLE] = 2.6  # back: 0.6 / 2.6 = 23 %
    assert left_out_of(records) == {MIDDLE: "sudden change of speed",
                                    MIDDLE + 1: "sudden change of speed"}


def test_a_new_pass_may_start_at_another_speed():
    records = harvest()
    records["distance_m"][6 * LONG:] = 3.0
    assert (reasons(records, limits=CleaningLimits(pass_end_s=0.0)) == KEPT).all()
    assert left_out_of(records) == {6 * LONG: "sudden change of speed"}  # no passes known


@pytest.mark.parametrize(("interval_s", "gone"), [(1.0, 4), (2.0, 2), (3.0, 1), (5.0, 0)])
def test_seconds_at_either_end_of_a_pass_are_left_out(interval_s, gone):
    records = harvest()
    records["interval_s"][:] = interval_s
    found = (reasons(records) == "start or end of a pass").reshape(PASSES, LONG)
    expected = np.arange(LONG) < gone
    assert (found == (expected | expected[::-1])).all()


def test_a_record_without_a_pass_number_is_kept_and_hides_no_other_pass():
    records = harvest()
    records["passes"][[MIDDLE, 0]] = np.nan
    found = reasons(records) == "start or end of a pass"
    assert not found[MIDDLE]
    assert not found[0]
    assert found[1:5].all()  # the four that are left at the start
    assert np.count_nonzero(found) == 8 * PASSES


def test_a_record_unlike_its_neighbours_goes_though_the_field_holds_such_yields():
    # Half the field bears 10, half 20: 10 is no outlier of the field, but of its own half.
    records = harvest()
    records["yields"][6 * LONG:] *= 2
    assert MIDDLE + 4 * LONG not in left_out_of(records)
    records["yields"][MIDDLE + 4 * LONG] = 10.0
    assert left_out_of(records)[MIDDLE + 4 * LONG] == "unlike its neighbours"


WITHIN = CleaningLimits(deviations=9.0)  # so that the spread of the whole field takes no part


def with_hole(size_m, records, part=0.6):
    """Records with a square of poor yields in the middle, and how far from its middle each lies."""
    off = np.abs(records["positions_m"] - (33.0, 41.0)).max(axis=1)
    lower = np.where(off <= size_m / 2, part * records["yields"], records["yields"])
    return {**without_ends(records), "yields": lower}, off


def test_a_real_hole_in_the_crop_is_kept():
    # 20 neighbours at a record on 12 m2 reach sqrt(20 x 12 / pi) = 9 m: whatever lies further than
    # that from the edge, inside or out, sees its own like, and nothing outside is lost.
    records, off = with_hole(36.5, harvest())
    kept = reasons(records, limits=WITHIN) == KEPT
    deep = off < 18.25 - 9
    assert np.count_nonzero(deep) > 20
    assert kept[deep].all()
    assert kept[off > 18.25].all()
    assert np.count_nonzero(~kept) <= 8  # two at each corner, which juts out among the good


@pytest.mark.parametrize(("share", "left_out"), [(1.0, 8), (0.2, 0)])
def test_a_cluster_stays_where_enough_of_its_neighbours_would_go_too(share, left_out):
    # 8 records of 2 passes: each has 5 to 7 of the others among its 20 neighbours, 0.25 to 0.35
    records, off = with_hole(8.0, harvest())
    limits = CleaningLimits(deviations=9.0, cluster_share=share)
    gone = reasons(records, limits=limits) == "unlike its neighbours"
    assert np.count_nonzero(off <= 4) == 8
    assert np.count_nonzero(gone) == np.count_nonzero(gone[off <= 4]) == left_out


@pytest.mark.parametrize("factor", [0.01, 62.768, 1e6])
def test_the_unit_of_yield_changes_no_reason(factor):
    records = harvest()
    records["yields"][[50, 111, 222, 300]] = [0.3, 25.0, 15.0, 12.2]
    one = reasons(records)
    assert len(set(one)) >= 4
    assert (reasons({**records, "yields": records["yields"] * factor}) == one).all()


@pytest.mark.parametrize("missing", ["interval_s", "distance_m", "swath_m", "moisture"])
def test_a_column_that_is_not_there_checks_nothing(missing):
    records = without_ends(harvest())
    records["swath_m"][50] = 1.0
    records["moisture"][70] = 50.0
    records["distance_m"][90] = 9.0
    there = {"swath_m": 50, "moisture": 70, "distance_m": 90, "interval_s": 90}
    found = reasons({**records, missing: None})
    assert found[there[missing]] == KEPT
    assert reasons(records)[there[missing]] != KEPT


@pytest.mark.parametrize("missing", ["interval_s", "distance_m", "swath_m", "moisture"])
def test_a_column_without_a_figure_is_a_column_that_is_not_there(missing):
    records = harvest()
    nothing = np.full(len(records["yields"]), np.nan)
    assert (reasons({**records, missing: nothing}) == reasons({**records, missing: None})).all()


def test_the_first_reason_counts():
    records = harvest()
    records["yields"][MIDDLE], records["moisture"][MIDDLE] = np.nan, 90.0
    records["inside"][MIDDLE + 1], records["swath_m"][MIDDLE + 1] = False, 1.0
    found = reasons(records)
    assert (found[MIDDLE], found[MIDDLE + 1]) == ("no yield", "outside the field")


def test_every_limit_can_be_changed():
    records = harvest()
    records["moisture"][MIDDLE] = 40.0
    wide = clean_yield(**records, limits=CleaningLimits(moisture=(0, 99), pass_end_s=0))
    assert (wide == 0).all()


def test_few_records_have_no_neighbours_to_be_unlike():
    records = {"positions_m": np.column_stack([np.arange(5.0), np.zeros(5)]),
               "yields": np.array([10, 10, 14, 10, 10.0]), "inside": np.ones(5, bool)}
    assert (reasons(records) == KEPT).all()


def test_a_harvest_without_yields_is_refused():
    records = harvest()
    records["yields"][:] = [0.0, np.nan] * (len(records["yields"]) // 2)
    with pytest.raises(InputProblem, match="None of 480 yield records holds a yield above 0"):
        clean_yield(**records)


def test_each_block_is_told_of_and_a_stop_travels_up_from_anywhere(monkeypatch):
    whole = clean_yield(**harvest())
    monkeypatch.setattr(yield_points, "BLOCK", 50)
    parts = []
    assert (clean_yield(**harvest(), tick=parts.append) == whole).all()  # whatever the block
    blocks = -(-np.count_nonzero(whole == REASONS.index(KEPT)) // 50)
    assert len(parts) >= 2 * 2 * blocks  # two rounds, neighbours and clusters in each
    assert parts == sorted(parts) and parts[-1] == 1.0
    for last in (0, len(parts) // 2, len(parts) - 1):
        left = [last]

        def stop(_fraction, left=left):
            left[0] -= 1
            if left[0] < 0:
                raise Stopped

        with pytest.raises(Stopped):
            clean_yield(**harvest(), tick=stop)
        assert left == [-1]


@pytest.mark.parametrize(("distance", "swath"), [(0, 6), (2, 0), (np.nan, 6), (2, np.nan)])
def test_a_record_without_area_has_no_dry_yield(distance, swath):
    assert np.isnan(dry_yield_kg_per_m2(5.0, 1.0, distance, swath, 15.5, "corn"))


def test_dry_yields_come_record_by_record():
    # 5 kg on 12 m2; at 15.5 % none goes, at 32.4 % (67.6 / 84.5) a fifth
    found = dry_yield_kg_per_m2([5, 5], 1.0, 2.0, 6.0, [15.5, 32.4], "corn")
    assert found == pytest.approx([5 / 12, 4 / 12], rel=1e-12)


def test_a_crop_without_a_standard_moisture_is_refused():
    with pytest.raises(InputProblem, match="no standard moisture for oats; known are corn"):
        dry_yield_kg_per_m2(5.0, 1.0, 2.0, 6.0, 15.5, "oats")
