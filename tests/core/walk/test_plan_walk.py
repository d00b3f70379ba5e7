"""The whole walk: stops on the ground, strata with their stops, and a way that adds up."""
import numpy as np
import pytest

from plugin.core.problems import InputProblem
from plugin.core.walk.plan_walk import (
    ALONG,
    COVERAGE,
    DESIGNS,
    NEYMAN,
    STRATIFIED,
    Ground,
    plan_walk,
)
from tests.core.walk.test_equal_area import lattice


def on_ground(places):
    return (places > 0).all(axis=1) & (places < (200, 100)).all(axis=1)


@pytest.fixture
def ground():
    """200 m by 100 m in cells of 5 m."""
    return Ground(lattice(40, 20), 5.0, on_ground)


@pytest.fixture
def covariates(ground):
    """Low, with little spread, west of 50 m; high, with much, east of it."""
    east = ground.cells_m[:, 0]
    return np.where(east < 50, 10 + east / 100, 50 + east)[:, None]


@pytest.mark.parametrize("design", DESIGNS)
@pytest.mark.parametrize("count", [4, 15])
def test_every_design_gives_as_many_stops_as_asked_on_the_ground(ground, covariates, design, count):
    walk = plan_walk(ground, count, design, covariates=covariates, strata=2)
    assert len(walk) == count and on_ground(walk.stops_m).all()
    assert len(np.unique(walk.stops_m, axis=0)) == count
    again = plan_walk(ground, count, design, covariates=covariates, strata=2)
    assert (again.stops_m == walk.stops_m).all()


@pytest.mark.parametrize("back", [False, True])
def test_the_way_adds_up(ground, back):
    walk = plan_walk(ground, 9, COVERAGE, start_m=(-20.0, 0.0), back=back)
    way = np.vstack([[(-20, 0)], walk.stops_m, [(-20, 0)] if back else walk.stops_m[-1:]])
    assert walk.length_m == pytest.approx(np.hypot(*np.diff(way, axis=0).T).sum())
    assert walk.legs_m[0] == pytest.approx(np.hypot(*(walk.stops_m[0] + (20, 0))))
    assert (walk.back_m > 0) == back


def test_without_a_start_the_first_leg_is_none(ground):
    walk = plan_walk(ground, 5, STRATIFIED)
    assert walk.legs_m[0] == 0 and walk.back_m == 0


def test_strata_get_stops_by_area_or_by_spread(ground, covariates):
    # Cut where areas are equal: 100 m of 200 m, so half the ground each.
    walk = plan_walk(ground, 12, ALONG, covariates=covariates, strata=2)
    assert walk.shares == pytest.approx([0.5, 0.5])
    assert np.bincount(walk.strata).tolist() == [0, 6, 6]
    assert (walk.stops_m[walk.strata == 1, 0] <= 100).all()
    assert (walk.stops_m[walk.strata == 2, 0] >= 100).all()
    # The west half spans the jump and varies more: 40 or so against 29.
    by_spread = plan_walk(ground, 12, ALONG, covariates=covariates, strata=2, allocation=NEYMAN)
    spreads = [covariates[ground.cells_m[:, 0] < 100].std(),
               covariates[ground.cells_m[:, 0] > 100].std()]
    wanted = 12 * spreads[0] / sum(spreads)
    assert abs(np.bincount(by_spread.strata)[1] - wanted) < 1 and wanted > 7


def test_ground_without_a_covariate_gets_no_stop(ground, covariates):
    covariates[ground.cells_m[:, 1] > 50] = np.nan
    walk = plan_walk(ground, 10, ALONG, covariates=covariates, strata=2)
    assert (walk.stops_m[:, 1] <= 50).all()


@pytest.mark.parametrize("count", [0, -1, 501, 100_000])
def test_a_number_that_is_no_walk_is_refused(ground, count):
    with pytest.raises(InputProblem, match="1 to 500"):
        plan_walk(ground, count, COVERAGE)
