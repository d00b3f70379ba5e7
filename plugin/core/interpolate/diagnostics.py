"""What shows whether a surface's model suits its readings, as plain data for a figure or a file."""
import numpy as np

from ..observations import EXACT
from ..problems import InputProblem
from .covariance import CovarianceModel
from .duplicates import merge_places
from .leave_one_out import leave_one_out
from .variogram import Direction, experimental_variogram, snapped_variogram

EXACT_MOST = 20_000     # readings whose pairs are all looked at; more are snapped to a fine grid
LEFT_OUT_MOST = 1_000   # readings left out one by one; of more, so many at random
QUARTER_DEG = 45.0      # either side of the rows and of the line across them
CURVE_POINTS = 61       # of the model's curve from 0 to the cutoff


def diagnostics(observations, model, *, drift_at=None, heading_deg=None, seed=0, tick=None):
    """Return how readings vary by distance beside their model, and each reading predicted.

    Readings at one place are averaged first. Those known only to lie above or below a figure
    cannot be drawn in either and are left out, with their number. The readings' own errors are
    taken off the variogram, as they are no part of the model. Where fewer than 2 places are left,
    or no two of them are near, "variogram" is None; where nothing varies, "left_out".

    Parameters
        observations  Observations
        model         CovarianceModel
        drift_at      None, or a function of (k, 2) positions, m, that returns the (k, p) drift
                      there; the variogram is then of what least squares leave of the values
        heading_deg   None, or degrees clockwise from north (of the rows, say)
        seed          of the choice of LEFT_OUT_MOST readings
        tick          called with the fraction done; may raise Stopped
    Returns  dict of plain numbers, words and lists:
        readings          places used
        censored          readings left out of both parts
        variogram         distance_m, semivariance, pairs (of each bin), cutoff_m, estimator,
                          distance_error_m, curve: distance_m and semivariance of the model, the
                          first at distance 0, just off the place itself: the nugget; with a
                          heading, and up to EXACT_MOST readings, directions: heading_deg (that
                          one and across it), distance_m, semivariance and pairs of the pairs
                          within QUARTER_DEG of it, and the model's curve in just that direction
        left_out          x, y, observed, predicted, standard_error, standardised_error of each
    """
    tick = tick or (lambda fraction: None)
    exact = merge_places(observations.subset(observations.censoring == EXACT))
    return {"readings": len(exact),
            "censored": int(np.count_nonzero(observations.censoring != EXACT)),
            "variogram": _variogram(exact, model, drift_at, heading_deg,
                                    lambda part: tick(0.8 * part)),
            "left_out": _left_out(exact, model, drift_at, seed,
                                  lambda part: tick(0.8 + 0.2 * part))}


def surface_diagnostics(surface, observations, *, drift_at=None, heading_deg=None, tick=None):
    """Return the diagnostics of the model that a surface was drawn with.

    `drift_at` and `heading_deg` are those of the settings it was made with; the former counts where
    the surface has a drift.
    """
    return diagnostics(observations, CovarianceModel(**surface.account["model"]), tick=tick,
                       heading_deg=heading_deg,
                       drift_at=drift_at if surface.account.get("drift") else None)


def _variogram(exact, model, drift_at, heading_deg, tick):
    values = exact.values
    headings = ([heading_deg, heading_deg + 90]
                if heading_deg is not None and len(exact) <= EXACT_MOST else [])

    def tick_of(part):
        return None if tick is None else lambda done: tick((part + done) / (1 + len(headings)))

    if drift_at is not None:
        columns = np.column_stack([np.ones(len(exact)), drift_at(exact.positions_m)])
        columns[:, 1:] -= columns[:, 1:].mean(axis=0)
        values = values - columns @ np.linalg.lstsq(columns, values, rcond=None)[0]
    try:
        if len(exact) > EXACT_MOST:
            found = snapped_variogram(exact.positions_m, values,
                                      error_variance=exact.error_variance, tick=tick)
        else:
            found = experimental_variogram(exact.positions_m, values,
                                           error_variance=exact.error_variance, tick=tick_of(0))
    except InputProblem:  # no pair: the figure says so
        return None
    plain = {**_bins(found), "cutoff_m": found.cutoff_m,
             "estimator": found.estimator, "distance_error_m": found.distance_error_m,
             "curve": _curve(model, found.cutoff_m, model.heading_deg)}
    if headings:
        plain["directions"] = [
            {**_in_direction(exact, values, heading % 180, found.cutoff_m, tick_of(part)),
             "curve": _curve(model, found.cutoff_m, heading)}
            for part, heading in enumerate(headings, start=1)]
    return plain


def _in_direction(exact, values, heading_deg, cutoff_m, tick):
    try:
        found = experimental_variogram(
            exact.positions_m, values, cutoff_m=cutoff_m, error_variance=exact.error_variance,
            direction=Direction(heading_deg, QUARTER_DEG), tick=tick)
    except InputProblem:  # readings in one line make no pair across it
        return {"heading_deg": heading_deg, "distance_m": [], "semivariance": [], "pairs": []}
    return {"heading_deg": heading_deg, **_bins(found)}


def _curve(model, cutoff_m, heading_deg):
    """The model's semivariance of places that lie apart along a heading."""
    apart, heading = np.linspace(0, cutoff_m, CURVE_POINTS), np.radians(heading_deg)
    step = model.stretched([[np.sin(heading), np.cos(heading)]])[0]
    stretch = 1.0 if model.ratio == 1 else np.hypot(*step)  # the same to the last digit
    return {"distance_m": apart.tolist(),
            "semivariance": (model.sill - model.covariance(apart * stretch)).tolist()}


def _bins(found):
    return {"distance_m": found.distances_m.tolist(), "semivariance": found.semivariance.tolist(),
            "pairs": found.pairs.tolist()}


def _left_out(exact, model, drift_at, seed, tick):
    if len(exact) < 2 or model.sill + exact.error_variance.min() <= 0:
        return None
    if len(exact) > LEFT_OUT_MOST:
        picked = np.random.default_rng(seed).choice(len(exact), LEFT_OUT_MOST, replace=False)
        exact = exact.subset(np.sort(picked))
    found = leave_one_out(exact.positions_m, exact.values, exact.error_variance, model,
                          drift=None if drift_at is None else drift_at(exact.positions_m),
                          tick=tick)
    error = np.sqrt(found.variance)
    return {"x": exact.positions_m[:, 0].tolist(), "y": exact.positions_m[:, 1].tolist(),
            "observed": exact.values.tolist(),
            "predicted": (exact.values - found.errors).tolist(),
            "standard_error": error.tolist(),
            "standardised_error": (found.errors / error).tolist()}
