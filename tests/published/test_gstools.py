"""Variograms and kriging as the independent library GSTools (PyPI) has them: same model, same
answers to 1e-6, on the data sets meuse and jura that are stored in gstat/."""
import gstools
import numpy as np
import pytest

from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.kriging import krige
from plugin.core.interpolate.variogram import Direction, experimental_variogram
from tests.published.gstat_reference import places, table

SAME = 1e-6
CUTOFF_M = 1499.3  # no pair lies on the edge of a bin, which goes to the next one in GSTools
VALUES = {"meuse": np.log(table("meuse")["zinc"]), "jura": table("jura")["Co"]}
MODELS = [CovarianceModel("spherical", 0.05, 0.59, 900.0),
          CovarianceModel("exponential", 0.02, 0.65, 400.0),
          CovarianceModel("gaussian", 0.124, 0.505, 411.0),
          CovarianceModel("matern_3_2", 0.08, 0.6, 200.0),
          CovarianceModel("matern_5_2", 0.1, 0.55, 150.0),
          CovarianceModel("spherical", 0.05, 0.6, 300.0, long_sill=0.4, long_range_m=1000.0),
          CovarianceModel("exponential", 0.05, 0.6, 100.0, long_sill=0.4, long_range_m=500.0)]
CASES = [(data_set, model) for data_set in VALUES for model in MODELS]


def theirs(model):
    """A model in GSTools' terms: rescaled so that its length is the range parameter here."""
    parts = [_structure(model.family, sill, range_m) for sill, range_m in model.structures]
    whole = parts[0] if len(parts) == 1 else gstools.SumModel(*parts)
    whole.nugget = model.nugget
    return whole


def _structure(family, sill, range_m):
    known = {"dim": 2, "var": sill, "len_scale": range_m}
    if family.startswith("matern"):  # GSTools writes sqrt(nu) h / length
        nu = {"matern_3_2": 1.5, "matern_5_2": 2.5}[family]
        return gstools.Matern(**known, nu=nu, rescale=1 / np.sqrt(nu))
    return {"spherical": gstools.Spherical, "exponential": gstools.Exponential,
            "gaussian": gstools.Gaussian}[family](**known, rescale=1.0)


def check(found, peer, data_set):
    estimate, variance = peer(places(f"{data_set}_targets").T)
    assert found.estimate == pytest.approx(estimate, rel=SAME)
    assert found.variance == pytest.approx(variance, rel=SAME)


@pytest.mark.parametrize(("data_set", "model"), CASES)
def test_ordinary_kriging_is_that_of_gstools(data_set, model):
    values, targets = VALUES[data_set], places(f"{data_set}_targets")
    errors = table(data_set)["error_variance"]
    kind, where = theirs(model), places(data_set)
    peer = gstools.krige.Ordinary(kind, where.T, values)
    check(krige(where, values, np.zeros(len(values)), model, targets), peer, data_set)
    peer = gstools.krige.Ordinary(kind, where.T, values, cond_err=model.nugget + errors)
    check(krige(where, values, errors, model, targets), peer, data_set)


@pytest.mark.parametrize(("data_set", "model"), CASES)
def test_universal_kriging_is_that_of_gstools(data_set, model):
    values, targets, where = VALUES[data_set], places(f"{data_set}_targets"), places(data_set)
    middle = where.mean(axis=0)  # far from 0 its system of equations loses digits
    peer = gstools.krige.Universal(theirs(model), (where - middle).T, values, "linear")
    estimate, variance = peer((targets - middle).T)
    found = krige(where, values, np.zeros(len(values)), model, targets, drift=(where, targets))
    assert found.estimate == pytest.approx(estimate, rel=SAME)
    assert found.variance == pytest.approx(variance, rel=SAME)


@pytest.mark.parametrize("data_set", VALUES)
@pytest.mark.parametrize(("estimator", "name"), [("matheron", "matheron"),
                                                 ("cressie_hawkins", "cressie")])
@pytest.mark.parametrize("heading", [None, 0.0, 30.0, 120.0])
def test_variogram_tables_are_those_of_gstools(data_set, estimator, name, heading):
    edges = np.linspace(0, CUTOFF_M, 16)
    # GSTools counts angles counter-clockwise from east
    direction = {} if heading is None else {"angles": np.radians(90 - heading),
                                            "angles_tol": np.radians(22.5)}
    _, semivariance, pairs = gstools.vario_estimate(
        places(data_set).T, VALUES[data_set], edges, estimator=name, return_counts=True,
        **direction)
    found = experimental_variogram(
        places(data_set), VALUES[data_set], cutoff_m=CUTOFF_M, bins=15, estimator=estimator,
        direction=None if heading is None else Direction(heading))
    semivariance, pairs = np.ravel(semivariance), np.ravel(pairs).astype(int)
    assert found.pairs.tolist() == pairs.tolist()
    if name == "cressie":  # GSTools divides by one term more: 0.045 / N^2
        semivariance *= 1 + 0.045 / pairs**2 / (0.457 + 0.494 / pairs)
    assert found.semivariance == pytest.approx(semivariance, rel=SAME)
