"""The hard layer in one penetrometer profile: top, bottom, thickness and peak."""
from dataclasses import dataclass

import numpy as np

from ..observations import ABOVE, BELOW, EXACT
from ..problems import InputProblem

HOLD_M = 0.05  # a crossing counts once resistance stays over the limit this deep (or 2 readings)
JOIN_M = 0.05  # two hard runs closer than this are one pan
REFUSALS = ("no", "stone", "layer")


@dataclass(frozen=True)
class Pan:
    """What one insertion says of the pan; depths in metres, peak in the profile's own unit.

    kind             none, pan, open (still hard at the deepest reading), surface (hard from the
                     first reading), stone (stopped, no pan seen) or felt
    top_m            depth where resistance first stays over the limit; of a censored one, the
                     depth it lies above or below; NaN only where nothing is known
    top_censoring    EXACT, ABOVE (deeper than top_m) or BELOW (shallower than top_m)
    bottom_m         depth where it falls below the limit again; NaN where there is no pan
    bottom_censoring EXACT or ABOVE (deeper than bottom_m)
    peak, peak_m     greatest resistance inside the pan and its depth; NaN without a pan
    reached_m        how deep was looked
    """
    kind: str
    top_m: float
    top_censoring: int
    bottom_m: float
    bottom_censoring: int
    peak: float
    peak_m: float
    reached_m: float

    @property
    def found(self):
        """Whether a hard layer was met."""
        return self.kind in ("pan", "open", "surface", "felt")

    @property
    def thickness_m(self):
        """Bottom less top; NaN where either is not known exactly."""
        known = self.top_censoring == EXACT and self.bottom_censoring == EXACT
        return self.bottom_m - self.top_m if known else float("nan")


def pan_of_profile(depths_m, resistances, *, limit, refusal="no"):
    """Return the pan of one profile: the first run of readings that stays over the limit.

    The profile is sorted by depth and repeats of a depth averaged. Depths at the limit are
    interpolated linearly between readings. A run over the limit counts once it holds for 5 cm
    or two readings, or lasts to the deepest one, so that a stone brushed in passing is no pan;
    runs parted by less than 5 cm are joined; a lower, separate run is not part of the
    pan. A profile that never holds is no depth: the top is deeper than its last reading. One hard
    from the first reading has its top above that reading. After a stop on a stone, the last
    reading is the stone's and is left out, a run that only leads up to it is no pan, and what
    was not reached is unknown. A hard layer that stopped the probe is a pan that begins where
    it stopped, if no reading passed the limit before; its bottom lies deeper.

    Parameters
        depths_m      (n,) metres below the surface, any order, n at least 1
        resistances   (n,) any unit of pressure, the same as `limit`
        limit         resistance from which the soil counts as hard, above 0
        refusal       "no", "stone" or "layer"
    Returns  Pan
    Raises   InputProblem: no reading, differing lengths, a value not finite or negative
    Source   common practice (top and bottom where the reading passes the limit going down and
             coming back); interpolating, holding and joining are this program's own rules
    """
    depths, resistance = _checked(depths_m, resistances, limit, refusal)
    if refusal == "stone":
        depths, resistance = depths[:-1], resistance[:-1]
        if not len(depths):
            return _no_pan("stone", 0.0)
    run = _first_run(_runs(depths, resistance, limit), stone=refusal == "stone")
    if run is None and refusal == "layer":
        return _stopped(depths[-1], float(resistance[-1]))
    if run is None:
        return _no_pan("stone" if refusal == "stone" else "none", depths[-1])
    inside = slice(run.first, run.last + 1)
    at = run.first + int(np.argmax(resistance[inside]))
    top_censoring = BELOW if run.first == 0 else EXACT
    bottom_censoring = ABOVE if run.last == len(depths) - 1 else EXACT
    kind = "surface" if run.first == 0 else "open" if bottom_censoring == ABOVE else "pan"
    return Pan(kind, run.top_m, top_censoring, run.bottom_m, bottom_censoring,
               float(resistance[at]), float(depths[at]), float(depths[-1]))


def felt_pan(top_m, bottom_m, deepest_m, *, refusal="no"):
    """Return the pan felt by hand: a top, perhaps a bottom, or nothing down to the deepest point.

    NaN stands for "not felt". Without a top the pan is deeper than `deepest_m`, unless a hard
    layer stopped the probe there, which is then its top; after a stone what lies deeper is
    unknown. Without a bottom the bottom is deeper than `deepest_m`, or than the top where that
    is not known.

    Raises   InputProblem: nothing at all is known, the bottom lies above the top, or a bottom came
             without a top
    """
    if np.isfinite(bottom_m) and not np.isfinite(top_m):
        raise InputProblem(f"A bottom was felt at {bottom_m:.3f} m, but no top. Enter the depth "
                           "where it got hard.")
    if np.isfinite(top_m):
        if np.isfinite(bottom_m) and bottom_m < top_m:
            raise InputProblem(f"The felt bottom, {bottom_m:.3f} m, lies above the felt top, "
                               f"{top_m:.3f} m.")
        reached_m = np.nanmax([top_m, bottom_m, deepest_m])
        known = np.isfinite(bottom_m)
        return Pan("felt", top_m, EXACT, bottom_m if known else reached_m,
                   EXACT if known else ABOVE, float("nan"), float("nan"), float(reached_m))
    if np.isfinite(deepest_m) and deepest_m > 0:
        if refusal == "layer":
            return felt_pan(deepest_m, float("nan"), deepest_m)
        return _no_pan("stone" if refusal == "stone" else "none", deepest_m)
    raise InputProblem("A felt reading needs the depth where it got hard, or how deep the probe "
                       "went without meeting anything hard.")


def _stopped(reached_m, peak):
    return Pan("open", float(reached_m), EXACT, float(reached_m), ABOVE, peak, float(reached_m),
               float(reached_m))


def _no_pan(kind, reached_m):
    nan = float("nan")
    return Pan(kind, float(reached_m), ABOVE, nan, ABOVE, nan, nan, float(reached_m))


def _checked(depths_m, resistances, limit, refusal):
    depths, resistance = np.asarray(depths_m, float), np.asarray(resistances, float)
    if depths.shape != resistance.shape or depths.ndim != 1 or not len(depths):
        raise InputProblem(f"A profile of {depths.size} depths came with {resistance.size} "
                           "resistances; it needs one of each, and at least one.")
    if not (np.isfinite(depths).all() and np.isfinite(resistance).all()
            and (depths >= 0).all() and (resistance >= 0).all()):
        raise InputProblem("A profile holds a depth or a resistance that is missing or negative.")
    if not (np.isfinite(limit) and limit > 0):
        raise InputProblem(f"The limit is {limit}; it must be a pressure above 0.")
    if refusal not in REFUSALS:
        raise InputProblem(f"The refusal is {refusal!r}; it must be one of {', '.join(REFUSALS)}.")
    unique, group = np.unique(depths, return_inverse=True)
    return unique, np.bincount(group, resistance) / np.bincount(group)


@dataclass(frozen=True)
class _Run:
    """Readings first to last over the limit, and the depths where they come and go."""
    first: int
    last: int
    top_m: float
    bottom_m: float
    lasts: bool  # to the deepest reading


def _runs(depths, resistance, limit):
    """Every run over the limit from the top down, those parted by less than JOIN_M as one."""
    hard = np.concatenate([[False], resistance >= limit, [False]])
    edges = np.flatnonzero(np.diff(hard.astype(int)))
    runs = []
    for first, last in zip(edges[::2], edges[1::2] - 1):
        lasts = last == len(depths) - 1
        top_m = depths[0] if first == 0 else _crossing(depths, resistance, first - 1, limit)
        bottom_m = depths[-1] if lasts else _crossing(depths, resistance, last, limit)
        if runs and top_m - runs[-1].bottom_m < JOIN_M:
            first, top_m = runs[-1].first, runs.pop().top_m
        runs.append(_Run(int(first), int(last), float(top_m), float(bottom_m), bool(lasts)))
    return runs


def _first_run(runs, *, stone):
    """The first run that holds, or None; what only leads up to a stone does not hold."""
    for run in runs:
        holds = run.last > run.first or run.bottom_m - run.top_m >= HOLD_M
        if run.lasts and stone:
            holds = run.bottom_m - run.top_m >= HOLD_M
        elif run.lasts:
            holds = True
        if holds:
            return run
    return None


def _crossing(depths, values, before, limit):
    """Depth between reading `before` and the next one where the value passes the limit."""
    share = (limit - values[before]) / (values[before + 1] - values[before])
    return depths[before] + share * (depths[before + 1] - depths[before])
