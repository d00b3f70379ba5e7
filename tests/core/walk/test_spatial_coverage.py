"""Spatial coverage: known best answers, and never worse than chance."""
import numpy as np
import pytest

from plugin.core.problems import InputProblem, Stopped
from plugin.core.walk.spatial_coverage import (
    TRIES,
    mean_squared_distance,
    spatial_coverage,
)
from tests.core.walk.test_equal_area import lattice


def test_four_stops_of_a_square_lie_in_the_middle_of_its_quarters():
    cells = lattice(20, 20)
    found = cells[spatial_coverage(cells, 4)]
    wanted = {(25, 25), (25, 75), (75, 25), (75, 75)}
    assert all(min(np.hypot(*(np.array(one) - at)) for one in wanted) <= 3.6 for at in found)


def test_two_stops_of_a_strip_lie_at_its_quarters():
    cells = lattice(40, 1)
    found = np.sort(cells[spatial_coverage(cells, 2)][:, 0])
    assert found == pytest.approx([50, 150], abs=2.6)  # within a cell


def test_stops_of_a_ring_lie_on_the_ring():
    cells = lattice(41, 41)
    away = np.hypot(*(cells - cells.mean(axis=0)).T)
    ring = cells[(away > 70) & (away < 100)]
    for count in (1, 2, 5):
        found = spatial_coverage(ring, count)
        assert len(set(found)) == count  # cells of the ring, whatever the centres were


def test_it_covers_better_than_stops_at_random():
    cells = lattice(30, 20)
    draw = np.random.default_rng(3)
    chance = [mean_squared_distance(cells, draw.permutation(cells)[:12]) for _ in range(200)]
    assert mean_squared_distance(cells, cells[spatial_coverage(cells, 12)]) < min(chance)


def test_the_same_seed_gives_the_same_stops_and_another_may_not():
    cells = lattice(25, 17)
    assert (spatial_coverage(cells, 9, seed=4) == spatial_coverage(cells, 9, seed=4)).all()


def test_as_many_stops_as_cells_take_them_all():
    assert sorted(spatial_coverage(lattice(3, 2), 6)) == list(range(6))


@pytest.mark.parametrize("count", [0, 7])
def test_a_number_that_does_not_go_into_the_ground_is_refused(count):
    with pytest.raises(InputProblem, match=f"{count} stops"):
        spatial_coverage(lattice(3, 2), count)


def test_each_draw_and_round_is_told_of_in_order():
    told = []
    spatial_coverage(lattice(8, 8), 6, tick=told.append)
    assert len(told) > TRIES * (6 - 1 + 1)  # five draws after the first, and a round or more
    assert told == sorted(told) and told[-1] == 1.0


def test_a_wish_to_stop_ends_it():
    def tick(_):
        raise Stopped
    with pytest.raises(Stopped):
        spatial_coverage(lattice(3, 2), 2, tick=tick)
