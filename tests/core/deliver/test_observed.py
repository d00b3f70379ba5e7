import numpy as np
import pytest

from plugin.core.decide.compaction_rating import rate_compaction
from plugin.core.deliver.observed import (
    LEAST_TO_RATE,
    nothing_met,
    pan_account,
    stand_account,
    yield_account,
)
from plugin.core.observations import Observations
from plugin.core.observe.pan import felt_pan, pan_of_profile
from plugin.core.observe.stand import stand_at_stops
from plugin.core.observe.yield_points import REASONS


def test_stand_counts_are_accounted_for():
    stand = stand_at_stops([1, 1, 2], [10, 20, 30], [1.0, 1.0, 2.0])
    seen = Observations.of("stand", "plants/ac", np.zeros((2, 2)), stand.density)
    assert stand_account(stand, seen, ("one doubt",), 3) == {
        "stops": 2, "plants": 60.0, "dispersion": 1.0, "error_source": "Poisson",
        "unit": "plants/ac", "left_out": 3, "warnings": ["one doubt"]}


class Stop:
    def __init__(self, found):
        self.found = found

    def pan_within(self, reach_m):
        return float(self.found)


def test_insertions_are_accounted_for_by_what_they_met():
    depths = [0.1, 0.2, 0.3, 0.4]
    pans = [pan_of_profile(depths, [100, 400, 400, 100], limit=300),
            pan_of_profile(depths, [100, 100, 100, 100], limit=300),
            pan_of_profile(depths, [100, 100, 100, 900], limit=300, refusal="stone"),
            felt_pan(0.2, 0.3, 0.5), pan_of_profile(depths, [100, 100, 400, 400], limit=300)]
    over = [True, False, True, True, False] * 2
    found = pan_account(pans, [Stop(True), Stop(False)], over, limit=300, reach_m=0.4,
                        pressure_unit="psi", warnings=[], left_out=1)
    rating = found.pop("rating")
    assert found == {"insertions": 5, "stops": 2, "with_pan": 3, "none": 1, "refused": 1, "felt": 1,
                     "stops_with_pan": 1, "stops_without": 1, "limit": 300.0,
                     "pressure_unit": "psi", "left_out": 1,
                     "warnings": []}
    expected = rate_compaction(over, excluded=1)
    assert rating == {"share": expected.share, "low": expected.low, "high": expected.high,
                      "rating": expected.rating, "text": expected.text, "from_memory": True}


@pytest.mark.parametrize("gauged", [0, LEAST_TO_RATE - 1])
def test_with_few_insertions_by_gauge_there_is_no_rating(gauged):
    found = pan_account([felt_pan(0.2, 0.3, 0.5)], [Stop(True)], [True] * gauged, limit=300,
                        reach_m=0.4, pressure_unit="psi", warnings=[], left_out=0)
    assert found["rating"] is None


@pytest.mark.parametrize("without, words", [
    (7, "7 of them looked at as deep as the tool goes; there is nothing to loosen."),
    (6, "but only 6 were looked at as deep as the tool goes. Whether there is one is not known")])
def test_that_no_pan_was_met_says_how_deep_was_looked(without, words):
    found = nothing_met({"stops": 14, "stops_without": without, "limit": 300.0,
                         "pressure_unit": "psi"})
    assert found.startswith("none of 14 stops met a pan at 300 psi") and words in found


def test_a_harvest_is_accounted_for_by_reason():
    # known 2, 4, 12, 6: mean 6, deviation sqrt((16 + 4 + 36 + 0) / 4); kept 4 and 6
    reasons = [REASONS.index(name) for name in
               ("narrow swath", "kept", "no yield", "yield out of range", "kept")]
    found = yield_account(2025.0, "bu/ac", np.array([2, 4, np.nan, 12, 6]), np.array(reasons))
    assert found["season"] == 2025
    assert (found["records"], found["kept"]) == (5, 2)
    assert {name: count for name, count in found["left_out"].items() if count} == {
        "narrow swath": 1, "no yield": 1, "yield out of range": 1}
    assert set(found["left_out"]) == set(REASONS) - {"kept"}
    assert [found["mean_before"], found["deviation_before"], found["mean"], found["deviation"]] == (
        pytest.approx([6, np.sqrt(14), 5, 1], rel=1e-12))


def test_a_harvest_of_which_nothing_is_kept_has_no_mean():
    found = yield_account(2025, "bu/ac", np.array([2.0]), np.array([REASONS.index("no yield")]))
    assert (found["kept"], found["mean"], found["deviation"]) == (0, None, None)
