import json
from dataclasses import replace

import numpy as np
import pytest

from plugin.core.grid import Grid
from plugin.core.interpolate import estimate
from plugin.core.interpolate.carried import KEYS, carried
from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.estimate import estimate_surface
from plugin.core.interpolate.map_settings import MapSettings
from plugin.core.observations import Observations
from plugin.core.problems import InputProblem

GRID = Grid(0.0, 100.0, 10.0, 10, 10)
INSIDE = np.ones((10, 10))
INSIDE[0] = 0.0
MODEL = CovarianceModel("exponential", 0.3, 2.0, 20.0)
GENERATOR = np.random.default_rng(2)
PLACES, ERRORS = GENERATOR.uniform(0, 90, (20, 2)), GENERATOR.uniform(0.1, 0.4, 20)
READINGS = Observations.of("Stand", "", PLACES, GENERATOR.normal(20, 2, 20), error_variance=ERRORS)


def layers(places):
    return np.column_stack([np.sin(places[:, 0] / 8), np.cos(places[:, 1] / 9)])


BOTH = MapSettings(linear=True, covariates=("yield", "elevation"), sampled=layers)


def surface(settings):
    made = estimate_surface(READINGS, GRID, INSIDE, model=MODEL, settings=settings)
    return replace(made, account=json.loads(json.dumps(made.account)))  # as it comes from a file


@pytest.mark.parametrize(("settings", "figures"), [
    (MapSettings(linear=True), lambda places: places),
    (MapSettings(covariates=("yield", "elevation"), sampled=layers), layers),
    (BOTH, lambda places: np.hstack([places, layers(places)]))], ids=["slope", "layers", "both"])
def test_readings_model_and_drift_come_back_as_they_went_in(settings, figures):
    known = carried(surface(settings))
    positions, values, errors, model = known.readings
    assert (positions.tolist(), values.tolist(), errors.tolist()) == (
        PLACES.tolist(), READINGS.values.tolist(), ERRORS.tolist())
    assert model == MODEL
    cells = np.array([10, 37, 99])
    assert known.drift_at_readings.tolist() == figures(PLACES).tolist()
    assert known.drift_in(cells).tolist() == figures(GRID.centres(cells)).tolist()
    assert known.drift_toward(cells)[1].tolist() == known.drift_in(cells).tolist()


def test_a_constant_mean_has_none():
    known = carried(surface(MapSettings()))
    assert known.drift is known.drift_at_readings is known.drift_in([3]) is None
    assert known.drift_toward([3]) is None


def test_a_cell_in_the_field_without_a_figure_is_refused_by_the_layers_name():
    made = surface(BOTH)
    made.covariates[1, 0, 0] = np.nan  # outside the field
    carried(made)
    made.covariates[1, 3:5, 7] = np.nan
    with pytest.raises(InputProblem, match=(
            "The mean of Stand follows elevation, of which the surface holds no figure in 2 of the "
            "90 cells of the field. Make it again with a raster of elevation that covers")):
        carried(made)


def test_of_very_many_readings_none_are_carried_nor_their_drift(monkeypatch):
    monkeypatch.setattr(estimate, "GLOBAL_MOST", 19)
    made = surface(BOTH)
    assert made.covariates is None and made.account["sites"] is None
    assert made.account["drift"] == ["easting", "northing", "yield", "elevation"]
    with pytest.raises(InputProblem, match="Stand does not carry its readings"):
        carried(made)


def test_what_is_carried_is_held_under_the_keys_that_are_named():
    # whoever makes another layer of a surface, such as a chance, leaves these out
    with_drift, plain = (set(surface(one).account) for one in (BOTH, MapSettings()))
    assert with_drift - plain == {"drift", "linear", "covariates"}
    assert set(KEYS) == {"sites", "linear", "covariates"}


def test_a_mean_that_the_drift_does_not_help_carries_the_readings_alone():
    readings = Observations.of("Stand", "", PLACES, np.random.default_rng(6).normal(20, 1, 20))
    made = estimate_surface(readings, GRID, INSIDE, settings=BOTH)
    assert made.account["method"] == "mean of the readings"
    assert made.covariates is None and carried(made).drift is None
