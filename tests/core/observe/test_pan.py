import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugin.core.observations import ABOVE, BELOW, EXACT
from plugin.core.observe.pan import felt_pan, pan_of_profile
from plugin.core.problems import InputProblem

ROUNDING = 1e-12
INCH_M = 0.0254
LIMIT = 300
NOTCHES_M = np.array([3, 6, 9, 12, 15, 18]) * INCH_M


def every_inch(*resistances, **parts):
    depths = np.arange(1, len(resistances) + 1) * INCH_M
    return pan_of_profile(depths, resistances, limit=LIMIT, **parts)


def inches(depth_m):
    return np.divide(depth_m, INCH_M)


def test_a_profile_that_never_reaches_the_limit_is_deeper_than_its_last_reading():
    found = pan_of_profile(NOTCHES_M, [100, 150, 200, 299, 250, 200], limit=LIMIT)
    assert (found.kind, found.found) == ("none", False)
    assert (found.top_m, found.top_censoring) == (NOTCHES_M[-1], ABOVE)
    assert np.isnan([found.bottom_m, found.peak, found.peak_m, found.thickness_m]).all()
    assert found.reached_m == NOTCHES_M[-1]


def test_the_limit_itself_is_hard():
    found = pan_of_profile(NOTCHES_M, [100, 200, 300, 300, 200, 100], limit=LIMIT)
    assert (found.kind, inches(found.top_m)) == ("pan", pytest.approx(9, rel=ROUNDING))
    assert inches(found.bottom_m) == pytest.approx(12, rel=ROUNDING)


def test_hard_from_the_first_reading_is_shallower_than_it():
    # down again at 6 + (320 - 300) / (320 - 220) x 3 = 6.6 in
    found = pan_of_profile(NOTCHES_M, [350, 320, 220, 200, 150, 150], limit=LIMIT)
    assert (found.kind, found.top_censoring, found.bottom_censoring) == ("surface", BELOW, EXACT)
    assert inches([found.top_m, found.bottom_m, found.peak_m]) == pytest.approx(
        [3, 6.6, 3], rel=ROUNDING)
    assert np.isnan(found.thickness_m)
    assert found.found


def test_still_hard_at_the_end_goes_deeper_than_the_last_reading():
    # up at 12 + (300 - 280) / (330 - 280) x 3 = 13.2 in
    found = pan_of_profile(NOTCHES_M, [100, 150, 200, 280, 330, 360], limit=LIMIT)
    assert (found.kind, found.top_censoring, found.bottom_censoring) == ("open", EXACT, ABOVE)
    assert inches([found.top_m, found.bottom_m, found.peak_m]) == pytest.approx(
        [13.2, 18, 18], rel=ROUNDING)
    assert np.isnan(found.thickness_m)


def test_hard_all_the_way_is_open_at_both_ends():
    found = pan_of_profile(NOTCHES_M, [310] * 6, limit=LIMIT)
    assert (found.kind, found.top_censoring, found.bottom_censoring) == ("surface", BELOW, ABOVE)
    assert (found.top_m, found.bottom_m) == (NOTCHES_M[0], NOTCHES_M[-1])


def test_a_single_spike_between_close_readings_is_a_stone_brushed_in_passing():
    # 4 in +- less than 1 in: some 1.3 in thick, less than 5 cm
    found = every_inch(100, 120, 150, 420, 150, 160, 170, 180)
    assert (found.kind, found.top_censoring) == ("none", ABOVE)
    assert inches(found.top_m) == pytest.approx(8, rel=ROUNDING)


def test_a_spike_is_passed_over_and_the_pan_below_it_found():
    found = every_inch(100, 420, 120, 150, 180, 200, 310, 340, 320, 200)
    assert found.kind == "pan"
    # 6 + (300 - 200) / (310 - 200) = 6.909; 9 + (320 - 300) / (320 - 200) = 9.167
    assert inches([found.top_m, found.bottom_m, found.peak_m]) == pytest.approx(
        [6 + 10 / 11, 9 + 1 / 6, 8], rel=ROUNDING)


def test_one_hard_notch_of_three_inches_counts():
    # 6 + (300 - 200) / (400 - 200) x 3 = 7.5 in; 9 + (400 - 300) / (400 - 100) x 3 = 10 in: 2.5 in
    found = pan_of_profile(NOTCHES_M, [100, 200, 400, 100, 90, 80], limit=LIMIT)
    assert found.kind == "pan"
    assert inches([found.top_m, found.bottom_m]) == pytest.approx([7.5, 10], rel=ROUNDING)


@pytest.mark.parametrize(("thickness_m", "kind"), [(0.049, "none"), (0.051, "pan")])
def test_a_single_reading_counts_from_five_centimetres_on(thickness_m, kind):
    # From 0 to 600 and back over twice the thickness: half of that lies over 300.
    found = pan_of_profile([0.1, 0.1 + thickness_m, 0.1 + 2 * thickness_m], [0, 600, 0],
                           limit=LIMIT)
    assert found.kind == kind


@pytest.mark.parametrize(("apart_m", "joined"), [(0.049, True), (0.051, False)])
def test_runs_parted_by_less_than_five_centimetres_are_one_pan(apart_m, joined):
    # The dip from 600 to 0 and back lies below 300 over half of its width.
    dip = [0.2, 0.2 + apart_m, 0.2 + 2 * apart_m]
    found = pan_of_profile([0.10, 0.15, *dip, dip[2] + 0.05, dip[2] + 0.1],
                           [0, 600, 600, 0, 600, 700, 100], limit=LIMIT)
    assert found.kind == "pan"
    assert found.top_m == pytest.approx(0.125, rel=ROUNDING)
    if joined:  # 0.05 + 400/600 x 0.05 below the dip
        assert found.bottom_m == pytest.approx(dip[2] + 0.05 + 0.05 * 2 / 3, rel=ROUNDING)
        assert found.peak == 700
    else:
        assert found.bottom_m == pytest.approx(0.2 + apart_m / 2, rel=ROUNDING)
        assert found.peak == 600


def test_a_second_deeper_pan_is_no_part_of_the_first():
    found = pan_of_profile(NOTCHES_M, [100, 400, 200, 100, 500, 100], limit=LIMIT)
    # 6 + (400 - 300) / (400 - 200) x 3 = 7.5 in
    assert inches([found.bottom_m, found.peak_m]) == pytest.approx([7.5, 6], rel=ROUNDING)
    assert found.peak == 400


def test_a_single_hard_last_reading_is_an_open_pan():
    found = every_inch(100, 120, 150, 400)
    assert (found.kind, found.bottom_censoring) == ("open", ABOVE)


def test_one_soft_reading_is_no_pan_and_one_hard_reading_is_the_surface():
    assert every_inch(100).kind == "none"
    assert every_inch(400).kind == "surface"


def test_what_only_leads_up_to_a_stone_is_no_pan():
    # The stone's own reading goes; 310 at 5 in is a single inch over the limit.
    found = every_inch(100, 110, 120, 130, 310, 900, refusal="stone")
    assert (found.kind, found.found, found.top_censoring) == ("stone", False, ABOVE)
    assert inches([found.top_m, found.reached_m]) == pytest.approx([5, 5], rel=ROUNDING)


def test_a_pan_above_a_stone_is_kept():
    found = every_inch(100, 310, 350, 330, 200, 900, refusal="stone")
    assert (found.kind, found.bottom_censoring) == ("pan", EXACT)
    assert inches(found.reached_m) == pytest.approx(5, rel=ROUNDING)


def test_a_thick_run_above_a_stone_is_a_pan_of_unknown_bottom():
    found = every_inch(100, 310, 330, 350, 350, 900, refusal="stone")
    assert (found.kind, found.bottom_censoring) == ("open", ABOVE)
    assert inches(found.bottom_m) == pytest.approx(5, rel=ROUNDING)


def test_a_stone_at_the_first_reading_leaves_nothing_known():
    found = every_inch(900, refusal="stone")
    assert (found.kind, found.top_m, found.top_censoring, found.reached_m) == (
        "stone", 0.0, ABOVE, 0.0)


def test_refused_by_a_layer_is_an_open_pan():
    assert every_inch(100, 200, 280, 500, refusal="layer").kind == "open"


def test_repeats_of_a_depth_are_averaged():
    # at 9 in 200 and 300, mean 250: up at 9 + 50 / 100 x 3 = 10.5 in
    depths = np.array([3, 9, 9, 12, 15]) * INCH_M
    found = pan_of_profile(depths, [100, 200, 300, 350, 100], limit=LIMIT)
    assert inches(found.top_m) == pytest.approx(10.5, rel=ROUNDING)


@pytest.mark.parametrize(("profile", "limit", "refusal", "message"), [
    (([], []), 300, "no", "A profile of 0 depths came with 0 resistances"),
    (([0.1, 0.2], [100]), 300, "no", "A profile of 2 depths came with 1 resistances"),
    (([[0.1, 0.2]], [[100, 200]]), 300, "no", "2 depths came with 2 resistances; it needs one of"),
    (([0.1, np.nan], [1, 2]), 300, "no", "missing or negative"),
    (([0.1, -0.2], [1, 2]), 300, "no", "missing or negative"),
    (([0.1, 0.2], [1, -2]), 300, "no", "missing or negative"),
    (([0.1, 0.2], [1, np.inf]), 300, "no", "missing or negative"),
    (([0.1], [1]), 0, "no", "The limit is 0; it must be a pressure above 0"),
    (([0.1], [1]), np.nan, "no", "The limit is nan"),
    (([0.1], [1]), 300, "rock", "The refusal is 'rock'; it must be one of no, stone, layer")])
def test_a_profile_that_cannot_be_read_is_refused(profile, limit, refusal, message):
    with pytest.raises(InputProblem, match=message):
        pan_of_profile(*profile, limit=limit, refusal=refusal)


PROFILES = st.lists(st.tuples(st.integers(0, 100), st.integers(0, 900)), min_size=1, max_size=30)
REFUSALS = st.sampled_from(["no", "stone", "layer"])


def of_pairs(pairs, refusal="no", depth_factor=0.01, factor=1.0):
    depths, resistances = np.array(pairs, float).T
    return pan_of_profile(depths * depth_factor, resistances * factor, limit=LIMIT * factor,
                          refusal=refusal)


@given(PROFILES, REFUSALS)
def test_the_top_lies_above_the_bottom_and_both_within_the_readings(pairs, refusal):
    found = of_pairs(pairs, refusal)
    deepest = max(pairs)[0] * 0.01
    slack = 1e-12  # m, rounding of the interpolation
    assert -slack <= found.top_m <= found.reached_m + slack <= deepest + 2 * slack
    if found.found:
        assert found.top_m <= found.bottom_m + slack
        assert found.top_m - slack <= found.peak_m <= found.bottom_m + slack
        assert found.bottom_m <= found.reached_m + slack
        assert found.peak >= LIMIT or refusal == "layer"
    else:
        assert found.top_censoring == ABOVE
        assert found.top_m == found.reached_m


@given(PROFILES, REFUSALS, st.randoms(use_true_random=False))
def test_the_order_of_the_readings_changes_nothing(pairs, refusal, shuffler):
    shuffled = list(pairs)
    shuffler.shuffle(shuffled)
    one, other = of_pairs(pairs, refusal), of_pairs(shuffled, refusal)
    assert (one.kind, one.top_censoring, one.bottom_censoring) == (
        other.kind, other.top_censoring, other.bottom_censoring)
    assert [one.top_m, one.bottom_m, one.peak, one.peak_m] == pytest.approx(
        [other.top_m, other.bottom_m, other.peak, other.peak_m], rel=ROUNDING, nan_ok=True)


@given(PROFILES, REFUSALS, st.sampled_from([0.25, 2.0, 1024.0]))  # powers of two: no rounding
def test_the_unit_of_pressure_changes_no_depth(pairs, refusal, factor):
    one, other = of_pairs(pairs, refusal), of_pairs(pairs, refusal, factor=factor)
    assert (one.kind, one.top_m) == (other.kind, other.top_m)
    assert [one.bottom_m, one.peak_m, one.peak * factor] == pytest.approx(
        [other.bottom_m, other.peak_m, other.peak], rel=0, abs=0, nan_ok=True)


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0.01, 1))
def test_a_felt_pan_has_its_top_and_bottom_as_felt(top, thickness, below):
    found = felt_pan(top, top + thickness, top + thickness + below)
    assert (found.kind, found.found) == ("felt", True)
    assert (found.top_m, found.top_censoring) == (top, EXACT)
    assert (found.bottom_m, found.bottom_censoring) == (top + thickness, EXACT)
    assert found.thickness_m == pytest.approx(thickness, abs=ROUNDING)
    assert found.reached_m == top + thickness + below


NAN = float("nan")


@pytest.mark.parametrize(("deepest", "bottom"), [(0.5, 0.5), (NAN, 0.3), (0.2, 0.3)])
def test_a_bottom_not_felt_is_deeper_than_was_looked_or_than_the_top(deepest, bottom):
    found = felt_pan(0.3, NAN, deepest)
    assert (found.bottom_m, found.bottom_censoring, found.reached_m) == (bottom, ABOVE, bottom)
    assert np.isnan(found.thickness_m)


def test_nothing_felt_is_deeper_than_the_probe_went():
    found = felt_pan(NAN, NAN, 0.45)
    assert (found.kind, found.top_m, found.top_censoring) == ("none", 0.45, ABOVE)
    assert not found.found


@pytest.mark.parametrize(("felt", "message"), [
    ((NAN, NAN, NAN), "A felt reading needs the depth"), ((NAN, NAN, 0.0), "A felt reading needs"),
    ((0.3, 0.2, 0.5), "The felt bottom, 0.200 m, lies above the felt top, 0.300 m"),
    ((NAN, 0.4, 0.5), "A bottom was felt at 0.400 m, but no top")])
def test_a_felt_reading_that_makes_no_pan_is_refused(felt, message):
    with pytest.raises(InputProblem, match=message):
        felt_pan(*felt)


def test_a_layer_that_stopped_the_probe_is_the_top_of_an_open_pan():
    found = pan_of_profile([0.05, 0.10, 0.15], [80, 120, 200], limit=LIMIT, refusal="layer")
    assert (found.kind, found.found) == ("open", True)
    assert (found.top_m, found.top_censoring) == (0.15, EXACT)
    assert (found.bottom_m, found.bottom_censoring) == (0.15, ABOVE)
    felt = felt_pan(float("nan"), float("nan"), 0.2, refusal="layer")
    assert (felt.kind, felt.top_m, felt.bottom_censoring) == ("felt", 0.2, ABOVE)


def test_a_felt_stone_says_nothing_of_a_pan():
    found = felt_pan(float("nan"), float("nan"), 0.2, refusal="stone")
    assert (found.kind, found.found) == ("stone", False)
