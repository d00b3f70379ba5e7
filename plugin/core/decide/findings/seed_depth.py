"""Seed depth: seeds off the advised depth, at thin stops and among those that failed."""
import numpy as np

from ...observe.seed_advice import advised_depths
from .case import Case, Trial
from .linked import interval_words, linked_trial
from .paired import TEST, enough_pairs, paired_difference
from .walk import Spots

TITLE = "Seed depth"
NEXT = ("Dig ten seeds in good and in thin places of the same rows, and in the gaps; measure from "
        "the surface to the seed. Check down force, closing and speed.")


def seed_depth(walk, tick=None):
    """Return the Case of the seed depth.

    A seed's strain is how far it lies outside the depths advised for the crop; where none are
    known, how far it lies from the middle seed.
    """
    if not len(walk.seed_depths):
        return Case("seed_depth", TITLE, next_step=NEXT, not_looked_at=("No seeds were dug.",))
    low, high, advice = _range(walk)
    strain = _outside(walk.seed_depths.values, low, high)
    off = np.count_nonzero(strain)
    said = (f"{off} of {len(strain)} seeds dug lie outside {low:.1f} to {high:.1f} "
            f"{walk.depth_unit}{advice}.",) if advice else ()
    pairs = (linked_trial(walk, Spots(walk.seed_depths.positions_m, strain),
                          f"seeds lie further from {_depth_words(low, high, walk)}"),
             _failed(walk, low, high, tick))
    return Case("seed_depth", TITLE, tuple(trial for trial, _ in pairs if trial),
                next_step=NEXT, not_looked_at=tuple(why for _, why in pairs if why),
                seen_for=said if off else (), seen_against=() if off else said)


def _range(walk):
    advice = advised_depths(walk.crop, walk.depth_unit)
    if advice is None:
        middle = float(np.median(walk.seed_depths.values))
        return middle, middle, ""
    return advice.low, advice.high, f", the depths advised ({advice.source})"


def _depth_words(low, high, walk):
    return f"{low:.1f} {walk.depth_unit}, the middle seed's depth" if low == high else \
        f"the {low:.1f} to {high:.1f} {walk.depth_unit} advised"


def _outside(values, low, high):
    return np.maximum(np.maximum(low - values, values - high), 0.0)


def _failed(walk, low, high, tick):
    """The Trial of seeds that had not come up against those that had; or why there is none."""
    seeds = walk.seeds
    if not enough_pairs(seeds.stops, seeds.kinds):
        return None, ("Too few stops have seeds that came up beside some that did not to compare "
                      "their depths.")
    found = paired_difference(seeds.stops, seeds.kinds, _outside(seeds.values, low, high),
                              tick=tick)
    unit, way = walk.depth_unit, "further from" if found.difference > 0 else "nearer to"
    return Trial(
        test=TEST, p=found.p, toward=found.difference > 0,
        effect=f"Seeds that had not come up lay {abs(found.difference):.2f} {unit} {way} "
               f"{_depth_words(low, high, walk)} than those up at the same stop, over "
               f"{found.stops} stop{'s' * (found.stops > 1)} "
               f"({interval_words(found.low, found.high, unit, 2)})."), ""
