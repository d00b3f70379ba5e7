"""Positions of a source to the record's CRS, and whether they make sense there."""
import numpy as np
from osgeo import ogr, osr

from ...core.problems import InputProblem
from ...layers.strict_ogr import spatial_reference, strict_ogr

WGS84 = "EPSG:4326"
NEAR_M = 50_000.0  # readings whose middle is farther from the field are asked about: our choice
AS_WRITTEN, SWAPPED = "as_written", "swapped"
AT_ONCE = 20_000


def to_record(positions, crs, record, tick=None):
    """Return positions (n, 2) in the record's CRS, metres to the millimetre; NaN where none.

    Parameters
        positions  easting or longitude before northing or latitude
        crs        of the positions, authority id or WKT
        tick       called with the fraction done; may raise Stopped
    Raises   InputProblem: the CRS is not known
    """
    found = np.full(positions.shape, np.nan)
    with strict_ogr():
        try:
            source = spatial_reference(crs)
            turn = osr.CoordinateTransformation(source, spatial_reference(record.crs_wkt))
        except RuntimeError as problem:
            raise InputProblem(f"The CRS of the positions is not known: {problem}.") from problem
        usable = np.isfinite(positions).all(axis=1)
        if source.IsGeographic():
            usable &= (np.abs(positions[:, 1]) <= 90) & (np.abs(positions[:, 0]) <= 360)
        rows = np.flatnonzero(usable)
        for start in range(0, len(rows), AT_ONCE):
            part = rows[start:start + AT_ONCE]
            found[part] = _turned(turn, positions[part])
            if tick is not None:
                tick((start + len(part)) / len(rows))
    found[~np.isfinite(found).all(axis=1)] = np.nan
    return np.round(found, 3)


def _turned(turn, positions):
    try:
        return np.array(turn.TransformPoints(positions.tolist()))[:, :2]
    except RuntimeError:  # one that cannot be turned stops them all: one by one, then
        return np.array([_one(turn, place) for place in positions.tolist()])


def _one(turn, place):
    try:
        return turn.TransformPoint(*place)[:2]
    except RuntimeError:
        return np.nan, np.nan


def question_of_axes(positions, crs, record):
    """Return what must be asked about positions that do not lie near the field, "" if they do.

    Parameters
        positions  (n, 2) as written, some of them will do
    """
    as_written = _distance_m(to_record(positions, crs, record), record)
    if as_written <= NEAR_M:
        return ""
    swapped = _distance_m(to_record(positions[:, ::-1], crs, record), record)
    how_far = "cannot be places on earth" if not np.isfinite(as_written) else \
        f"lie {as_written / 1000:,.0f} km from the field"
    if swapped <= NEAR_M:
        return (f"As they are written, the positions {how_far}; with longitude and latitude "
                f"swapped they lie {swapped / 1000:,.1f} km from its middle. Set AXES to swapped "
                "to read them so, or to as_written where they are right.")
    return (f"The positions {how_far}. Check SOURCE_CRS, the columns and the record; set AXES to "
            "as_written where they are right.")


def _distance_m(positions, record):
    there = np.isfinite(positions).all(axis=1)
    if there.sum() * 2 < len(positions) or not there.any():
        return np.inf
    with strict_ogr():
        west, east, south, north = ogr.CreateGeometryFromWkb(record.boundary_wkb).GetEnvelope()
    middle = np.median(positions[there], axis=0)
    return float(np.hypot(middle[0] - (west + east) / 2, middle[1] - (south + north) / 2))


def is_geographic(crs):
    """Return whether a CRS, authority id or WKT, counts in degrees.

    Raises   InputProblem: it is not known
    """
    with strict_ogr():
        try:
            return bool(spatial_reference(crs).IsGeographic())
        except RuntimeError as problem:
            raise InputProblem(f"The CRS {crs[:60]!r} is not known.") from problem
