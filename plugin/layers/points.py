"""Point layers to observations."""
import numpy as np

from ..core.long_call import long_call
from ..core.observations import ABOVE, BELOW, EXACT, Observations
from ..core.problems import InputProblem
from .nulls import number_of
from .polygons import features_of

ROWS = 1000  # read between two ticks: some 20 ms
CENSORING = {"": EXACT, "above": ABOVE, "below": BELOW, "0": EXACT, "1": ABOVE, "-1": BELOW}


def read_observations(source, field, *, error_field="", censor_field="", name="", unit="",
                      tick=None):
    """Return the Observations of a point source, and the feature ids left out.

    A feature without a point or without a finite value is left out; so is one whose standard
    error is missing, negative or not finite where errors are given.

    Parameters
        source        QgsProcessingFeatureSource of points, metres
        field         column of the values
        error_field   column of their standard errors, or "" for none
        censor_field  column that says above or below where the value is only a limit, or ""
        tick          called with the fraction of rows read; may raise Stopped
    Returns  (Observations, list of feature ids left out)
    Raises   InputProblem: a column is not there, nothing can be used, or a word of censoring is
             not known
    """
    for column in filter(None, (field, error_field, censor_field)):
        if column not in source.fields().names():
            raise InputProblem(f"{source.sourceName()} has no column {column}; it has "
                               f"{', '.join(source.fields().names())}.")
    places, values, errors, censoring, fids, left_out = [], [], [], [], [], []
    rows = max(source.featureCount(), 1)
    for done, feature in enumerate(features_of(source)):
        if tick is not None and done % ROWS == 0:
            tick(min(done / rows, 1.0))
        value = number_of(feature[field])
        error = number_of(feature[error_field]) if error_field else 0.0
        geometry = feature.geometry()
        if geometry.isEmpty() or not np.isfinite(value) \
                or not 0 <= error < np.inf:
            left_out.append(feature.id())
            continue
        point = geometry.centroid().asPoint()
        places.append((point.x(), point.y()))
        values.append(value)
        errors.append(error * error)  # infinite, not an exception, of an error beyond all bounds
        censoring.append(_censoring(feature, censor_field, source))
        fids.append(feature.id())
    if not values:
        raise InputProblem(f"{source.sourceName()}, {field}: none of {len(left_out)} rows has a "
                           "point and a value. Choose the layer and the column that hold the "
                           "readings.")
    layer = source.sourceName()
    return long_call(lambda: Observations.of(
        name or field, unit, places, values, error_variance=errors, censoring=censoring,
        labels=[f"{layer}, row {fid}" for fid in fids]), tick, 1.0), left_out


def _censoring(feature, field, source):
    if not field:
        return EXACT
    value = feature[field]
    word = "" if value is None or str(value) == "NULL" else str(value).strip().lower()
    if word not in CENSORING:
        raise InputProblem(f"{source.sourceName()}, row {feature.id()}, {field}: {word!r} is not "
                           "above, below or empty.")
    return CENSORING[word]
