import json

import numpy as np
import pytest

from plugin.core.interpolate import diagnostics as module
from plugin.core.interpolate.covariance import NUGGET, CovarianceModel
from plugin.core.interpolate.diagnostics import diagnostics
from plugin.core.interpolate.kriging import krige
from plugin.core.interpolate.variogram import experimental_variogram
from plugin.core.observations import ABOVE, EXACT, Observations

MODEL = CovarianceModel("exponential", 1.0, 6.0, 30.0)


def readings(count=40, seed=0, errors=0.5, **further):
    generator = np.random.default_rng(seed)
    return Observations.of("Stand", "plants/ac", generator.uniform(0, 200, (count, 2)),
                           generator.normal(30, 2, count),
                           error_variance=np.full(count, errors), **further)


def test_the_variogram_is_that_of_the_readings_with_the_models_curve_beside_it():
    observed = readings()
    found = diagnostics(observed, MODEL)["variogram"]
    expected = experimental_variogram(observed.positions_m, observed.values,
                                      error_variance=observed.error_variance)
    assert found["pairs"] == expected.pairs.tolist()
    assert found["distance_m"] == expected.distances_m.tolist()
    assert found["semivariance"] == expected.semivariance.tolist()
    assert (found["cutoff_m"], found["distance_error_m"]) == (expected.cutoff_m, 0)
    curve = found["curve"]
    assert (curve["distance_m"][0], curve["semivariance"][0]) == (0, 1)  # the nugget
    assert curve["distance_m"][-1] == pytest.approx(expected.cutoff_m, rel=1e-12)
    assert curve["semivariance"][1:] == pytest.approx(
        MODEL.semivariance(curve["distance_m"][1:]), rel=1e-12)


def test_each_reading_is_predicted_from_the_others():
    observed = readings()
    found = diagnostics(observed, MODEL)["left_out"]
    others = np.arange(40) != 7
    expected = krige(observed.positions_m[others], observed.values[others],
                     observed.error_variance[others], MODEL, observed.positions_m[7:8])
    error = np.sqrt(expected.variance[0] + 0.5)  # of a reading, which has its own error
    # two ways to solve one well-conditioned system
    assert found["predicted"][7] == pytest.approx(expected.estimate[0], rel=1e-9)
    assert found["standard_error"][7] == pytest.approx(error, rel=1e-9)
    assert found["standardised_error"][7] == pytest.approx(
        (observed.values[7] - expected.estimate[0]) / error, rel=1e-7)
    assert found["observed"] == observed.values.tolist()
    assert np.column_stack([found["x"], found["y"]]).tolist() == observed.positions_m.tolist()


def test_censored_readings_are_counted_and_left_out_and_one_place_is_averaged():
    observed = readings(censoring=[ABOVE] * 3 + [EXACT] * 37)
    same_place = Observations.of("Stand", "", np.vstack([observed.positions_m[3:],
                                                         observed.positions_m[3:4]]),
                                 [*observed.values[3:], observed.values[3] + 2])
    found, averaged = diagnostics(observed, MODEL), diagnostics(same_place, MODEL)
    assert (found["readings"], found["censored"]) == (37, 3)
    assert (averaged["readings"], averaged["censored"]) == (37, 0)
    assert averaged["left_out"]["observed"] == pytest.approx(
        [observed.values[3] + 1, *observed.values[4:]])


def test_it_goes_to_json_and_back():
    found = diagnostics(readings(), MODEL)
    assert json.loads(json.dumps(found)) == found


def test_very_many_readings_are_snapped_and_thinned(monkeypatch):
    monkeypatch.setattr(module, "EXACT_MOST", 39)
    monkeypatch.setattr(module, "LEFT_OUT_MOST", 15)
    observed = readings()
    found, again = diagnostics(observed, MODEL), diagnostics(observed, MODEL)
    assert found == again  # the same seed, the same choice
    assert 0 < found["variogram"]["distance_error_m"] < found["variogram"]["cutoff_m"] / 15 / 16
    assert len(set(found["left_out"]["x"])) == 15
    assert set(found["left_out"]["x"]) < set(observed.positions_m[:, 0])


def test_what_readings_do_not_tell_is_none():
    one = readings(1)
    assert diagnostics(one, MODEL) == {"readings": 1, "censored": 0, "variogram": None,
                                       "left_out": None}
    far = Observations.of("", "", [[0, 0], [0, 100]], [1, 2])  # beyond the cutoff: 33 m
    found = diagnostics(far, MODEL)
    assert found["variogram"] is None and len(found["left_out"]["x"]) == 2
    equal = Observations.of("", "", [[0, 0], [0, 1], [1, 0], [5, 5]], [3.0] * 4)
    assert diagnostics(equal, CovarianceModel(NUGGET, 0.0))["left_out"] is None
    censored = Observations.of("", "", [[0, 0], [0, 1]], [1, 2], censoring=[ABOVE, ABOVE])
    assert diagnostics(censored, MODEL)["readings"] == 0


def test_along_and_across_a_heading_all_pairs_are_shared_out():
    generator = np.random.default_rng(7)
    where = generator.uniform(0, 100, (40, 2))
    readings = Observations.of("depth", "in", where, where @ [np.sin(np.pi / 6), np.cos(np.pi / 6)])
    found = diagnostics(readings, MODEL, heading_deg=210.0)["variogram"]
    along, across = found["directions"]
    assert (along["heading_deg"], across["heading_deg"]) == (30.0, 120.0)
    assert sum(along["pairs"]) + sum(across["pairs"]) == sum(found["pairs"])
    # values rise along 30 degrees by 1 a metre: half a squared distance along, far less across
    far = np.array(along["distance_m"])
    assert (np.array(along["semivariance"]) > 0.25 * far**2).all()
    assert np.mean(across["semivariance"]) < 0.5 * np.mean(along["semivariance"])
    assert "directions" not in diagnostics(readings, MODEL)["variogram"]


def test_readings_in_one_line_show_nothing_across_it():
    where = np.column_stack([np.zeros(12), np.arange(12) * 5.0])
    found = diagnostics(Observations.of("depth", "in", where, np.arange(12.0) % 5), MODEL,
                        heading_deg=0.0)["variogram"]
    assert sum(found["directions"][0]["pairs"]) == sum(found["pairs"])
    across = found["directions"][1]
    assert across["heading_deg"] == 90.0
    assert across["distance_m"] == across["semivariance"] == across["pairs"] == []
    assert across["curve"] == found["curve"]  # the model is there all the same


def test_the_models_curve_is_that_of_its_range_in_each_direction():
    # ranges of 60 m along 30 degrees and 0.4 x 60 = 24 m across; 1 + 6 (1 - exp(-h / range))
    along_rows = CovarianceModel("exponential", 1.0, 6.0, 60.0, heading_deg=30.0, ratio=0.4)
    found = diagnostics(readings(), along_rows, heading_deg=30.0)["variogram"]
    for one, range_m in zip(found["directions"], (60.0, 24.0)):
        expected = 7 - 6 * np.exp(-np.array(one["curve"]["distance_m"]) / range_m)
        assert one["curve"]["semivariance"] == pytest.approx(expected, rel=1e-12)
    assert found["curve"]["semivariance"] == pytest.approx(
        found["directions"][0]["curve"]["semivariance"], rel=1e-12)
    # 45 degrees between: both parts of a step of 1 m are 1 / sqrt(2), that across stretched by 2.5
    aslant = diagnostics(readings(), along_rows, heading_deg=75.0)["variogram"]["directions"]
    far = np.array(aslant[0]["curve"]["distance_m"])
    assert aslant[0]["curve"]["semivariance"] == pytest.approx(
        7 - 6 * np.exp(-far * np.sqrt((1 + 2.5**2) / 2) / 60), rel=1e-12)
    same = diagnostics(readings(), MODEL, heading_deg=30.0)["variogram"]
    assert [one["curve"] for one in same["directions"]] == [same["curve"]] * 2
