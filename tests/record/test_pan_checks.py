import numpy as np
import pytest

from plugin.core.problems import InputProblem
from plugin.record.pan_checks import require_pan_limit, unlike_depths
from plugin.record.read import open_record
from tests.algorithms.small_calls import FACTORS, insertion_rows, make_call, stops


@pytest.mark.parametrize("limit,unit", [(300, "psi"), (2000, "kPa"), (700, "kPa"), (7000, "kPa"),
                                        (102, "psi"), (1015, "psi")])
def test_a_limit_in_use_is_taken(limit, unit):
    require_pan_limit(limit, unit)


@pytest.mark.parametrize("limit,unit,words", [
    (300, "kPa", "pan_limit: the limit of a pan is 300 kPa, and limits lie between 700 and 7,000"),
    (2000, "psi", "is 2,000 psi, and limits lie between 102 and 1,015 psi. Enter it in psi"),
    (0, "psi", "is 0 psi"), (float("nan"), "kPa", "is nan kPa"), (7001, "kPa", "is 7,001 kPa")])
def test_a_limit_in_another_unit_is_refused_with_the_unit(limit, unit, words):
    # 700 kPa are 101.5 psi, 7,000 kPa are 1,015.3 psi.
    with pytest.raises(InputProblem, match=words):
        require_pan_limit(limit, unit)


@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_depth_reached_far_from_the_profiles_end_is_asked_about(qgis_app, tmp_path, units):
    # The profile ends at 40 cm; 1.5 times that is 60 cm, and 40 is 1.5 times 26.7 cm.
    deepest_m = [0.40, 0.59, 0.61, 0.27, 0.26, None, 0.10]
    rows = [{**row, "deepest": None if one is None else one / FACTORS[units]["depth"]}
            for row, one in zip(insertion_rows(stops()[:7]), deepest_m)]
    path = make_call(tmp_path / "a.gpkg", units, insertions=rows)
    record = open_record(path)
    ids = record.table("compaction_readings")["reading_id"]
    profiles = {one: np.array([[0.2, np.nan, 0.4], [900.0, 900.0, 900.0]]) for one in ids[:6]}
    assert unlike_depths(record, profiles, np.ones(7, bool)) == [
        "compaction_readings, rows 3, 5: deepest and the last depth of the profile differ by more "
        f"than 1.5 times. Check both; they are in {record.units.depth}. The profile is used as it "
        "is."]
    assert unlike_depths(record, profiles, np.arange(7) < 2) == []
    assert unlike_depths(record, {}, np.ones(7, bool)) == []
