"""Kriging with drift, errors, blocks, neighbours and anisotropy as the R package gstat has it."""
import numpy as np
import pytest

from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.kriging import krige
from plugin.core.interpolate.leave_one_out import leave_one_out
from tests.published.gstat_reference import figures, model, places, table

ROUNDING = 1e-8  # two ways to solve one system of 155 or 259
CASES = [(data_set, name) for data_set in ("meuse", "jura")
         for name in figures()[data_set]["kriging"] if name != "anisotropic"]
VALUES = {"meuse": np.log(table("meuse")["zinc"]), "jura": table("jura")["Co"]}
COVARIATE = {"meuse": "dist", "jura": "Ni"}


def check(stored, found):
    assert found.estimate == pytest.approx(np.array(stored["estimate"]), rel=ROUNDING)
    assert found.variance == pytest.approx(np.array(stored["variance"]), rel=ROUNDING)


def krige_at_targets(data_set, kind, **options):
    values = VALUES[data_set]
    errors = options.pop("errors", np.zeros(len(values)))
    return krige(places(data_set), values, errors, kind, places(f"{data_set}_targets"), **options)


def covariate(data_set):
    name = COVARIATE[data_set]
    return table(data_set)[name], table(f"{data_set}_targets")[name]


@pytest.mark.parametrize(("data_set", "name"), CASES)
def test_kriging_with_drift_errors_and_neighbours(data_set, name):
    stored = figures()[data_set]["kriging"][name]
    kind = model(stored["model"])
    check(stored["ordinary"], krige_at_targets(data_set, kind))
    check(stored["trend"], krige_at_targets(
        data_set, kind, drift=(places(data_set), places(f"{data_set}_targets"))))
    check(stored["drift"], krige_at_targets(data_set, kind, drift=covariate(data_set)))
    check(stored["local"], krige_at_targets(data_set, kind, neighbours=32))
    check(stored["errors"], krige_at_targets(data_set, kind,
                                             errors=table(data_set)["error_variance"]))


@pytest.mark.parametrize(("data_set", "name"), CASES)
def test_the_average_over_a_block(data_set, name):
    # 4 x 4 regular nodes here and 4 x 4 Gauss points there: both are off the integral, by far
    # less than the block takes off the variance (the nugget and more)
    stored = figures()[data_set]["kriging"][name]
    kind = model(stored["model"])
    found = krige_at_targets(data_set, kind, block_m=40.0)
    of_points = np.array(stored["ordinary"]["variance"])
    assert found.estimate == pytest.approx(np.array(stored["block"]["estimate"]), rel=1e-3)
    assert (np.abs(found.variance - np.array(stored["block"]["variance"]))
            < 0.05 * (of_points - found.variance)).all()


ZINC_PLACES = [(181170, 333250), (180310, 332189), (180205, 331707), (178673, 330066),
               (178770, 330675), (178270, 331075)]


def test_blocks_of_zinc_by_the_meuse():
    # gstat's saved output, in mg/kg: 268.7576 663.4915 251.4606 532.5776 664.4039 565.5436, with
    # variances 19447.67 16991.33 21579.71 73807.91 23589.17 155113.23, is of Gauss points
    found = krige(places("meuse"), table("meuse")["zinc"], np.zeros(155),
                  CovarianceModel("spherical", 24_200, 134_000, 800), ZINC_PLACES,
                  neighbours=40, block_m=40.0)
    check(figures()["meuse"]["zinc_blocks"]["regular"], found)
    assert (found.estimate[0], found.variance[0]) == (pytest.approx(268.7324, abs=5.1e-5),
                                                      pytest.approx(19568.76, abs=5.1e-3))
    # the nodes differ by 0.1 in 268 and by less than 0.2 % of the nugget and partial sill
    assert found.estimate == pytest.approx(
        [268.7576, 663.4915, 251.4606, 532.5776, 664.4039, 565.5436], abs=0.1)
    assert found.variance == pytest.approx(
        [19447.67, 16991.33, 21579.71, 73807.91, 23589.17, 155113.23], abs=0.002 * 158_200)


@pytest.mark.parametrize(("data_set", "name"), CASES)
def test_readings_left_out_with_drift(data_set, name):
    stored = figures()[data_set]["kriging"][name]
    values = VALUES[data_set]
    found = leave_one_out(places(data_set), values, np.zeros(len(values)), model(stored["model"]),
                          drift=covariate(data_set)[0])
    assert found.errors == pytest.approx(np.array(stored["left_out_drift"]["residual"]), rel=1e-6,
                                         abs=1e-9 * np.ptp(values))
    assert found.variance == pytest.approx(np.array(stored["left_out_drift"]["variance"]),
                                           rel=ROUNDING)


@pytest.mark.parametrize("data_set", ["meuse", "jura"])
def test_a_range_that_differs_along_and_across_a_heading(data_set):
    stored = figures()[data_set]["kriging"]["anisotropic"]
    kind = CovarianceModel(stored["model"]["family"], stored["model"]["nugget"],
                           stored["model"]["partial_sill"], stored["model"]["range_m"],
                           stored["model"]["heading_deg"], stored["model"]["minor_over_major"])
    check(stored["ordinary"], krige_at_targets(data_set, kind))
    values = VALUES[data_set]
    found = leave_one_out(places(data_set), values, np.zeros(len(values)), kind)
    assert found.errors == pytest.approx(np.array(stored["left_out"]["residual"]), rel=1e-6,
                                         abs=1e-9 * np.ptp(values))
    assert found.variance == pytest.approx(np.array(stored["left_out"]["variance"]), rel=ROUNDING)
