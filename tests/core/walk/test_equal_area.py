"""Pieces of equal area, and a stop in each."""
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugin.core.problems import InputProblem
from plugin.core.walk.equal_area import equal_area_strata, stop_in_each


def lattice(columns, rows, cell=5.0):
    return np.array([(cell * (east + 0.5), cell * (north + 0.5))
                     for north in range(rows) for east in range(columns)])


@given(st.integers(3, 40), st.integers(3, 40), st.integers(1, 9))
def test_every_piece_has_the_same_area_to_a_cell(columns, rows, count):
    sizes = np.bincount(equal_area_strata(lattice(columns, rows), count))
    assert len(sizes) == count
    # Cutting n in proportion and rounding at each of at most 4 cuts.
    assert sizes.max() - sizes.min() <= 2


def test_four_pieces_of_a_square_are_its_quarters():
    cells = lattice(20, 20)
    strata = equal_area_strata(cells, 4)
    for stratum in range(4):
        reach = np.ptp(cells[strata == stratum], axis=0)
        assert reach == pytest.approx([45, 45])  # 10 cells of 5 m, between centres


def test_a_slanting_strip_is_cut_across():
    along = np.linspace(0, 400, 801)
    cells = np.column_stack([along, 0.5 * along]) + np.array([[0.0, 0.0]])
    strata = equal_area_strata(cells, 8)
    assert (np.diff(strata) >= 0).all()  # one after the other along the strip
    assert np.ptp(np.bincount(strata)) <= 2


def test_more_pieces_than_cells_are_refused():
    with pytest.raises(InputProblem, match="5 stops .* 4 cells"):
        equal_area_strata(lattice(2, 2), 5)


def test_stops_lie_in_their_pieces_and_every_spot_is_as_likely():
    cells = lattice(4, 4)
    strata = equal_area_strata(cells, 2)
    draw = np.random.default_rng(6)
    drawn = np.array([stop_in_each(cells, strata, 5.0, draw) for _ in range(4000)])
    for stratum in (0, 1):
        mine = cells[strata == stratum]
        assert (np.abs(drawn[:, stratum, None] - mine).max(axis=2).min(axis=1) <= 2.5).all()
        # The mean of places all alike is the middle; its error: 5.8 m / sqrt(4000) = 0.09 m.
        assert drawn[:, stratum].mean(axis=0) == pytest.approx(mine.mean(axis=0), abs=0.3)


def test_stops_off_the_ground_are_drawn_again():
    cells = lattice(6, 6)
    strata = equal_area_strata(cells, 3)

    def on_ground(places):
        return places[:, 1] > 12.5

    for seed in range(20):
        found = stop_in_each(cells, strata, 5.0, np.random.default_rng(seed), on_ground=on_ground)
        assert on_ground(found).all()
        for stratum in range(3):
            assert np.abs(found[stratum] - cells[strata == stratum]).max(axis=1).min() <= 2.5


def test_where_no_ground_is_found_the_centre_of_a_cell_is_taken():
    cells = lattice(2, 1)
    found = stop_in_each(cells, [0, 1], 5.0, np.random.default_rng(1),
                         on_ground=lambda places: np.zeros(len(places), bool))
    assert found.tolist() == cells.tolist()
