"""Ordinary kriging of small sets worked in textbooks; figures solved anew to four decimals.

Isaaks and Srivastava (1989), An Introduction to Applied Geostatistics, chapter 12 (its printed
answer: 592.7 and 8.96); Kitanidis (1997), Introduction to Geostatistics, 169-170 (printed: 0.1304;
1.6364 and 0.4201); Webster and Oliver (2007), Geostatistics for Environmental Scientists, chapter 8
(its grid); Davis (three wells) and Burrough and McDonnell (five points), data from memory.
"""
import numpy as np
import pytest

from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.kriging import krige
from plugin.core.interpolate.leave_one_out import leave_one_out

HALF_DIGIT = 1e-4  # figures are given to four decimals (five for weights and variances)
SEVEN = np.array([(61, 139, 477), (63, 140, 696), (64, 129, 227), (68, 128, 646), (71, 140, 606),
                  (73, 141, 791), (75, 128, 783)], float)
TARGET = [[65.0, 137.0]]
BOOK = CovarianceModel("exponential", 0.0, 10.0, 1 / 0.3)  # C = 10 exp(-0.3 h)
NO_ERROR = np.zeros(7)


def at(points, targets, model, errors=None):
    """Estimates, variances, and the weights: kriging a 1 at one reading gives its weight."""
    points = np.asarray(points, float)
    errors = np.zeros(len(points)) if errors is None else errors
    places = points[:, :2] if points.shape[1] > 2 else np.column_stack([points[:, 0],
                                                                        np.zeros(len(points))])
    found = krige(places, points[:, -1], errors, model, targets)
    weights = krige(places, np.eye(len(points)), errors, model, targets).estimate
    return found.estimate, found.variance, weights


def test_the_weights_of_the_seven_points():
    estimate, variance, weights = at(SEVEN, TARGET, BOOK)
    assert weights[0] == pytest.approx(
        [0.17294, 0.31779, 0.12873, 0.08640, 0.15113, 0.05723, 0.08578], abs=5e-6 + 1e-9)
    assert (estimate[0], variance[0]) == (pytest.approx(592.7289, abs=HALF_DIGIT),
                                          pytest.approx(8.95605, abs=HALF_DIGIT))
    assert (round(estimate[0], 1), round(variance[0], 2)) == (592.7, 8.96)  # as printed


@pytest.mark.parametrize(("model", "errors", "estimate", "variance"), [
    (CovarianceModel("exponential", 0, 20, 1 / 0.3), NO_ERROR, 592.7289, 17.91211),
    (CovarianceModel("exponential", 5, 5, 1 / 0.3), NO_ERROR, 596.7770, 10.30585),
    (CovarianceModel("exponential", 0, 10, 1 / 0.15), NO_ERROR, 572.3899, 5.75850),
    (CovarianceModel("gaussian", 0, 10, 10 / 3**0.5), NO_ERROR, 559.3700, 4.78060),
    (CovarianceModel("nugget", 10), NO_ERROR, 603.7143, 11.42857),
    (BOOK, np.array([1, 1, 1, 2, 2, 2, 4]), 588.3178, 9.19373)])
def test_the_variants_of_the_seven_points(model, errors, estimate, variance):
    found = at(SEVEN, TARGET, model, errors)
    assert found[0] == pytest.approx([estimate], abs=HALF_DIGIT)
    assert found[1] == pytest.approx([variance], abs=HALF_DIGIT)


def test_at_a_reading_with_an_error_the_error_is_filtered_out():
    estimate, variance, _ = at(SEVEN, SEVEN[1:2, :2], BOOK, np.array([1, 1, 1, 2, 2, 2, 4]))
    assert estimate == pytest.approx([677.6134], abs=HALF_DIGIT)  # not the reading, 696
    assert variance == pytest.approx([0.89053], abs=HALF_DIGIT)


def test_the_seven_points_left_out_one_by_one():
    found = leave_one_out(SEVEN[:, :2], SEVEN[:, 2], NO_ERROR, BOOK)
    assert found.errors == pytest.approx(
        [-176.402, 167.509, -431.750, 139.650, -102.993, 196.929, 203.917], abs=5.1e-4)
    assert found.variance == pytest.approx(
        [7.87319, 7.72246, 10.18570, 9.81775, 7.69627, 7.91785, 11.72718], abs=5.1e-6)


def test_far_from_all_the_estimate_is_the_generalised_least_squares_mean():
    # mean 605.0598 with variance 2.18016, on top of the sill of 10
    estimate, variance, _ = at(SEVEN, [[1e6, 1e6]], BOOK)
    assert estimate == pytest.approx([605.0598], abs=HALF_DIGIT)
    assert variance == pytest.approx([12.18016], abs=HALF_DIGIT)


def linear(slope, nugget=0.0):
    """A spherical model so wide that it is linear: h / range is 1e-5, its cube lost."""
    range_m = 1e7
    return CovarianceModel("spherical", nugget, slope * range_m / 1.5, range_m)


WIDE = 2e-4  # the wide model's sill is 2.7e7: differences keep 16 - 8 digits, of sums of some


@pytest.mark.parametrize(("points", "target", "model", "weights", "estimate", "variance"), [
    ([(1, 2, 150), (4, 1, 110), (6, 4, 140)], (3, 2), linear(4),
     [0.38045, 0.49638, 0.12317], 128.9131, 6.69604),
    ([(1, 2, 150), (4, 1, 110), (6, 4, 140)], (4, 4), linear(4),
     [0.27621, 0.13808, 0.58572], 138.6197, 10.3851),
    ([(0, 1), (1, 0), (3, 0)], (2, 0), linear(1, nugget=1),
     [0.13043, 0.39130, 0.47826], 0.1304, 2.43478),
    ([(9.7, 47.6, 1.22), (43.8, 24.6, 2.822)], (18.8, 67.9), linear(0.006, nugget=0.1),
     [0.74008, 0.25992], 1.63639, 0.42010),
    ([(3.0, 4.0, 120), (6.3, 3.4, 103), (2.0, 1.3, 142)], (3, 3), linear(4),
     [0.60390, 0.08677, 0.30933], 125.3303, 5.28302)])
def test_examples_with_a_linear_variogram(points, target, model, weights, estimate, variance):
    found = at(points, [target], model)
    assert found[2][0] == pytest.approx(weights, abs=1e-5)
    assert found[0] == pytest.approx([estimate], abs=WIDE)
    assert found[1] == pytest.approx([variance], abs=WIDE)


def test_five_points_with_a_spherical_model():
    points = [(2, 2, 3), (3, 7, 4), (9, 9, 2), (6, 5, 4), (5, 3, 6)]
    estimate, variance, weights = at(points, [(5, 5)], CovarianceModel("spherical", 2.5, 7.5, 10))
    assert weights[0] == pytest.approx([0.07345, 0.21150, 0.04984, 0.43064, 0.23457], abs=5.1e-6)
    assert estimate == pytest.approx([4.29601], abs=HALF_DIGIT)
    assert variance == pytest.approx([4.93270], abs=HALF_DIGIT)


GRID = np.column_stack([np.tile(np.arange(4) * 40.0, 4), np.repeat(np.arange(4) * 40.0, 4),
                        [7, 6, 5.8, 6, 6.9, 6.2, 6.2, 6.2, 7.9, 8, 7.8, 7.8, 8, 8, 8, 8]])


@pytest.mark.parametrize(("model", "middle", "shares", "aside"), [
    (CovarianceModel("spherical", 0, 0.382, 90.53), (7.03326, 0.14289),
     (0.30364, -0.01870, -0.01625), (7.44231, 0.11612)),
    (CovarianceModel("spherical", 0.1, 0.282, 90.53), (7.04245, 0.23565),
     (0.24856, 0.00621, -0.01098), (7.37806, 0.22198)),
    (CovarianceModel("spherical", 0.3, 0.082, 90.53), (7.08558, 0.37300),
     (0.12367, 0.04678, 0.03278), (7.21628, 0.37152)),
    (CovarianceModel("exponential", 0, 0.382, 90.53), (7.04059, 0.09152),
     (0.27605, -0.00817, -0.00971), (7.42194, 0.07511))])
def test_a_grid_of_sixteen_with_growing_nugget(model, middle, shares, aside):
    estimate, variance, weights = at(GRID, [(60, 60), (70, 70)], model)
    assert (estimate[0], variance[0]) == pytest.approx(middle, abs=HALF_DIGIT)
    assert (estimate[1], variance[1]) == pytest.approx(aside, abs=HALF_DIGIT)
    inner, edge, corner = weights[0][[5, 6, 9, 10]], weights[0][[1, 2, 4, 7]], weights[0][[0, 3]]
    for group, share in zip((inner, edge, corner), shares):
        assert group == pytest.approx(np.full(len(group), share), abs=5.1e-6)


@pytest.mark.parametrize(("side", "estimate", "variance"), [(2, 592.4279, 6.42417),
                                                            (10, 580.5867, 1.98959)])
def test_blocks_around_the_target_of_the_seven_points(side, estimate, variance):
    found = krige(SEVEN[:, :2], SEVEN[:, 2], NO_ERROR, BOOK, TARGET, block_m=side)
    assert found.estimate == pytest.approx([estimate], abs=HALF_DIGIT)
    assert found.variance == pytest.approx([variance], abs=HALF_DIGIT)


def test_a_linear_trend_through_the_seven_points():
    found = krige(SEVEN[:, :2], SEVEN[:, 2], NO_ERROR, BOOK, TARGET,
                  drift=(SEVEN[:, :2], TARGET))
    assert found.estimate == pytest.approx([567.6621], abs=HALF_DIGIT)
    assert found.variance == pytest.approx([9.03828], abs=HALF_DIGIT)


def test_the_logarithms_of_the_seven_points():
    # and the lognormal back-transforms of estimate y, variance v, multiplier m = -0.045331:
    # exp(y) = 558.823, exp(y + v / 2) = 699.059, exp(y + v / 2 + m) = 668.077
    found = krige(SEVEN[:, :2], np.log(SEVEN[:, 2]), NO_ERROR,
                  CovarianceModel("exponential", 0.0, 0.5, 1 / 0.3), TARGET)
    estimate, variance = float(found.estimate[0]), float(found.variance[0])
    assert (estimate, variance) == (pytest.approx(6.325833, abs=5.1e-7),
                                    pytest.approx(0.447803, abs=5.1e-7))
    assert np.exp([estimate, estimate + variance / 2, estimate + variance / 2 - 0.045331]) == (
        pytest.approx([558.823, 699.059, 668.077], abs=5.1e-4))
