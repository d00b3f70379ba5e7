"""Kriging with drift, onto blocks, with a heading, and with neighbours by octant."""
import numpy as np
import pytest
from pykrige.ok import OrdinaryKriging
from pykrige.uk import UniversalKriging

from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.kriging import krige, reading_covariance
from plugin.core.interpolate.neighbourhood import Neighbourhood
from plugin.core.interpolate.target_covariance import TargetCovariance
from plugin.core.problems import InputProblem

SPHERICAL = CovarianceModel("spherical", 0.3, 2.0, 60.0)
ALONG = CovarianceModel("exponential", 0.3, 2.0, 30.0, heading_deg=30.0, ratio=0.4)
FLAT = CovarianceModel("nugget", 1.5)
ROUNDING = 1e-8  # systems of 40 with a drift, condition numbers below 1e6
TARGETS = np.random.default_rng(9).uniform(-10, 110, (25, 2))


def readings(count=40, seed=2):
    generator = np.random.default_rng(seed)
    return (generator.uniform(0, 100, (count, 2)), generator.normal(20, 3, count),
            generator.uniform(0.1, 1.0, count))


def bordered(places, values, errors, model, target, drift, at_target):
    """The textbook's system with drift, [C F; F' 0] [w; m] = [c; f], as it stands."""
    count, kinds = len(places), 1 + drift.shape[1]
    columns = np.column_stack([np.ones(count), drift])
    system = np.zeros((count + kinds, count + kinds))
    system[:count, :count] = reading_covariance(places, errors, model)
    system[:count, count:], system[count:, :count] = columns, columns.T
    apart = np.hypot(*(model.stretched(places) - model.stretched(target)).T)
    right = np.concatenate([model.covariance(apart), [1.0], at_target])
    solved = np.linalg.solve(system, right)
    return solved[:count] @ values, model.sill - solved @ right


@pytest.mark.parametrize("model", [SPHERICAL, ALONG, FLAT], ids=str)
@pytest.mark.parametrize("neighbours", [None, 12])
def test_drift_solves_the_textbooks_system(model, neighbours):
    places, values, errors = readings()
    slope = np.sin(places[:, :1] / 9)
    at_targets = np.sin(TARGETS[:, :1] / 9)
    drift = np.hstack([places, slope]), np.hstack([TARGETS, at_targets])
    found = krige(places, values, errors, model, TARGETS, drift=drift, neighbours=neighbours)
    for number, target in enumerate(TARGETS):
        apart = np.hypot(*(model.stretched(places) - model.stretched(target)).T)
        near = np.argsort(apart)[:40 if neighbours is None or model is FLAT else neighbours]
        estimate, variance = bordered(places[near], values[near], errors[near], model, target,
                                      drift[0][near], drift[1][number])
        assert found.estimate[number] == pytest.approx(estimate, rel=ROUNDING)
        assert found.variance[number] == pytest.approx(variance, rel=ROUNDING)


def test_a_linear_trend_agrees_with_an_independent_library():
    places, values, _ = readings()
    theirs = UniversalKriging(*places.T, values, "spherical", drift_terms=["regional_linear"],
                              variogram_parameters={"psill": 2.0, "range": 60.0, "nugget": 0.3})
    estimate, variance = theirs.execute("points", *TARGETS.T)
    found = krige(places, values, np.zeros(40), SPHERICAL, TARGETS, drift=(places, TARGETS))
    assert found.estimate == pytest.approx(estimate.data, rel=ROUNDING)
    assert found.variance == pytest.approx(variance.data, rel=ROUNDING)


def test_a_heading_agrees_with_an_independent_library():
    # PyKrige counts angles counter-clockwise from east, stretches across by the scaling and counts
    # the exponential's range as three of ours
    places, values, _ = readings()
    theirs = OrdinaryKriging(
        *places.T, values, "exponential", anisotropy_scaling=2.5, anisotropy_angle=60.0,
        variogram_parameters={"psill": 2.0, "range": 90.0, "nugget": 0.3})
    estimate, variance = theirs.execute("points", *TARGETS.T)
    found = krige(places, values, np.zeros(40), ALONG, TARGETS)
    assert found.estimate == pytest.approx(estimate.data, rel=ROUNDING)
    assert found.variance == pytest.approx(variance.data, rel=ROUNDING)


def test_stretched_positions_are_worked_by_hand():
    # heading east: 3 m east stays 3 along; 4 m north is across, and twice as far at a ratio of 1/2
    model = CovarianceModel("spherical", 0, 1, 10, heading_deg=90, ratio=0.5)
    across, along = model.stretched([[3.0, 4.0]])[0]
    assert (abs(across), along) == pytest.approx((8, 3), abs=1e-12)


def test_values_on_a_plane_are_returned_with_a_linear_trend_whatever_the_model():
    places, _, errors = readings()
    plane, at_targets = 7 + places @ [0.5, -2.0], 7 + TARGETS @ [0.5, -2.0]
    for model in (SPHERICAL, ALONG, FLAT):
        for neighbours in (None, 9):
            found = krige(places + 5e5, plane, errors, model, TARGETS + 5e5, neighbours=neighbours,
                          drift=(places + 5e5, TARGETS + 5e5))
            assert found.estimate == pytest.approx(at_targets, abs=1e-6)  # of 5e5 m: 1e-10


def test_the_unit_and_the_zero_of_a_covariate_change_nothing():
    places, values, errors = readings()
    one = krige(places, values, errors, SPHERICAL, TARGETS, drift=(places[:, 0], TARGETS[:, 0]))
    other = krige(places, values, errors, SPHERICAL, TARGETS,
                  drift=(places[:, 0] * 1e3 - 9, TARGETS[:, 0] * 1e3 - 9))
    assert other.estimate == pytest.approx(one.estimate, rel=1e-9)
    assert other.variance == pytest.approx(one.variance, rel=1e-9)


@pytest.mark.parametrize("neighbours", [None, 12])
@pytest.mark.parametrize("model", [SPHERICAL, ALONG], ids=str)
def test_a_block_is_the_mean_of_its_points(model, neighbours):
    # kriging is linear: of one neighbourhood, the mean of the estimates at the block's nodes
    places, values, errors = readings()
    target = np.array([[50.0, 40.0]])
    found = krige(places, values, errors, model, target, block_m=8.0, neighbours=neighbours)
    near = Neighbourhood(places, model, neighbours or 40).of(target)[0]
    at = np.array([-3.0, -1, 1, 3])
    nodes = target + np.stack(np.meshgrid(at, at), -1).reshape(-1, 2)
    points = krige(places[near], values[near], errors[near], model, nodes)
    assert found.estimate == pytest.approx([points.estimate.mean()], rel=1e-9)
    assert found.variance[0] < points.variance.min() - model.nugget


def test_the_variance_of_far_off_blocks_is_that_within_a_block_and_of_the_mean():
    places, values, errors = readings()
    found = krige(places, values, errors, SPHERICAL, [[9e5, 9e5]], block_m=10.0)
    precision = np.linalg.inv(reading_covariance(places, errors, SPHERICAL)).sum()
    steps = np.array([-3.75, -1.25, 1.25, 3.75])
    nodes = np.stack(np.meshgrid(steps, steps), -1).reshape(-1, 2)
    within = np.mean([SPHERICAL.covariance(np.hypot(*(one - other)))
                      for one in nodes for other in nodes])
    assert found.variance == pytest.approx([within + 1 / precision], rel=ROUNDING)
    assert krige(places, values, errors, FLAT, [[9e5, 9e5]], block_m=10.0).variance == (
        pytest.approx([1 / (1 / (1.5 + errors)).sum()], rel=ROUNDING))  # the nugget averages out


def test_neighbours_are_nearest_in_the_stretched_distance():
    # 10 m along the heading is nearer than 5 m across it at a ratio of 0.4: 5 / 0.4 = 12.5
    model = CovarianceModel("spherical", 0.1, 1, 50, heading_deg=0.0, ratio=0.4)
    places = np.array([[0.0, 10.0], [5.0, 0.0], [90.0, 90.0]])
    assert Neighbourhood(places, model, 1).of([[0.0, 0.0]]).tolist() == [[0]]
    assert Neighbourhood(places, SPHERICAL, 1).of([[0.0, 0.0]]).tolist() == [[1]]


def test_octants_share_the_neighbours_and_what_they_lack_is_filled_with_the_nearest():
    # 20 readings crowd to the north-east; one lies in each of the three other quarters
    crowd = np.column_stack([np.full(20, 1.0), 1.1 + 0.01 * np.arange(20)])
    places = np.vstack([crowd, [[-5.0, 6.0], [-6.0, -5.0], [5.0, -6.0]]])
    near = Neighbourhood(places, SPHERICAL, 8, octants=True).of([[0.0, 0.0]])[0]
    # one of each octant that holds any: the nearest of the crowd, then the three; 4 are filled
    assert set(near[:4].tolist()) == {0, 20, 21, 22}
    assert near[4:].tolist() == [1, 2, 3, 4]
    assert set(Neighbourhood(places, SPHERICAL, 8).of([[0.0, 0.0]])[0].tolist()) == set(range(8))


def test_octants_change_what_weighs_and_are_kriged_as_the_system_of_those():
    places, values, errors = readings()
    found = krige(places, values, errors, SPHERICAL, TARGETS, neighbours=8, octants=True)
    near = Neighbourhood(places, SPHERICAL, 8, octants=True).of(TARGETS)
    for number, which in enumerate(near):
        alone = krige(places[which], values[which], errors[which], SPHERICAL,
                      TARGETS[number:number + 1])
        assert found.estimate[number] == pytest.approx(alone.estimate[0], rel=ROUNDING)
        assert found.variance[number] == pytest.approx(alone.variance[0], rel=ROUNDING)


@pytest.mark.parametrize(("drift", "words"), [
    ((np.ones(40), np.ones(25)), "Column 1 of the drift is the same at all 40 readings"),
    ((np.arange(39.0), np.ones(25)), "Drift came for 39 readings and 25 targets; there are 40"),
    ((np.arange(40.0), np.full(25, np.nan)), "Drift is missing at 25 of 25 targets"),
    ((np.column_stack([np.arange(40.0)] * 2), np.ones((25, 2))), "Some columns of the drift say"),
    ((np.random.default_rng(1).normal(size=(40, 39)), np.ones((25, 39))),
     "40 readings cannot show a drift of 39 columns")])
@pytest.mark.parametrize("model", [SPHERICAL, FLAT], ids=str)
def test_drift_that_shows_nothing_is_refused(drift, words, model):
    with pytest.raises(InputProblem, match=words):
        krige(*readings(), model, TARGETS, drift=drift)


def test_neighbours_that_cannot_show_the_drift_are_refused():
    places, values, errors = readings()
    with pytest.raises(InputProblem, match="2 neighbours cannot show a drift of 2 columns"):
        krige(places, values, errors, SPHERICAL, TARGETS, drift=(places, TARGETS), neighbours=2)
    places[:20] = np.column_stack([np.arange(20.0), np.zeros(20)])  # a line, 1 m apart
    places[20:] += 1e4
    with pytest.raises(InputProblem, match="nearest 5 readings of some places cannot show"):
        krige(places, values, errors, SPHERICAL, [[9.0, 1.0]], drift=(places, [[9.0, 1.0]]),
              neighbours=5)


@pytest.mark.parametrize("side", [0.0, -3.0, np.nan])
def test_a_block_without_a_side_is_refused(side):
    with pytest.raises(InputProblem, match="its side must be above 0"):
        TargetCovariance(SPHERICAL, side)


@pytest.mark.parametrize(("heading", "ratio"), [(0.0, 0.0), (0.0, 1.2), (np.nan, 0.5)])
def test_a_ratio_out_of_reach_is_refused(heading, ratio):
    with pytest.raises(InputProblem, match="a share above 0 and up to 1 is needed"):
        CovarianceModel("spherical", 0, 1, 10, heading, ratio)
