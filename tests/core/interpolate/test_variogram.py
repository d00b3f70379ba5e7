import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import pdist, squareform

from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.variogram import (
    Direction,
    experimental_variogram,
    snapped_variogram,
)
from plugin.core.problems import InputProblem, Stopped

ROUNDING = 1e-11  # of sums over up to 80,000 pairs in another order
LINE = [[0, 0], [10, 0], [30, 0]]


def field_of(count, seed=0, side=1000.0):
    generator = np.random.default_rng(seed)
    return generator.uniform(0, side, (count, 2)), generator.normal(20, 4, count)


def test_three_readings_on_a_line_are_worked_by_hand():
    # half of 2^2, 4^2 and 6^2, at 10, 20 and 30 m: each at the upper end of its bin
    found = experimental_variogram(LINE, [1, 3, 7], cutoff_m=30, bins=3)
    assert found.distances_m.tolist() == [10, 20, 30]
    assert found.semivariance.tolist() == [2, 8, 18]
    assert found.pairs.tolist() == [1, 1, 1]
    assert (found.upper_m.tolist(), found.estimator) == ([10, 20, 30], "matheron")


def test_the_robust_estimate_is_worked_by_hand():
    # 0.5 x (root of 16)^4 / (0.457 + 0.494 / 1) = 128 / 0.951
    found = experimental_variogram([[0, 0], [0, 5]], [1, 17], cutoff_m=5,
                                   estimator="cressie_hawkins")
    assert found.semivariance == pytest.approx([128 / 0.951], rel=ROUNDING)


def test_an_error_without_bounds_spoils_the_bins_of_its_own_pairs_alone():
    found = experimental_variogram([[0, 0], [1, 0], [100, 0]], [1, 3, 7], cutoff_m=100, bins=10,
                                   error_variance=[0.5, 0.5, np.inf])
    assert found.semivariance.tolist() == [1.5, -np.inf]
    assert found.pairs.tolist() == [1, 2]


def test_a_cutoff_so_small_that_its_bins_have_no_width_is_refused():
    for cutoff_m in (5e-324, 1e-323):
        with pytest.raises(InputProblem, match="cannot be"):
            experimental_variogram([[0, 0], [0, 0], [1, 0]], [1, 3, 7], cutoff_m=cutoff_m)


def test_an_outlier_sways_the_robust_estimate_less():
    positions, values = field_of(200)
    spoilt = values.copy()
    spoilt[7] = 200.0
    grown = [experimental_variogram(positions, spoilt, estimator=estimator).semivariance.mean()
             / experimental_variogram(positions, values, estimator=estimator).semivariance.mean()
             for estimator in ("matheron", "cressie_hawkins")]
    # 180 off, against 4 sqrt 2 of differences: 1 + 2/200 x 180^2 / 32 is 11 for the first
    assert grown[0] > 8 and grown[1] < 1.5


def test_the_readings_own_errors_are_taken_off_worked_by_hand():
    # less (1 + 3)/2, (3 + 5)/2 and (1 + 5)/2; the first pair differs less than its errors
    found = experimental_variogram(LINE, [1, 3, 7], cutoff_m=30, bins=3, error_variance=[1, 3, 5])
    assert found.semivariance.tolist() == [0, 4, 15]
    robust = [experimental_variogram(LINE, [1, 3, 7], cutoff_m=30, bins=3, error_variance=errors,
                                     estimator="cressie_hawkins").semivariance
              for errors in (None, [1, 3, 5])]
    assert robust[0] - robust[1] == pytest.approx([2, 4, 3], rel=ROUNDING)


def test_readings_at_one_place_count_in_the_first_bin_and_in_every_direction():
    positions = [[0, 0], [0, 0], [0, 10]]
    found = experimental_variogram(positions, [1, 5, 2], cutoff_m=10, bins=2)
    assert (found.pairs.tolist(), found.upper_m.tolist()) == ([1, 2], [5, 10])
    assert found.semivariance.tolist() == [8, (0.5 * 1 + 0.5 * 9) / 2]
    east = experimental_variogram(positions, [1, 5, 2], cutoff_m=10, bins=2,
                                  direction=Direction(90))
    assert (east.pairs.tolist(), east.distances_m.tolist()) == ([1], [0])


@pytest.mark.parametrize("direction", [None, Direction(20), Direction(115, 40), Direction(200, 90)])
@pytest.mark.parametrize("estimator", ["matheron", "cressie_hawkins"])
def test_all_pairs_written_out_give_the_same(direction, estimator):
    positions, values = field_of(400)  # seven tiles and more
    errors = np.random.default_rng(5).uniform(0, 3, 400)
    found = experimental_variogram(positions, values, cutoff_m=300, bins=12, estimator=estimator,
                                   error_variance=errors, direction=direction)
    one, other = np.triu_indices(400, 1)
    step = positions[one] - positions[other]
    apart = np.hypot(*step.T)
    kept = apart <= 300
    if direction is not None:
        heading = np.degrees(np.arctan2(step[:, 0], step[:, 1]))
        off = (heading - direction.heading_deg + 90) % 180 - 90
        kept &= np.abs(off) <= direction.tolerance_deg + 1e-9
    for number in range(12):
        of_bin = kept & (apart > 25 * number) & (apart <= 25 * (number + 1))
        size = np.abs(values[one] - values[other])[of_bin]
        expected = (0.5 * (size**2).mean() if estimator == "matheron" else
                    0.5 * np.sqrt(size).mean()**4 / (0.457 + 0.494 / len(size)))
        expected -= (errors[one] + errors[other])[of_bin].mean() / 2
        assert found.pairs[number] == len(size)
        assert found.distances_m[number] == pytest.approx(apart[of_bin].mean(), rel=ROUNDING)
        assert found.semivariance[number] == pytest.approx(expected, rel=ROUNDING, abs=1e-9)


def test_four_directions_share_out_all_pairs():
    positions, values = field_of(300)
    parts = [experimental_variogram(positions, values, direction=Direction(heading))
             for heading in (0, 45, 90, 135)]
    found = experimental_variogram(positions, values)
    assert sum(part.pairs for part in parts).tolist() == found.pairs.tolist()
    assert sum(part.pairs * part.semivariance for part in parts) == pytest.approx(
        found.pairs * found.semivariance, rel=ROUNDING)


@settings(max_examples=20)
@given(count=st.integers(2, 300), seed=st.integers(0, 10**6), shift=st.floats(-1e3, 1e3),
       scale=st.floats(0.01, 100), bins=st.integers(1, 30))
def test_what_must_hold_for_any_readings(count, seed, shift, scale, bins):
    positions, values = field_of(count, seed)
    found = experimental_variogram(positions, values, cutoff_m=1500, bins=bins)
    assert found.pairs.sum() == count * (count - 1) // 2  # no two are 1500 m apart
    half_squares = count**2 * values.var() / 2  # sum of (zi - zj)^2 / 2 over pairs, by algebra
    assert found.pairs @ found.semivariance == pytest.approx(half_squares, rel=1e-9)
    assert found.pairs @ found.distances_m == pytest.approx(pdist(positions).sum(), rel=1e-9)
    order = np.random.default_rng(seed).permutation(count)
    other = experimental_variogram(positions[order], shift + scale * values[order], cutoff_m=1500,
                                   bins=bins)
    assert other.pairs.tolist() == found.pairs.tolist()
    # a shift of 1e3 rounds values by 1e-13, 1e-12 or more of small differences scaled by 0.01
    assert other.semivariance == pytest.approx(found.semivariance * scale**2, rel=1e-6)


def test_the_variogram_of_simulated_fields_is_the_model_that_made_them():
    fields = 150
    positions, _ = field_of(150, seed=3, side=300.0)
    model = CovarianceModel("exponential", 1.0, 4.0, 30.0)
    generator = np.random.default_rng(4)
    errors = generator.uniform(0.2, 2.0, len(positions))
    apart = squareform(pdist(positions))
    root = np.linalg.cholesky(model.covariance(apart) + np.eye(len(positions)))
    found = []
    for _ in range(fields):
        values = 50 + root @ generator.standard_normal(len(positions))
        values += np.sqrt(errors) * generator.standard_normal(len(positions))
        found.append(experimental_variogram(positions, values, error_variance=errors))
    pairs = pdist(positions)
    which = np.ceil(pairs / found[0].upper_m[0]).astype(int)
    expected = [model.semivariance(pairs[which == number]).mean() for number in range(1, 16)]
    drawn = np.array([one.semivariance for one in found])
    # Monte Carlo: 15 means of 150 fields; beyond 4 standard errors lies 1 case in 1000 of them
    standard_error = drawn.std(axis=0, ddof=1) / np.sqrt(fields)
    assert (np.abs(drawn.mean(axis=0) - expected) < 4 * standard_error).all()
    assert standard_error.max() < 0.1 * model.sill  # else the check would see nothing


def test_the_snapped_variogram_is_the_exact_one_of_readings_moved_to_corners():
    positions, values = field_of(700, seed=9, side=256.0)
    positions[0] = 0  # the grid's corner; squares and bins are powers of 2: no rounding
    errors = np.random.default_rng(2).uniform(0, 3, 700)
    snapped = snapped_variogram(positions, values, cutoff_m=120, cell_m=0.5, error_variance=errors)
    moved = experimental_variogram(np.rint(positions * 2) / 2, values, cutoff_m=120,
                                   error_variance=errors)
    assert snapped.pairs.tolist() == moved.pairs.tolist()
    assert snapped.distances_m == pytest.approx(moved.distances_m, rel=ROUNDING)
    # transforms of values of some 4, summed over 700: 1e-16 x 700 x 16 against bins of 1e3
    assert snapped.semivariance == pytest.approx(moved.semivariance, rel=1e-9)


@pytest.mark.parametrize("cell_m", [None, 5.0, 20.0])
def test_the_snapped_variogram_keeps_to_the_error_that_it_states(cell_m):
    positions, values = field_of(1500, seed=1)
    snapped = snapped_variogram(positions, values, cell_m=cell_m, cutoff_m=450)
    off = snapped.distance_error_m
    assert off == pytest.approx(np.sqrt(2) * (cell_m or 450 / 15 / 32), rel=1e-12)
    apart = np.sort(pdist(positions))
    within = np.cumsum(snapped.pairs)
    assert (np.searchsorted(apart, snapped.upper_m - off) <= within).all()
    assert (within <= np.searchsorted(apart, snapped.upper_m + off, side="right")).all()
    exact = experimental_variogram(positions, values, cutoff_m=450)
    assert (np.abs(snapped.distances_m - exact.distances_m) <= off).all()


def test_a_long_narrow_field_is_snapped_along_as_across():
    positions, values = field_of(400, seed=8)
    narrow = positions * [1.0, 0.03]
    found = [snapped_variogram(places, values, cutoff_m=128, bins=8, cell_m=0.5)
             for places in (narrow, narrow[:, ::-1])]
    assert found[0].pairs.tolist() == found[1].pairs.tolist()
    assert found[0].semivariance == pytest.approx(found[1].semivariance, rel=1e-9)


def test_progress_rises_to_one_and_a_stop_ends_the_work():
    positions, values = field_of(1000)
    told = []
    experimental_variogram(positions, values, tick=told.append)
    assert told == sorted(told) and told[-1] == 1.0 and len(told) > 1

    def stop(fraction):
        raise Stopped

    with pytest.raises(Stopped):
        experimental_variogram(positions, values, tick=stop)


@pytest.mark.parametrize("way", [experimental_variogram, snapped_variogram])
@pytest.mark.parametrize(("positions", "values", "options", "message"), [
    ([[0, 0]], [1], {}, "1 readings make no pair"),
    ([[0, 0], [1, 1]], [1, np.nan], {}, "1 of 2 readings have no usable value"),
    ([[0, np.inf], [1, 1]], [1, 2], {}, "1 of 2 readings have no usable value, place"),
    ([[0, 0], [1, 1]], [1, 2], {"error_variance": [1, -1]}, "no usable value, place or error"),
    ([[0, 0], [1, 1]], [1, 2, 3], {}, r"3 values came with positions of shape \(2, 2\)"),
    ([[3, 3], [3, 3]], [1, 2], {}, "15 bins up to 0 m cannot be"),
    ([[0, 0], [1, 1]], [1, 2], {"bins": 0, "cutoff_m": 5}, "0 bins up to 5 m cannot be"),
    ([[0, 0], [9, 0]], [1, 2], {"cutoff_m": 8.9}, "No two readings lie within 8.9 m")])
def test_readings_without_a_variogram_are_refused(way, positions, values, options, message):
    with pytest.raises(InputProblem, match=message):
        way(positions, values, **options)


def test_an_unknown_estimator_and_squares_too_many_or_none_are_refused():
    with pytest.raises(InputProblem, match="no estimator 'madogram'; known are matheron"):
        experimental_variogram(LINE, [1, 2, 3], estimator="madogram")
    with pytest.raises(InputProblem, match="Take larger squares"):
        snapped_variogram(*field_of(50), cell_m=0.01)
    with pytest.raises(InputProblem, match="with a side of -1 m"):
        snapped_variogram(LINE, [1, 2, 3], cell_m=-1)
