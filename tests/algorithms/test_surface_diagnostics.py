"""What the surface algorithm says of its model beside the surface: DIAGNOSTICS and FIGURES."""
import json
import math

import numpy as np
import pytest
from qgis.core import QgsProcessingException
from qgis.PyQt.QtGui import QImage

from plugin.report import diagnostic_figures
from tests.algorithms.small_calls import stops

FIELDS = "&field=value:double&field=error:double&field=limit:string"
MODEL = '{"family": "matern_3_2", "nugget": 1, "partial_sill": 4, "range_m": 20}'


@pytest.fixture
def readings(layer):
    rows = [(f"Point ({x} {y})", 10 + 3 * math.sin(x / 40) + number % 3, 0.5,
             "above" if number == 5 else None)
            for number, (x, y) in enumerate(stops())]
    return layer("Point", rows, "EPSG:32615", FIELDS)


def test_the_file_tells_the_variogram_and_every_reading_left_out(run, readings, field, out):
    run("surface", INPUT=readings, FIELD="value", ERROR_FIELD="error", CENSOR_FIELD="limit",
        BOUNDARY=field, CELL=20, MODEL=MODEL, SURFACE=out / "s.tif", DIAGNOSTICS=out / "s.json",
        FIGURES=out / "s.png")
    found = json.loads((out / "s.json").read_text("utf-8"))["diagnostics"]
    count = len(stops())
    assert (found["readings"], found["censored"]) == (count - 1, 1)
    assert len(found["left_out"]["x"]) == count - 1
    kept = np.delete(np.array(stops(), float), 5, axis=0)
    assert np.column_stack([found["left_out"]["x"], found["left_out"]["y"]]) == pytest.approx(kept)
    apart = np.linalg.norm(kept[:, None] - kept, axis=-1)
    near = (apart <= found["variogram"]["cutoff_m"])[np.triu_indices(count - 1, 1)]
    assert sum(found["variogram"]["pairs"]) == near.sum()
    # the model that was given: 1 at no distance; 5 - 4 (1 + u) exp(-u) at the cutoff
    curve, u = found["variogram"]["curve"], found["variogram"]["cutoff_m"] / 20
    assert curve["semivariance"][0] == pytest.approx(1, rel=1e-12)
    assert curve["semivariance"][-1] == pytest.approx(5 - 4 * (1 + u) * math.exp(-u), rel=1e-12)
    assert QImage(str(out / "s.png")).width() == 1800


def test_figures_are_returned_where_they_are_asked_for_alone(run, readings, field, out):
    found = run("surface", INPUT=readings, FIELD="value", BOUNDARY=field, CELL=20, METHOD=1,
                SURFACE=out / "s.tif", FIGURES=out / "s.png")
    assert found["FIGURES"] == str(out / "s.png") and "DIAGNOSTICS" not in found
    assert sorted(path.name for path in out.iterdir()) == ["s.png", "s.tif"]


def test_figures_without_matplotlib_are_refused_before_the_work(
        run, readings, field, out, monkeypatch):
    monkeypatch.setattr(diagnostic_figures, "find_spec", lambda name: None)
    with pytest.raises(QgsProcessingException, match="drawn by matplotlib, which this QGIS comes"):
        run("surface", INPUT=readings, FIELD="value", BOUNDARY=field, CELL=20,
            SURFACE=out / "s.tif", FIGURES=out / "s.png")
    assert not list(out.iterdir())
