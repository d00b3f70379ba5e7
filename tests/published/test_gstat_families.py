"""Kriging with each covariance family, against gstat: data and figures are stored in gstat/."""
import numpy as np
import pytest

from plugin.core.interpolate.kriging import krige
from plugin.core.interpolate.leave_one_out import leave_one_out
from tests.published.gstat_reference import figures, model, places, table

VALUES = {"meuse": np.log(table("meuse")["zinc"]), "jura": table("jura")["Co"]}
CASES = [("meuse", family) for family in ("spherical", "exponential", "gaussian", "matern_3_2",
                                          "matern_5_2")]
CASES += [("jura", "spherical"), ("jura", "exponential")]
SAME = 1e-9  # two solvers of one system of 155 or 259 equations


@pytest.mark.parametrize(("data_set", "family"), CASES)
def test_estimates_and_variances_are_those_of_gstat(data_set, family):
    stored = figures()[data_set]["kriging"][family]
    values = VALUES[data_set]
    for errors, part in ((np.zeros(len(values)), "ordinary"),
                         (table(data_set)["error_variance"], "errors")):
        found = krige(places(data_set), values, errors, model(stored["model"]),
                      places(f"{data_set}_targets"))
        assert found.estimate == pytest.approx(stored[part]["estimate"], rel=SAME)
        assert found.variance == pytest.approx(stored[part]["variance"], rel=SAME)


@pytest.mark.parametrize(("data_set", "family"), CASES)
def test_readings_left_out_are_those_of_gstat(data_set, family):
    stored = figures()[data_set]["kriging"][family]
    values = VALUES[data_set]
    found = leave_one_out(places(data_set), values, np.zeros(len(values)), model(stored["model"]))
    assert found.errors == pytest.approx(stored["left_out"]["residual"], rel=SAME,
                                         abs=SAME * values.std())
    assert found.variance == pytest.approx(stored["left_out"]["variance"], rel=SAME)
