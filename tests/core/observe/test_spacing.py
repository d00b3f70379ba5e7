import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugin.core.observe.spacing import spacing_indices, theoretical_spacing_m
from plugin.core.problems import InputProblem


def test_spacings_run_from_plant_to_plant_and_never_from_tape_to_tape():
    # 0 6 12 and 100 106: spacings 6, 6 and 6
    found = spacing_indices([[0, 6, 12], [100, 106]], 6)
    assert (found.spacings, found.mean, found.deviation, found.quality) == (3, 6, 0, 1)


def test_edges_of_the_classes():
    # of 10: 5 is a multiple, 5.1 to 15 is quality, 15.1 a miss
    found = spacing_indices([np.cumsum([0, 5, 5.1, 15, 15.1])], 10)
    assert (found.multiples, found.quality, found.misses) == (0.25, 0.5, 0.25)


def test_plants_at_one_mark_are_a_multiple():
    assert spacing_indices([[0, 0, 6]], 6).multiples == 0.5


def test_one_good_spacing_shows_no_precision():
    assert spacing_indices([[0, 6, 30]], 6).precision is None


@given(st.lists(st.floats(0, 500), min_size=3, max_size=40), st.floats(1, 30))
def test_order_and_start_of_the_tape_do_not_matter_and_shares_add_up(positions, theoretical):
    positions = np.round(positions, 3)
    found = spacing_indices([positions], theoretical)
    other = spacing_indices([positions[::-1] + 1024], theoretical)
    assert found.multiples + found.quality + found.misses == pytest.approx(1)
    assert other.mean == pytest.approx(found.mean, abs=1e-9)
    assert found.mean * found.spacings == pytest.approx(np.ptp(positions), abs=1e-9)


@pytest.mark.parametrize(("runs", "theoretical", "said"), [
    ([[0, 6]], 6, "1 spacings"), ([], 6, "0 spacings"), ([[0, np.nan, 6]], 6, "is missing"),
    ([[0, 6, 12]], 0, "set to is 0"), ([[0, 6, 12]], np.nan, "set to is nan")])
def test_what_tells_nothing_is_refused(runs, theoretical, said):
    with pytest.raises(InputProblem, match=said):
        spacing_indices(runs, theoretical)


def test_eight_seeds_per_m2_in_rows_of_a_half_metre_stand_a_quarter_metre_apart():
    assert theoretical_spacing_m(8, 0.5) == 0.25
