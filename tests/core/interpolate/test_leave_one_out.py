import numpy as np
import pytest

from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.kriging import krige, reading_covariance
from plugin.core.interpolate.leave_one_out import leave_one_out, projected_precision

MODEL = CovarianceModel("spherical", 0.5, 2.0, 50.0)


def readings(count=30, seed=1):
    generator = np.random.default_rng(seed)
    return (generator.uniform(0, 100, (count, 2)), generator.normal(20, 3, count),
            generator.uniform(0.1, 1.0, count))


@pytest.mark.parametrize("model", [MODEL, CovarianceModel("nugget", 2.0)])
def test_the_closed_form_is_kriging_with_each_reading_left_out(model):
    places, values, errors = readings()
    found = leave_one_out(places, values, errors, model)
    for number in range(30):
        rest = np.arange(30) != number
        alone = krige(places[rest], values[rest], errors[rest], model, places[number:number + 1])
        assert found.errors[number] == pytest.approx(values[number] - alone.estimate[0], rel=1e-9)
        # the reading's own error is part of what a reading may differ by
        assert found.variance[number] == pytest.approx(alone.variance[0] + errors[number], rel=1e-9)


def test_its_figures_are_those_of_its_errors():
    places, values, errors = readings()
    found = leave_one_out(places, values, errors, MODEL)
    assert found.mean_error == pytest.approx(found.errors.mean(), rel=1e-12)
    assert found.rmse**2 == pytest.approx((found.errors**2).mean(), rel=1e-12)
    by_mean = [value - np.delete(values, number).mean() for number, value in enumerate(values)]
    assert found.rmse_of_mean**2 == pytest.approx(np.square(by_mean).mean(), rel=1e-12)
    ratio = found.errors**2 / found.variance
    assert found.standardised_square_mean == pytest.approx(ratio.mean(), rel=1e-12)
    assert found.standardised_square_median == pytest.approx(np.median(ratio), rel=1e-12)
    within = np.abs(found.errors) <= 1.645 * np.sqrt(found.variance)
    assert found.coverage_90 == within.mean()
    assert found.skill == pytest.approx(
        1 - (found.errors**2).sum() / np.square(by_mean).sum(), rel=1e-12)


def test_the_mean_predicts_as_well_as_the_mean():
    places, values, _ = readings()
    found = leave_one_out(places, values, np.full(30, 0.7), CovarianceModel("nugget", 2.0))
    assert found.skill == pytest.approx(0.0, abs=1e-12)


def test_equal_readings_have_no_skill_to_show():
    places, _, errors = readings()
    assert leave_one_out(places, np.full(30, 5.0), errors, MODEL).skill == 0.0


def test_under_the_true_model_the_standardised_errors_are_as_they_should_be():
    # 60 sets of 40 readings. The mean standardised square is 1 with a standard deviation of some
    # sqrt(2 / 2400) = 0.029 (errors of one set are a little correlated: 4 of them, doubled); the
    # share within 90 % has sqrt(0.09 / 2400) = 0.006, and the median 1.061 / sqrt(2400) = 0.022.
    generator = np.random.default_rng(7)
    figures = []
    for _ in range(60):
        places = generator.uniform(0, 150, (40, 2))
        errors = generator.uniform(0.1, 1.0, 40)
        root = np.linalg.cholesky(reading_covariance(places, errors, MODEL))
        found = leave_one_out(places, 9 + root @ generator.standard_normal(40), errors, MODEL)
        figures.append([found.standardised_square_mean, found.standardised_square_median,
                        found.coverage_90])
    square, median, coverage = np.mean(figures, axis=0)
    assert square == pytest.approx(1.0, abs=0.23)
    assert median == pytest.approx(0.455, abs=0.18)
    assert coverage == pytest.approx(0.9, abs=0.05)


def test_the_projected_precision_knows_no_mean():
    places, _, errors = readings()
    project = projected_precision(places, errors, MODEL)
    assert project @ np.ones(30) == pytest.approx(np.zeros(30), abs=1e-12)
    # a generalised inverse: P V P = P
    covariance = reading_covariance(places, errors, MODEL)
    assert project @ covariance @ project == pytest.approx(project, abs=1e-10)
