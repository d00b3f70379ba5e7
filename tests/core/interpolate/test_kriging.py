import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pykrige.ok import OrdinaryKriging

from plugin.core.interpolate import kriging
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.kriging import krige, mean_without_structure, reading_covariance
from plugin.core.problems import InputProblem, Stopped

EXPONENTIAL = CovarianceModel("exponential", 0.3, 2.0, 30.0)
SPHERICAL = CovarianceModel("spherical", 0.3, 2.0, 60.0)
EXACT = CovarianceModel("spherical", 0.0, 2.0, 60.0)
ROUNDING = 1e-9  # systems of 40 with condition numbers below 1e4


def readings(count=40, seed=2):
    generator = np.random.default_rng(seed)
    return (generator.uniform(0, 100, (count, 2)), generator.normal(20, 3, count),
            generator.uniform(0.1, 1.0, count))


TARGETS = np.random.default_rng(9).uniform(-10, 110, (25, 2))


def bordered(places, values, errors, model, target):
    """The textbook's system, [C 1; 1' 0] [w; m] = [c; 1], written out and solved as it stands."""
    count = len(places)
    apart = np.array([[np.hypot(*(a - b)) for b in places] for a in places])
    system = np.ones((count + 1, count + 1))
    system[:count, :count] = model.covariance(apart) + np.diag(model.nugget + errors)
    system[count, count] = 0
    right = np.append(model.covariance(np.array([np.hypot(*(a - target)) for a in places])), 1.0)
    solved = np.linalg.solve(system, right)
    return solved[:count] @ values, model.sill - solved @ right


@pytest.mark.parametrize("model", [EXPONENTIAL, SPHERICAL, EXACT, CovarianceModel("nugget", 2.0)])
@pytest.mark.parametrize("neighbours", [None, 40, 99])
def test_it_solves_the_textbooks_system(model, neighbours):
    places, values, errors = readings()
    found = krige(places, values, errors, model, TARGETS, neighbours=neighbours)
    for number, target in enumerate(TARGETS):
        estimate, variance = bordered(places, values, errors, model, target)
        assert found.estimate[number] == pytest.approx(estimate, rel=ROUNDING)
        assert found.variance[number] == pytest.approx(variance, rel=ROUNDING)


@pytest.mark.parametrize(("model", "name", "reach"), [
    (EXPONENTIAL, "exponential", 3.0), (SPHERICAL, "spherical", 1.0)])
def test_it_agrees_with_an_independent_library(model, name, reach):
    # PyKrige counts the exponential's range as three of ours
    places, values, _ = readings()
    theirs = OrdinaryKriging(*places.T, values, variogram_model=name, variogram_parameters={
        "psill": model.partial_sill, "range": reach * model.range_m, "nugget": model.nugget})
    estimate, variance = theirs.execute("points", *TARGETS.T)
    found = krige(places, values, np.zeros(40), model, TARGETS)
    assert found.estimate == pytest.approx(estimate.data, rel=ROUNDING)
    assert found.variance == pytest.approx(variance.data, rel=ROUNDING)


@pytest.mark.parametrize("neighbours", [1, 2, 7, 39])
def test_local_kriging_is_the_textbooks_system_of_the_nearest(neighbours):
    places, values, errors = readings()
    found = krige(places, values, errors, SPHERICAL, TARGETS, neighbours=neighbours)
    for number, target in enumerate(TARGETS):
        near = np.argsort(np.hypot(*(places - target).T))[:neighbours]
        estimate, variance = bordered(places[near], values[near], errors[near], SPHERICAL, target)
        assert found.estimate[number] == pytest.approx(estimate, rel=ROUNDING)
        assert found.variance[number] == pytest.approx(variance, rel=ROUNDING)


def test_local_kriging_in_batches_of_a_target_is_the_same(monkeypatch):
    places, values, errors = readings()
    whole = krige(places, values, errors, SPHERICAL, TARGETS, neighbours=8)
    monkeypatch.setattr(kriging, "LOCAL_NUMBERS", 1)
    single = krige(places, values, errors, SPHERICAL, TARGETS, neighbours=8)
    assert single.estimate == pytest.approx(whole.estimate, rel=1e-12)
    assert single.variance == pytest.approx(whole.variance, rel=1e-12)


@pytest.mark.parametrize("numbers", [1, 40 * 7, 10**9])
def test_the_size_of_a_block_changes_nothing(monkeypatch, numbers):
    places, values, errors = readings()
    whole = krige(places, values, errors, EXPONENTIAL, TARGETS)
    monkeypatch.setattr(kriging, "BLOCK_NUMBERS", numbers)
    parts = krige(places, values, errors, EXPONENTIAL, TARGETS)
    assert parts.estimate == pytest.approx(whole.estimate, rel=1e-12)
    assert parts.variance == pytest.approx(whole.variance, rel=1e-12)


def test_the_nearest_readings_come_close_to_all_of_them():
    # The 16 nearest screen the rest off: on a close grid with little noise, the estimates differ
    # by less than a tenth of a standard error and a variance can only be larger.
    generator = np.random.default_rng(4)
    places = np.stack(np.meshgrid(np.arange(12.0), np.arange(12.0)), -1).reshape(-1, 2) * 10
    model = CovarianceModel("exponential", 0.05, 2.0, 40.0)
    chol = np.linalg.cholesky(reading_covariance(places, np.zeros(144), model))
    values = 50 + chol @ generator.standard_normal(144)
    targets = generator.uniform(20, 90, (50, 2))
    all_of_them = krige(places, values, np.zeros(144), model, targets)
    nearest = krige(places, values, np.zeros(144), model, targets, neighbours=16)
    assert np.abs((nearest.estimate - all_of_them.estimate)
                  / np.sqrt(all_of_them.variance)).max() < 0.1
    assert (nearest.variance >= all_of_them.variance - 1e-9).all()
    assert nearest.variance == pytest.approx(all_of_them.variance, rel=0.02)


def test_many_readings_are_kriged_from_their_nearest_32(monkeypatch):
    places, values, errors = readings(60)
    monkeypatch.setattr(kriging, "GLOBAL_MOST", 59)
    asked = krige(places, values, errors, SPHERICAL, TARGETS, neighbours=32)
    found = krige(places, values, errors, SPHERICAL, TARGETS)
    assert found.estimate.tolist() == asked.estimate.tolist()
    monkeypatch.setattr(kriging, "GLOBAL_MOST", 60)
    assert krige(places, values, errors, SPHERICAL, TARGETS).estimate.tolist() != (
        asked.estimate.tolist())


@pytest.mark.parametrize("neighbours", [None, 10])
def test_without_nugget_or_error_a_reading_is_returned_with_certainty(neighbours):
    places, values, _ = readings()
    found = krige(places, values, np.zeros(40), EXACT, places, neighbours=neighbours)
    assert found.estimate == pytest.approx(values, rel=ROUNDING)
    assert found.variance == pytest.approx(np.zeros(40), abs=1e-9)
    assert (found.variance >= 0).all()


def test_an_error_of_its_own_is_filtered_from_a_reading():
    # Two readings a long way apart with 4 of structure and 4 of error: each is drawn half way to
    # the mean of 10 (0 and 20), to 5 and 15. The true value there is left with
    # 4 - 4 x 4 / 8 + (1 - 4/8)2 x 8 / 2 = 3.
    model = CovarianceModel("spherical", 0.0, 4.0, 1.0)
    found = krige([[0, 0], [9, 0]], [0.0, 20.0], [4.0, 4.0], model, [[0, 0], [9, 0]])
    assert found.estimate == pytest.approx([5, 15], rel=1e-12)
    assert found.variance == pytest.approx([3, 3], rel=1e-12)


def test_the_variance_of_a_new_reading_holds_the_nugget_but_no_error_of_reading():
    # Far from all: sill 2.3 and the variance of the mean
    places, values, errors = readings()
    found = krige(places, values, errors, SPHERICAL, [[9e5, 9e5]])
    precision = np.linalg.inv(reading_covariance(places, errors, SPHERICAL)).sum()
    assert found.variance == pytest.approx([2.3 + 1 / precision], rel=ROUNDING)


@given(st.integers(0, 10**6))
@settings(max_examples=20)
def test_the_order_of_the_readings_changes_nothing(seed):
    places, values, errors = readings()
    order = np.random.default_rng(seed).permutation(40)
    one = krige(places, values, errors, SPHERICAL, TARGETS, neighbours=9)
    other = krige(places[order], values[order], errors[order], SPHERICAL, TARGETS, neighbours=9)
    assert other.estimate == pytest.approx(one.estimate, rel=ROUNDING)
    assert other.variance == pytest.approx(one.variance, rel=ROUNDING)


@given(st.floats(-1e4, 1e4), st.floats(0.01, 100), st.floats(-1e5, 1e5), st.floats(0, 6.3))
@settings(max_examples=20)
def test_shifting_scaling_and_turning_carry_through(shift, scale, east_m, angle):
    places, values, errors = readings()
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    one = krige(places, values, errors, SPHERICAL, TARGETS)
    model = CovarianceModel("spherical", 0.3 * scale**2, 2.0 * scale**2, 60.0)
    other = krige(places @ turn + [east_m, 4e6], values * scale + shift, errors * scale**2, model,
                  TARGETS @ turn + [east_m, 4e6])
    # places near 4e6 m keep 1e-9 m, of distances of some metres
    assert other.estimate == pytest.approx(one.estimate * scale + shift, rel=1e-7, abs=1e-7)
    assert other.variance == pytest.approx(one.variance * scale**2, rel=1e-7)


def test_sets_of_values_share_the_work():
    places, values, errors = readings()
    sets = np.column_stack([values, values * 2, np.ones(40)])
    for neighbours in (None, 6):
        found = krige(places, sets, errors, SPHERICAL, TARGETS, neighbours=neighbours)
        alone = krige(places, values, errors, SPHERICAL, TARGETS, neighbours=neighbours)
        assert found.estimate == pytest.approx(
            np.column_stack([alone.estimate, 2 * alone.estimate, np.ones(25)]), rel=ROUNDING)
        assert found.variance == pytest.approx(alone.variance, rel=1e-12)


def test_without_structure_it_is_the_mean_weighed_by_nugget_and_error():
    # nugget 1 and errors 0, 1, 3: weights 1, 1/2, 1/4 of 1.75
    model = CovarianceModel("nugget", 1.0)
    found = krige([[0, 0], [1, 0], [2, 0]], [7.0, 14.0, 28.0], [0, 1, 3], model, [[0, 0], [5, 5]])
    assert found.estimate == pytest.approx([12, 12], rel=1e-12)
    assert found.variance == pytest.approx(np.full(2, 1 + 1 / 1.75), rel=1e-12)
    sets = krige([[0, 0], [1, 0], [2, 0]], np.eye(3), [0, 1, 3], model, [[0, 0], [5, 5]])
    assert sets.estimate == pytest.approx(np.tile([4 / 7, 2 / 7, 1 / 7], (2, 1)), rel=1e-12)


def test_without_any_variance_the_exact_readings_are_the_mean():
    assert mean_without_structure([3, 3, 9], [0, 0, 1], CovarianceModel("nugget", 0.0)) == (3, 0)


def test_a_mean_of_very_many_readings_takes_no_square_matrix():
    # 30,000 readings: a square matrix of theirs would take 7.2 GB
    count = 30_000
    places = np.random.default_rng(8).uniform(0, 500, (count, 2))
    found = krige(places, np.arange(count, dtype=float), np.ones(count),
                  CovarianceModel("nugget", 1.0), [[1.0, 2.0]])
    assert found.estimate == pytest.approx([(count - 1) / 2], rel=1e-12)
    assert found.variance == pytest.approx([1 + 2 / count], rel=1e-12)


@pytest.mark.parametrize("neighbours", [None, 8])
def test_two_readings_at_one_place_without_a_nugget_are_refused(neighbours):
    places, values, _ = readings()
    places[1] = places[0]
    with pytest.raises(InputProblem, match="do not determine the estimates: some share one place"):
        krige(places, values, np.zeros(40), EXACT, places[:1] + 1.0, neighbours=neighbours)


@pytest.mark.parametrize("neighbours", [0, -3])
def test_no_neighbours_are_refused(neighbours):
    with pytest.raises(InputProblem, match=f"{neighbours} neighbours were asked for"):
        krige(*readings(), SPHERICAL, TARGETS, neighbours=neighbours)


@pytest.mark.parametrize(("model", "neighbours", "constant", "numbers", "parts"), [
    (SPHERICAL, None, "BLOCK_NUMBERS", 40 * 10, [0.4, 0.8, 1.0]),
    (SPHERICAL, 5, "LOCAL_NUMBERS", 25 * 10, [0.0, 0.4, 0.8, 1.0]),
    (CovarianceModel("nugget", 1.0), None, "BLOCK_NUMBERS", 1, [1.0])])
def test_progress_is_told_after_each_block_and_a_stop_travels_up(
        monkeypatch, model, neighbours, constant, numbers, parts):
    monkeypatch.setattr(kriging, constant, numbers)
    told = []
    krige(*readings(), model, TARGETS, neighbours=neighbours, tick=told.append)
    assert told == parts

    def stop(fraction):
        raise Stopped

    with pytest.raises(Stopped):
        krige(*readings(), model, TARGETS, neighbours=neighbours, tick=stop)
