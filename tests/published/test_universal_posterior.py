"""What draws and next stops take for unsure about a drift, against the universal kriging variances
of the independent libraries GSTools and PyKrige (PyPI), on data sets meuse and jura in gstat/."""
import gstools
import numpy as np
import pytest
from pykrige.uk import UniversalKriging

from plugin.core.interpolate.conditional_draws import conditional_draws
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.posterior_covariance import Posterior
from tests.published.gstat_reference import places, table
from tests.published.test_gstools import MODELS, SAME, theirs

DATA_SETS = ("meuse", "jura")
CASES = [(data_set, model) for data_set in DATA_SETS for model in MODELS]


def measured(data_set):
    """Places of readings and of some targets, m from their middle, and readings."""
    where = places(data_set)
    middle = where.mean(axis=0)  # far from 0 the libraries' systems of equations lose digits
    table_of = table(data_set)
    values = np.log(table_of["zinc"]) if data_set == "meuse" else table_of["Co"]
    return where - middle, places(f"{data_set}_targets") - middle, values


def layer(where):
    """A layer that the mean may follow: a wave along and across, 800 m long."""
    return np.sin(where[:, 0] / 130) + np.cos(where[:, 1] / 130)


@pytest.mark.parametrize(("data_set", "model"), CASES)
def test_the_variance_about_a_slope_is_that_of_gstools(data_set, model):
    where, targets, values = measured(data_set)
    peer = gstools.krige.Universal(theirs(model), where.T, values, "linear")
    found = Posterior(where, np.zeros(len(where)), model, drift=where)
    assert found.variance(targets, drift=targets) + model.nugget == pytest.approx(
        peer(targets.T)[1], rel=SAME)


@pytest.mark.parametrize(("data_set", "model"), CASES)
def test_a_further_reading_takes_off_what_it_does_in_gstools(data_set, model):
    # the covariance between two places shows in how far a reading at one of them lessens the
    # variance at the other; readings 1 to 4 of the targets, outside the others or between them
    where, targets, values = measured(data_set)
    posterior = Posterior(where, np.zeros(len(where)), model, drift=layer(where)[:, None])
    stops, targets = targets[:4], targets[4:]
    at_stops, at_targets = layer(stops)[:, None], layer(targets)[:, None]
    across = posterior.between(targets, stops, drift=(at_targets, at_stops))
    read = posterior.variance(stops, drift=at_stops) + model.nugget
    before = posterior.variance(targets, drift=at_targets) + model.nugget
    for number, stop in enumerate(stops):
        more = np.vstack([where, stop])
        peer = gstools.krige.ExtDrift(theirs(model), more.T, np.append(values, 0.0), layer(more))
        after = peer(targets.T, ext_drift=layer(targets))[1]
        told = before - across[:, number] ** 2 / read[number]
        assert told == pytest.approx(after, rel=SAME)


def test_a_slope_and_a_layer_together_are_those_of_pykrige():
    # PyKrige's range of the exponential is three times the parameter here
    where, targets, values = measured("meuse")
    model = CovarianceModel("exponential", 0.0, 0.65, 400.0)
    peer = UniversalKriging(
        *where.T, values, variogram_model="exponential", exact_values=True,
        variogram_parameters={"psill": 0.65, "range": 1200.0, "nugget": 0.0},
        drift_terms=["regional_linear", "specified"], specified_drift=[layer(where)])
    estimate, variance = peer.execute("points", *targets.T,
                                      specified_drift_arrays=[layer(targets)])
    drift = tuple(np.column_stack([one, layer(one)]) for one in (where, targets))
    errors = np.zeros(len(where))
    posterior = Posterior(where, errors, model, drift=drift[0])
    assert posterior.variance(targets, drift=drift[1]) == pytest.approx(variance, rel=SAME)
    drawn = conditional_draws(where, values, errors, model, targets, drift=drift, draws=10_000)
    # five standard errors of a mean and of a variance
    assert (np.abs(drawn.mean(axis=0) - estimate) < 5 * np.sqrt(variance / 10_000)).all()
    assert drawn.var(axis=0) == pytest.approx(variance, rel=5 * np.sqrt(2 / 10_000))
