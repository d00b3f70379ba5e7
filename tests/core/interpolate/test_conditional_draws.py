import numpy as np
import pytest

from plugin.core.interpolate.conditional_draws import (
    MOST_TARGETS,
    conditional_draws,
    thinned_cells,
)
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.kriging import krige, reading_covariance
from plugin.core.problems import InputProblem

MODEL = CovarianceModel("spherical", 0.3, 2.0, 60.0)
GENERATOR = np.random.default_rng(3)
PLACES = GENERATOR.uniform(0, 100, (30, 2))
VALUES = GENERATOR.normal(20, 2, 30)
ERRORS = GENERATOR.uniform(0.1, 0.8, 30)
TARGETS = GENERATOR.uniform(-60, 260, (12, 2))  # far ones hang on the mean, and its error
DRAWS = 20_000


@pytest.mark.parametrize("model", [MODEL, CovarianceModel("nugget", 1.5)])
def test_the_mean_and_spread_of_draws_are_krigings(model):
    drawn = conditional_draws(PLACES, VALUES, ERRORS, model, TARGETS, draws=DRAWS, seed=1)
    kriged = krige(PLACES, VALUES, ERRORS, model, TARGETS)
    # 5 standard errors of a mean, and of a variance (relative sqrt(2 / draws))
    assert (np.abs(drawn.mean(axis=0) - kriged.estimate)
            < 5 * np.sqrt(kriged.variance / DRAWS)).all()
    assert drawn.var(axis=0) == pytest.approx(kriged.variance, rel=5 * np.sqrt(2 / DRAWS))


@pytest.mark.parametrize("model", [MODEL, CovarianceModel("nugget", 1.5)])
def test_draws_vary_together_as_kriging_of_differences_says(model):
    # The errors of two targets, by the textbook's system of both with the unknown mean:
    # cov = C(s, t) - c_s' B c_t + (1 - 1'B c_s)(1 - 1'B c_t) / 1'B 1, with B the inverse.
    drawn = conditional_draws(PLACES, VALUES, ERRORS, model, TARGETS, draws=DRAWS, seed=2)
    inverse = np.linalg.inv(reading_covariance(PLACES, ERRORS, model))

    def apart(a, b):
        return np.linalg.norm(a[:, None] - b, axis=-1)

    across = model.covariance(apart(PLACES, TARGETS))
    rest = 1 - inverse.sum(axis=0) @ across
    expected = (model.covariance(apart(TARGETS, TARGETS)) + model.nugget * np.eye(12)
                - across.T @ inverse @ across + np.outer(rest, rest) / inverse.sum())
    # a covariance has a standard error of at most sqrt(2 v v / draws)
    bound = 5 * np.sqrt(2 * np.outer(np.diag(expected), np.diag(expected)) / DRAWS)
    assert (np.abs(np.cov(drawn.T) - expected) < bound).all()


def test_without_nugget_or_error_draws_pass_through_the_readings():
    exact = CovarianceModel("spherical", 0.0, 2.0, 60.0)
    drawn = conditional_draws(PLACES, VALUES, np.zeros(30), exact, PLACES, draws=50)
    # the square root of a variance of 1e-15 is 3e-8, of several such some more
    assert np.abs(drawn - VALUES).max() < 1e-5


def test_the_same_seed_gives_the_same_draws():
    one, same, other = (conditional_draws(PLACES, VALUES, ERRORS, MODEL, TARGETS, draws=4, seed=s)
                        for s in (7, 7, 8))
    assert one.shape == (4, 12)
    assert (one == same).all()
    assert (one != other).all()


def test_equal_readings_without_error_are_drawn_as_they_are():
    drawn = conditional_draws(PLACES, np.full(30, 4.0), np.zeros(30), CovarianceModel("nugget", 0),
                              TARGETS, draws=3)
    assert (drawn == 4.0).all()


def test_too_many_places_at_once_are_refused():
    with pytest.raises(InputProblem, match="2001 places were asked for at once; at most 2000"):
        conditional_draws(PLACES, VALUES, ERRORS, MODEL, np.zeros((MOST_TARGETS + 1, 2)))


def test_few_cells_are_all_taken():
    inside = np.array([[1, 0, 0.2], [0, 1, 1]])
    assert thinned_cells(inside).tolist() == [0, 2, 4, 5]


def test_cells_are_thinned_to_every_third_of_rows_and_columns():
    # 9 x 9, at most 9: every third from the second on
    cells = thinned_cells(np.ones((9, 9)), most=9)
    rows, columns = np.divmod(cells, 9)
    assert sorted(set(rows)) == sorted(set(columns)) == [1, 4, 7]
    assert len(cells) == 9


@pytest.mark.parametrize("shape", [(300, 200), (1, 4000), (4000, 1), (3, 900), (40, 40)])
def test_thinned_cells_are_many_and_spread_evenly(shape):
    inside = np.ones(shape)
    cells = thinned_cells(inside)
    assert 1500 / 4 <= len(cells) <= 1500  # the next closer spacing would be too many
    assert (np.diff(cells) > 0).all()
    rows, columns = np.divmod(cells, shape[1])
    # their centre is the field's, to one spacing
    spacing = np.sqrt(inside.size / len(cells)) * max(1, shape[1] / shape[0] / 100) + 4
    assert rows.mean() == pytest.approx((shape[0] - 1) / 2, abs=spacing)
    assert columns.mean() == pytest.approx((shape[1] - 1) / 2, abs=spacing)


def test_a_field_that_falls_between_the_thinned_cells_keeps_one():
    inside = np.zeros((9, 9))
    inside[0, 0] = inside[0, 8] = 1
    assert thinned_cells(inside, most=1).tolist() in ([0], [8])
