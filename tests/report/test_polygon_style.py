"""Fills of plans and of unsure places, told apart by the direction of their lines."""
from qgis.core import QgsLinePatternFillSymbolLayer

from plugin.report.polygon_style import plan_symbols, unsure_symbol

LEAST_TURN = 20.0  # degrees: about what the eye tells apart in a swatch of a few millimetres


def _angles(symbol):
    return [layer.lineAngle() for layer in symbol.symbolLayers()
            if isinstance(layer, QgsLinePatternFillSymbolLayer)]


def test_the_hatch_of_unsure_places_runs_along_no_hatch_of_a_plan(qgis_app):
    """On a plan that is unsure all over, both lie over the whole field."""
    works = [("apply", rate) for rate in range(6)] + [("cannot reach", 7), ("look again", 0)]
    of_plan = {angle for symbol in plan_symbols(works).values() for angle in _angles(symbol)}
    unsure = _angles(unsure_symbol())
    assert len(of_plan) == 4 and unsure
    for one in unsure:
        for other in of_plan:
            turn = abs(one - other) % 180.0
            assert min(turn, 180.0 - turn) >= LEAST_TURN
