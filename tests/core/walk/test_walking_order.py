"""The walk: against every order there is, and by what no shortest way can have."""
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plugin.core.problems import Stopped
from plugin.core.walk import walking_order as module
from plugin.core.walk.walking_order import walking_order

places = st.lists(st.tuples(st.integers(0, 300), st.integers(0, 300)), min_size=2, max_size=6,
                  unique=True)


def way_m(places):
    return float(np.hypot(*np.diff(places, axis=0).T).sum())


def walked(stops, order, start, back):
    way = [stops[number] for number in order]
    way = way if start is None else [start, *way]
    return way_m(np.array([*way, way[0]] if back else way, float))


@settings(max_examples=60)
@given(places, st.sampled_from([None, (0.0, -50.0)]), st.booleans())
def test_no_order_is_shorter(stops, start, back):
    stops = np.array(stops, float)
    order = walking_order(stops, start_m=start, back=back)
    assert sorted(order) == list(range(len(stops)))
    shortest = min(walked(stops, other, start, back) for other in permutations(range(len(stops))))
    assert walked(stops, order, start, back) == pytest.approx(shortest, abs=1e-6)


@pytest.mark.parametrize("start", [None, (0.0, -50.0)])
@pytest.mark.parametrize("back", [False, True])
def test_the_quick_way_is_near_the_shortest(monkeypatch, start, back):
    draw = np.random.default_rng(8)
    over = []
    for _ in range(25):
        stops = draw.uniform(0, 400, (8, 2))
        shortest = walked(stops, walking_order(stops, start_m=start, back=back), start, back)
        monkeypatch.setattr(module, "EXACT", 0)
        quick = walked(stops, walking_order(stops, start_m=start, back=back), start, back)
        monkeypatch.undo()
        over.append(quick / shortest)
    assert min(over) > 1 - 1e-9
    assert np.mean(over) < 1.02 and max(over) < 1.15  # of 8 stops most are met exactly


def test_a_row_of_stops_is_walked_from_end_to_end():
    stops = np.array([[40, 0], [0, 0], [30, 0], [10, 0], [20, 0]], float)
    order = walking_order(stops, start_m=(-5.0, 0.0))
    assert stops[order][:, 0].tolist() == [0, 10, 20, 30, 40]


def test_a_lattice_of_many_stops_is_walked_without_detours():
    # The shortest way through 12 x 12 places 30 m apart is 143 legs of 30 m.
    stops = np.array([(30 * east, 30 * north) for east in range(12) for north in range(12)], float)
    shuffled = np.random.default_rng(2).permutation(stops)
    order = walking_order(shuffled)
    assert 143 * 30 <= way_m(shuffled[order]) < 1.1 * 143 * 30
    assert (walking_order(shuffled) == order).all()


def test_the_round_trip_and_the_start_count():
    stops = np.array([[100, 0], [200, 0]], float)
    assert walking_order(stops, start_m=(300.0, 0.0)).tolist() == [1, 0]
    assert walking_order(stops, start_m=(0.0, 0.0), back=True).tolist() == [0, 1]


@pytest.mark.parametrize("count", [0, 1])
def test_no_stop_or_one_needs_no_order(count):
    assert walking_order(np.zeros((count, 2)), start_m=(0.0, 0.0)).tolist() == list(range(count))


def test_equal_places_are_all_walked():
    assert sorted(walking_order(np.zeros((15, 2)))) == list(range(15))


def test_a_wish_to_stop_ends_the_search():
    def tick(_):
        raise Stopped
    with pytest.raises(Stopped):
        walking_order(np.random.default_rng(1).uniform(0, 1, (30, 2)), tick=tick)
