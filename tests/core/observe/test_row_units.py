from itertools import permutations, product

import numpy as np
import pytest
from scipy.stats import f_oneway

from plugin.core.deliver.row_unit_account import row_unit_verdict
from plugin.core.observe.row_sets import RowUnitTests
from plugin.core.observe.row_units import row_unit_test
from plugin.core.problems import InputProblem, Stopped


def counts(effects, stops, noise=0.0, levels=None, rows=None, seed=0):
    """Rows of a planter: every unit at every stop, or `rows` neighbours from a random one on."""
    generator = np.random.default_rng(seed)
    units = len(effects)
    rows = rows or units
    first = generator.integers(0, units, stops)
    unit = (first[:, None] + np.arange(rows)) % units
    level = np.ones(stops) if levels is None else np.asarray(levels)
    plants = 30 * level[:, None] * (1 + np.asarray(effects)[unit])
    plants = plants + noise * generator.normal(size=plants.shape)
    return np.repeat(np.arange(stops), rows), unit.ravel() + 1, plants.ravel(), np.full(
        unit.size, 17.4)


def test_an_additive_pattern_comes_back_exactly_whatever_the_ground():
    # effects as shares of the mean; levels of the stops from 0.6 to 1.4 average 1
    stops, units, _, lengths = counts([0.0] * 6, 9, rows=3, seed=4)
    effects = np.array([-0.2, 0.1, 0.0, 0.05, 0.05, 0.0])
    level = np.linspace(0.6, 1.4, 9)[stops]
    found = row_unit_test(stops, units, 30 * (level + effects[units - 1]), lengths, permutations=9)
    mean = (level + effects[units - 1]).mean()
    assert [one.effect for one in found.units] == pytest.approx(
        (effects - 0.025) / mean, abs=1e-9)  # 0.025 is the middle one


def test_the_p_of_a_small_layout_is_the_share_of_all_its_shuffles():
    # 2 units at 4 stops: 16 equally likely orders, worked one by one
    stops, units = np.repeat(np.arange(4), 2), np.tile([1, 2], 4)
    plants = np.array([30.0, 26.0, 31.0, 28.0, 29.0, 27.0, 30.0, 29.0])
    difference = plants.reshape(4, 2) @ [1, -1]

    def t(signs):
        one = difference * signs
        return abs(one.mean()) / (one.std(ddof=1) / 2)

    exact = np.mean([t(signs) >= t((1, 1, 1, 1)) - 1e-9 for signs in product((1, -1), repeat=4)])
    found = row_unit_test(stops, units, plants, np.ones(8), permutations=20_000)
    assert found.p_planter == pytest.approx(exact, abs=0.01)  # four standard errors
    assert {one.p for one in found.units} == {found.p_planter}


def test_a_balanced_layout_gives_the_effects_and_the_error_of_the_two_way_table():
    stops, units, plants, lengths = counts([0, 0.1, -0.1, 0.05], 8, noise=2.0, seed=2)
    order = np.lexsort([units, stops])
    table = (plants[order] / plants.mean()).reshape(8, 4)
    found = row_unit_test(stops, units, plants, lengths, permutations=99)
    unit = table.mean(axis=0)
    assert [one.effect for one in found.units] == pytest.approx(unit - np.median(unit), abs=1e-12)
    rest = (table - table.mean(axis=0) - table.mean(axis=1)[:, None] + 1)
    error = np.sqrt((rest**2).sum() / (7 * 3) * (1 / 8 - 1 / 32))
    widths = {round((one.high - one.low) / 2 / error, 6) for one in found.units}
    assert len(widths) == 1 and 2.0 < widths.pop() < 4.5  # one multiplier for all units


def test_without_units_to_tell_apart_the_ground_test_is_that_of_one_way():
    # residuals of units that truly have no effect in these numbers: rows are mirrored
    plants = np.array([[10, 12], [12, 10], [20, 22], [22, 20], [15, 17], [17, 15]], float)
    plants = plants.reshape(3, 4)  # stop: units 1 2 2 1 in effect, each twice
    units = np.tile([1, 2, 1, 2], 3)
    found = row_unit_test(np.repeat(np.arange(3), 4), units, plants.ravel(), np.ones(12),
                          permutations=9)
    ratio, _ = f_oneway(*plants)
    # one degree of freedom goes to the units: 8 instead of 9
    from scipy.stats import f
    assert found.p_ground == pytest.approx(f.sf(ratio * 8 / 9, 2, 8), rel=1e-9)


@pytest.mark.parametrize(("effects", "ground", "follows"), [
    ([0, 0, -0.25, 0, 0, 0], 0.0, "planter"), ([0] * 6, 0.25, "ground"),
    ([0, 0, -0.25, 0, 0, 0], 0.25, "both"), ([0] * 6, 0.0, "neither")])
def test_what_the_stand_follows_is_told(effects, ground, follows):
    levels = 1 + ground * np.random.default_rng(8).normal(size=20)
    found = row_unit_test(*counts(effects, 20, 1.7, levels, rows=4, seed=3), permutations=499)
    assert found.follows == follows
    assert [one.unit for one in found.faulty] == ([3] if min(effects) < 0 else [])
    assert (found.planter_deviation > 0.05) == (min(effects) < 0)
    assert (found.ground_deviation > 0.05) == (ground > 0)


def test_order_of_rows_and_names_of_stops_change_nothing():
    stops, units, plants, lengths = counts([0, -0.1, 0, 0], 10, 1.5, rows=3, seed=7)
    order = np.random.default_rng(1).permutation(len(stops))
    one = row_unit_test(stops, units, plants, lengths, permutations=1)
    names = np.array([f"stop {number:02d}" for number in stops])
    other = row_unit_test(names[order], units[order], plants[order], 5 * lengths[order],
                          permutations=1)
    assert [u.effect for u in one.units] == pytest.approx([u.effect for u in other.units])
    assert one.p_ground == pytest.approx(other.p_ground)


def test_a_longer_row_weighs_more():
    # unit 2 is 30 % short on a short row and equal on one nine times as long: far from -15 %
    stops, units = np.repeat(np.arange(4), 2), np.tile([1, 2], 4)
    lengths = np.repeat([1.0, 9.0, 1.0, 9.0], 2)
    short = np.array([1, 0.7, 1, 1, 1, 0.7, 1, 1])
    found = row_unit_test(stops, units, 30 * lengths * short, lengths, permutations=9)
    assert found.units[1].effect == pytest.approx(-0.03 / 2 / 0.985, rel=1e-6)


def test_equal_rows_everywhere_show_nothing():
    found = row_unit_test(*counts([0.0] * 4, 5), permutations=99)
    assert found.follows == "neither" and found.p_planter == 1
    assert all(one.effect == one.low == one.high == 0 for one in found.units)


def test_a_stop_with_one_row_is_left_out_and_counted():
    stops, units, plants, lengths = counts([0.0] * 4, 5, 1.0)
    found = row_unit_test(np.append(stops, 77), np.append(units, 1), np.append(plants, 3.0),
                          np.append(lengths, 17.4), permutations=9)
    assert (found.left_out, found.rows, found.stops) == (1, 20, 5)


def test_the_faulty_unit_is_named_with_its_interval():
    found = row_unit_test(*counts([0, 0, -0.25, 0, 0, 0], 20, 1.7, rows=4, seed=3),
                          permutations=499)
    words = row_unit_verdict(RowUnitTests((found,), ()))
    assert "Row unit 3 stands 2" in words and "below the middle unit" in words
    assert "95 % interval, all units at once" in words and "meter" in words


def test_what_would_not_have_shown_is_told():
    found = row_unit_test(*counts([0.0] * 6, 12, 2.0, rows=4, seed=5), permutations=199)
    assert "would not have shown" in row_unit_verdict(RowUnitTests((found,), ()))


def test_it_stops_when_told():
    def tick(fraction):
        raise Stopped
    with pytest.raises(Stopped):
        row_unit_test(*counts([0.0] * 4, 5, 1.0), tick=tick)


@pytest.mark.parametrize(("stops", "units", "plants", "said"), [
    ([1, 2, 3], [1, 2, 3], [30, 30, 30], "No stop has rows of two"),
    ([1, 1, 2, 2], [1, 1, 1, 1], [30, 31, 30, 29], "No stop has rows of two"),
    ([1, 1, 1, 2, 2, 2], [1, 2, 1, 3, 4, 3], [30] * 6, "never counted at the same stop"),
    ([1, 1], [1, 2], [30, 30], "Count more rows"),
    ([1, 1, 2, 2], [1, 2, 1, 2], [0, 0, 0, 0], "No plant was counted"),
    ([1, 1, 2, 2], [1, 2, 1, 2], [30, np.nan, 30, 30], "1 of 4 counted rows")])
def test_what_cannot_compare_is_refused(stops, units, plants, said):
    with pytest.raises(InputProblem, match=said):
        row_unit_test(stops, units, plants, np.ones(len(stops)))


def test_all_orders_of_three_units_are_drawn_alike():
    # 3 units at one stop among two: each of the 6 orders about a sixth of the time
    from plugin.core.observe.row_units import _shuffled, _table
    table = _table(np.repeat([0, 1], 3), np.tile([1, 2, 3], 2), np.full(6, 9.0), np.ones(6))
    drawn = _shuffled(table, 6000, np.random.default_rng(0))[:, :3]
    shares = [np.mean((drawn == order).all(axis=1)) for order in permutations(range(3))]
    assert shares == pytest.approx([1 / 6] * 6, abs=0.02)  # four standard errors
