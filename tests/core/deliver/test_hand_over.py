from dataclasses import replace

import numpy as np
import pytest

from plugin.core.deliver.hand_over import HandedZone, compared, compared_cells
from plugin.core.problems import InputProblem

MEANT = [HandedZone("zone 1", 32_000.0, 10_000.0, 400.0),
         HandedZone("zone 2", 0.0, 5_000.0, 300.0)]
FILE = dict(polygons=3, step=4.0, shift_m=0.01)


def found(first=None, second=None):
    return [replace(MEANT[0], **first or {}), replace(MEANT[1], **second or {})]


def test_what_agrees_is_told():
    back = compared("F", MEANT, found(dict(rate=31_998.5, area_m2=10_003.0)), **FILE)
    assert (back.polygons, back.least, back.greatest, back.step) == (3, 0.0, 31_998.5, 4.0)
    assert back.furthest == 1.5 and back.area_m2 == 15_003.0
    assert back.total == pytest.approx(31_998.5 * 10_003)


@pytest.mark.parametrize("first,second,words", [
    (dict(rate=31_997.9), None, "a rate of 31997.9 in zone 1 instead of 32000"),
    (None, dict(rate=4.0), "a rate of 4 in zone 2 instead of 0"),
    # 400 m of outline moved by 1 cm are 4 m2
    (dict(area_m2=10_004.1), None, "10004.1 m2 in zone 1 instead of 10000"),
    (None, dict(area_m2=4_996.9), "4996.9 m2 in zone 2 instead of 5000"),
    (dict(rate=float("nan")), None, "instead")])
def test_a_difference_is_refused_by_its_zone(first, second, words):
    with pytest.raises(InputProblem, match=f"F read back with .*{words}.*Nothing was handed over"):
        compared("F", MEANT, found(first, second), **FILE)


def test_a_zone_less_is_refused():
    with pytest.raises(InputProblem, match="F read back with 1 zones instead of 2"):
        compared("F", MEANT, MEANT[:1], **FILE)


CELLS = np.array([0] * 100 + [1] * 50)
RATES = np.where(CELLS == 0, 32_001.0, 0.0)
GRID = dict(step=4.0, cell_m2=100.0, outline_m=500.0, cell_m=10.0)


def test_cells_that_agree_are_told():
    back = compared_cells("G", MEANT, RATES, CELLS, **GRID)
    assert (back.polygons, back.area_m2, back.furthest) == (150, 15_000.0, 1.0)
    assert back.total == pytest.approx(32_001.0 * 10_000)


def test_one_cell_with_another_rate_is_refused():
    wrong = RATES.copy()
    wrong[[3, 7]] = 0.0
    with pytest.raises(InputProblem, match="0 instead of 32000 in 2 of 150 cells"):
        compared_cells("G", MEANT, wrong, CELLS, **GRID)


def test_cells_of_another_area_are_refused():
    # 500 m of outline and cells of 10 m: 5,000 m2, and one cell
    with pytest.raises(InputProblem, match="m2 of cells instead of 15000"):
        compared_cells("G", MEANT, RATES, CELLS, **{**GRID, "cell_m2": 140.0})
