import numpy as np
import pytest
import shapely

from plugin.core.problems import Stopped
from plugin.layers.cut_pieces import pieces_joined


def multi(*parts):
    return shapely.to_wkb(shapely.MultiPolygon([shapely.box(*part) for part in parts]))


# A ditch between x = 10 and 12 leaves 2 m2 of zone 0 on its far side, beside zones 1 and 2.
ZONES = [multi((0, 0, 10, 10), (12, 4, 13, 6)), multi((13, 0, 20, 10), (12, 6, 13, 10)),
         multi((12, 0, 13, 4))]


def areas(zones):
    return [0.0 if wkb is None else shapely.from_wkb(wkb).area for wkb in zones]


def test_a_small_piece_joins_the_neighbour_with_the_longest_border():
    joined = pieces_joined(ZONES, 3.0)
    assert areas(joined) == [100.0, 76.0, 4.0]
    # what it borders on becomes one polygon with it, and edges stay shared
    shapes = [shapely.from_wkb(wkb) for wkb in joined]
    assert [len(shape.geoms) for shape in shapes] == [1, 1, 1]
    assert bool(shapely.coverage_is_valid(shapes)) and all(shape.is_valid for shape in shapes)
    assert all(part.exterior.is_ccw for shape in shapes for part in shape.geoms)


def test_a_zone_of_small_pieces_alone_is_gone_and_none_stays_small():
    joined = pieces_joined(ZONES, 4.5)
    assert joined[2] is None and areas(joined) == [100.0, 80.0, 0.0]


@pytest.mark.parametrize(("smallest", "takes"), [
    (2.0, lambda taker, piece: True),  # just as large
    (50.0, lambda taker, piece: False)])
def test_a_piece_that_is_large_enough_or_that_nobody_takes_stays(smallest, takes):
    assert areas(pieces_joined(ZONES, smallest, takes=takes)) == areas(ZONES)


def test_a_piece_without_a_neighbour_stays_and_a_zone_may_be_empty():
    alone = [multi((0, 0, 1, 1)), None, multi((5, 5, 9, 9))]
    assert areas(pieces_joined(alone, 8.0)) == [1.0, 0.0, 16.0]
    touching = [multi((0, 0, 1, 1)), multi((1, 1, 9, 9))]  # at a corner: no border to share
    assert areas(pieces_joined(touching, 8.0)) == [1.0, 64.0]


def test_only_zones_that_may_take_it_are_asked():
    joined = pieces_joined(ZONES, 3.0, takes=lambda taker, piece: taker == 2)
    assert areas(joined) == [100.0, 74.0, 6.0]


def test_it_can_be_stopped():
    def tick(fraction):
        assert 0 <= fraction <= 1
        raise Stopped

    with pytest.raises(Stopped):
        pieces_joined(ZONES, 3.0, tick=tick)


def test_a_chain_of_small_pieces_ends_as_one():
    chain = [multi(*((x, 0, x + 1, 1) for x in range(zone, 30, 3))) for zone in range(3)]
    joined = pieces_joined(chain, 5.0)
    parts = [part for wkb in joined if wkb for part in shapely.from_wkb(wkb).geoms]
    assert min(part.area for part in parts) >= 5 and np.sum(areas(joined)) == pytest.approx(30)
