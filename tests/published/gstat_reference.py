"""What is stored in gstat/: see the README there."""
import json
from functools import cache
from pathlib import Path

import numpy as np

from plugin.core.interpolate.covariance import CovarianceModel
from plugin.core.interpolate.variogram import Variogram

FOLDER = Path(__file__).parent / "gstat"


@cache
def figures():
    return json.loads((FOLDER / "figures.json").read_text("utf-8"))


@cache
def table(name):
    """A CSV file as a dict of columns."""
    lines = [line for line in (FOLDER / f"{name}.csv").read_text("utf-8").splitlines()
             if not line.startswith("#")]
    numbers = np.array([[float(cell) for cell in line.split(",")] for line in lines[1:]])
    return dict(zip(lines[0].split(","), numbers.T))


def places(name):
    """The (n, 2) positions of a CSV file."""
    return np.column_stack([table(name)["x"], table(name)["y"]])


def variogram(data_set, name, heading=0.0):
    """A stored variogram, of one heading where there are several."""
    stored = {key: np.array(part, float)
              for key, part in figures()[data_set]["variograms"][name].items()}
    of_heading = stored["direction"] == heading
    distance = stored["distance"][of_heading]
    return Variogram(distance, stored["semivariance"][of_heading],
                     stored["pairs"][of_heading].astype(int), distance, float(distance[-1]),
                     "matheron")


def model(stored):
    """The CovarianceModel of a stored model or fit."""
    keys = {"family", "nugget", "partial_sill", "range_m", "long_sill", "long_range_m"}
    return CovarianceModel(**{key: stored[key] for key in keys & stored.keys()})
