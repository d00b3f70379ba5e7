import numpy as np
import pytest

from plugin.core.grid import Grid
from plugin.core.problems import InputProblem
from plugin.core.zone.by_likeness import GridLayer, LikenessSettings, zones_by_likeness
from plugin.core.zone.likeness_account import index_rows, likeness_account
from plugin.core.zone.table import layer_figures
from plugin.core.zone.workable import WorkableShape

GRID = Grid(0.0, 150.0, 5.0, 30, 24)
WHOLE = np.ones(GRID.shape)
TRUTH = (np.arange(24) >= 8).astype(int) + (np.arange(24) >= 16) + np.zeros((30, 1), int)


def layers(noise=0.3, seed=1):
    """Two layers of three blocks side by side; the second runs the other way in other units."""
    generator = np.random.default_rng(seed)
    return [GridLayer("stand", "plants/ac", 20_000 + 4_000 * (
                TRUTH + noise * generator.normal(size=GRID.shape))),
            GridLayer("pan", "in", 14 - 3 * TRUTH + noise * generator.normal(size=GRID.shape))]


def test_three_blocks_are_found_numbered_by_the_first_layer():
    found = zones_by_likeness(layers(), GRID, WHOLE, LikenessSettings(starts=3))
    assert found.count == 3 and "least sum of ranks" in found.reason
    assert (found.zone_map.labels == TRUTH).mean() > 0.97
    assert [zone.title for zone in found.zone_map.zones] == ["class 1", "class 2", "class 3"]
    assert found.memberships.shape == (3, *GRID.shape)
    assert found.memberships.sum(axis=0) == pytest.approx(1)
    assert np.array_equal(found.memberships.argmax(axis=0), found.zone_map.labels)
    assert ((found.confusion >= 0) & (found.confusion <= 1)).all()
    assert found.left_out == 0


def test_another_unit_or_order_of_later_layers_changes_nothing():
    stand, pan = layers()
    settings = LikenessSettings(least=3, most=3, starts=3)
    plain = zones_by_likeness([stand, pan], GRID, WHOLE, settings)
    metric = zones_by_likeness([GridLayer("stand", "plants/ha", stand.values * 2.471),
                                GridLayer("pan", "cm", pan.values * 2.54)], GRID, WHOLE, settings)
    assert np.array_equal(metric.zone_map.labels, plain.zone_map.labels)


def test_cells_without_a_value_take_no_part_and_lie_in_the_nearest_zone():
    stand, pan = layers()
    stand.values[:, 3] = np.nan
    pan.values[5:9, 20] = np.nan
    found = zones_by_likeness([stand, pan], GRID, WHOLE, LikenessSettings(least=3, most=3))
    assert found.left_out == 30 + 4
    assert np.isnan(found.memberships[:, :, 3]).all() and np.isnan(found.confusion[6, 20])
    assert (found.zone_map.labels[:, 3] == 0).mean() > 0.9
    assert sum(zone.area_m2 for zone in found.zone_map.zones) == pytest.approx(GRID.cell_area_m2
                                                                             * WHOLE.size)


def test_zones_are_made_workable_and_the_account_tells_all():
    stand, pan = layers(noise=0.6)
    stand = GridLayer("stand", "plants/ac", stand.values, WHOLE, np.array([[2.0, 148], [99, 3]]))
    settings = LikenessSettings(least=2, most=4, method="k-means", starts=3)
    found = zones_by_likeness([stand, pan], GRID, WHOLE, settings, shape=WorkableShape(
        machine_width_m=15.0, heading_deg=0.0, smallest_area_m2=400.0, smallest_width_m=15.0))
    figures = [layer_figures(found.zone_map, layer.values, standard_error=layer.standard_error,
                             sites_m=layer.sites_m) for layer in (stand, pan)]
    account = likeness_account(found, [stand, pan], {"starts": 3}, figures)
    assert account["chosen"] == found.count and len(account["indices"]) == 3
    assert sum(row["chosen"] for row in account["indices"]) == 1
    assert account["indices"] == index_rows(found, [stand, pan])
    for row in account["indices"]:
        assert row["explained"] + row["within"] == pytest.approx(1)
        assert row["explained"] == pytest.approx(
            (row["explained_stand"] + row["explained_pan"]) / 2)
    told = account["zones"][0]["layers"]["stand"]
    assert told["error"] == pytest.approx(1) and told["mean"] == pytest.approx(
        stand.values[found.zone_map.labels == 0].mean())
    assert sum(zone["layers"]["stand"]["readings"] for zone in account["zones"]) == 2
    assert account["zones"][0]["layers"]["pan"]["readings"] is None


@pytest.mark.parametrize(("changed", "message"), [
    ({"least": 1}, "1 to 6 zones were asked for; enter 2 to 12"),
    ({"most": 13}, "2 to 13 zones were asked for"), ({"least": 5, "most": 4}, "5 to 4 zones"),
    ({"fuzzifier": 1.0}, "fuzzifier is 1; enter a number above 1"),
    ({"smoothing": -1}, "weight of neighbours is -1"), ({"starts": 0}, "0 starts were asked for"),
    ({"smoothing": 1, "method": "k-means"}, "Neighbours have no weight in k-means")])
def test_settings_that_cannot_be_are_refused(changed, message):
    with pytest.raises(InputProblem, match=message):
        LikenessSettings(**changed)


@pytest.mark.parametrize(("given", "message"), [
    ([], "No layer was given"),
    ([GridLayer("pH", "", np.ones((2, 2)))], r"pH: values of shape \(2, 2\) came with a grid of"),
    ([GridLayer("pH", "", np.full(GRID.shape, np.nan))], "pH has no value in any cell. Leave it"),
    ([GridLayer("pH", "", WHOLE * 6)], "pH has the value 6 in all cells used"),
    ([GridLayer("a", "", np.where(TRUTH > 0, 1.0, np.nan)),
      GridLayer("b", "", np.where(TRUTH > 0, np.nan, 1.0))],
     "No cell of the field has a value in every layer: a, b"),
    ([GridLayer("pH", "", np.where(np.arange(24) < 2, WHOLE.cumsum().reshape(GRID.shape),
                                   np.nan) * np.where(np.arange(30) < 2, 1, np.nan)[:, None])],
     "have a value in every layer: 4. They cannot make 5 zones. Ask for fewer")])
def test_layers_that_give_no_zones_are_refused(given, message):
    with pytest.raises(InputProblem, match=message):
        zones_by_likeness(given, GRID, WHOLE, LikenessSettings(least=5, most=5))
