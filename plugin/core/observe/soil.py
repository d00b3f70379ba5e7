"""Soil samples: whether a core is as deep as its result asks for, and how sure a pH is."""
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..decide.data_table import read_data_table
from ..problems import InputProblem
from ..units import convert

TABLES = Path(__file__).with_name("tables")
FITS, NO_DEPTH, STARTS_BELOW, TOO_SHALLOW, TOO_DEEP = range(5)
ACID_SURFACE = 0.5  # pH below the sample's own that is worth a word: this program's own choice
_ROUNDING_M = 1e-6


@dataclass(frozen=True)
class CoreDepth:
    """How deep a core must go to be used for what it was taken for, metres.

    usual_m          the depth people aim at
    top_at_most_m    the core begins at the surface, or no deeper than this
    least_m, most_m  its bottom lies between these, both included
    source           where the depth comes from
    """
    core: str
    usual_m: float
    top_at_most_m: float
    least_m: float
    most_m: float
    source: str


def core_depth(core):
    """Return the CoreDepth of a kind of core: "short", "nitrate" or "surface".

    Raises   InputProblem: the table has no such kind
    Source   each row of tables/sample_depths.csv
    """
    rows = {row[0]: row[1:] for row in read_data_table("sample_depths", TABLES).rows}
    if core not in rows:
        raise InputProblem(f"There is no kind of core called {core}; there are "
                           f"{', '.join(rows)}.")
    *depths_in, source = rows[core]
    return CoreDepth(core, *(float(convert(float(depth), "in", "m")) for depth in depths_in),
                     source)


def judge_depths(core, top_m, bottom_m):
    """Return for each sample whether its depth fits: FITS, or the first reason why it does not.

    A sample without a top is taken to begin at the surface; one without a bottom is NO_DEPTH.

    Parameters
        core             "short", "nitrate" or "surface"
        top_m, bottom_m  (n,) metres below the surface, NaN where not known
    Returns  (n,) whole numbers: FITS, NO_DEPTH, STARTS_BELOW, TOO_SHALLOW, TOO_DEEP
    """
    wanted = core_depth(core)
    top_m = np.nan_to_num(np.asarray(top_m, float), nan=0.0)
    bottom_m = np.asarray(bottom_m, float)
    return np.select(
        [~np.isfinite(bottom_m), top_m > wanted.top_at_most_m + _ROUNDING_M,
         bottom_m < wanted.least_m - _ROUNDING_M, bottom_m > wanted.most_m + _ROUNDING_M],
        [NO_DEPTH, STARTS_BELOW, TOO_SHALLOW, TOO_DEEP], FITS)


def ph_error_variance(methods):
    """Return the error variance of each pH by how it was found; 0 where that is not known.

    Parameters
        methods  (n,) of laboratory, meter, slurry, insertion, strip; None or "" where not known
    Source   the head of tables/ph_error.csv
    """
    errors = {method: float(error) for method, error
              in read_data_table("ph_error", TABLES).rows}
    return np.array([errors.get(method, 0.0)**2 for method in methods], float)


def acid_surface(surface_ph, sample_ph):
    """Return where the surface is more acid than the sample below it by over ACID_SURFACE.

    A deep sample can hide an acid layer: 2 in of pH 5.0 over 4 in of 6.5 average 6.0. Not known,
    and so False, where either is missing. Values are compared as they were read: a field meter
    may lie off the laboratory by some tenths.

    Parameters
        surface_ph, sample_ph  (n,) NaN where not known
    """
    with np.errstate(invalid="ignore"):
        return np.asarray(surface_ph, float) < np.asarray(sample_ph, float) - ACID_SURFACE
