"""One soil result as figures and words: what the summary keeps and the report prints."""
from collections import Counter

from ..observe.clustered import mean_over_stops
from ..observe.soil import ACID_SURFACE
from ..units import convert
from .figures import figure

DIGITS = 1  # decimals of every soil result: laboratories print no more


def soil_account(name, observations, *, methods, bottom_m, depth_unit, left_out, warnings,
                 acid_surfaces=0):
    """Return the account of one quantity at the samples that were used.

    The interval of the mean is that of the samples as they were placed: where they were put at
    the bad spots, so is the mean.

    Parameters
        name           key of the quantity
        observations   Observations of it
        methods        how each was found
        bottom_m       (n,) depth to which each sample went, metres
        depth_unit     in which depths are told
        left_out       number of samples with a result that is not used
        warnings       sentences
        acid_surfaces  samples whose surface is much more acid than the rest
    """
    found = mean_over_stops(range(len(observations)), observations.values)
    depths = convert(bottom_m, "m", depth_unit)
    said = list(warnings)
    if acid_surfaces:
        said.append(f"At {acid_surfaces} of the samples the surface is more than {ACID_SURFACE:g} "
                    "pH more acid than the whole sample, which can hide an acid layer.")
    return {
        "name": name, "title": observations.name,
        "samples": figure(len(observations)), "left_out": figure(left_out),
        "depth": _between(depths.min(), depths.max(), depth_unit),
        "mean": _result(found.mean, observations.unit),
        "interval": None if found.low is None else _between(found.low, found.high,
                                                            observations.unit),
        "range": _between(observations.values.min(), observations.values.max(),
                          observations.unit),
        "methods": ", ".join(f"{method or 'not entered'} {count}" for method, count
                             in sorted(Counter(methods).items())),
        "warnings": said}


def _result(value, unit):
    return {**figure(value, unit), "text": f"{value:.{DIGITS}f} {unit}".strip()}


def _between(low, high, unit):
    low, high = _result(low, unit), _result(high, unit)
    return {"low": low, "high": high, "text": low["text"] if low["text"] == high["text"]
            else f"{low['text']} to {high['text']}"}
