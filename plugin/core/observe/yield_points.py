"""Yield-monitor records: dry yield from grain flow, and which records to leave out and why."""
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from ..long_call import long_call
from ..problems import InputProblem

BLOCK = 5000  # records compared with their neighbours between two ticks: some 50 ms
# Standard moisture, percent wet basis: University of Wisconsin Extension, Bushels and test weight;
# sorghum second-hand.
STANDARD_MOISTURE = {"corn": 15.5, "soybean": 13.0, "wheat": 13.5, "sorghum": 14.0}
KEPT = "kept"
REASONS = (KEPT, "no yield", "outside the field", "start or end of a pass", "narrow swath",
           "sudden change of speed", "moisture out of range", "yield out of range",
           "far from the mean", "unlike its neighbours")


@dataclass(frozen=True)
class CleaningLimits:
    """Where a record stops being believed. Every limit can be changed.

    pass_end_s       seconds left out at either end of a pass (this program's own choice)
    swath_share      least share of the usual swath (from memory)
    speed_change     greatest relative change of speed from one record to the next (from memory)
    moisture         least and greatest moisture, percent (own choice)
    low_share        least share of the field's median yield (own choice)
    high_share       greatest multiple of the 98th percentile (own choice)
    deviations       greatest distance from the mean, standard deviations (Vega et al. 2019,
                     Precision Agriculture 20:1030-1044; the figure 3 from memory)
    neighbours       records that a record is compared with
    local_deviations, local_share   a record is unlike its neighbours when it is further from
                     their median than both of these: robust standard deviations, share of it
    cluster_share    a record stays where more than this share of its neighbours would go too,
                     so that a real hole in the crop is kept (own choice: most of the
                     neighbours of a record that is unlike them cannot be unlike themselves)
    """
    pass_end_s: float = 4.0
    swath_share: float = 0.5
    speed_change: float = 0.2
    moisture: tuple = (7.0, 35.0)
    low_share: float = 0.05
    high_share: float = 2.0
    deviations: float = 3.0
    neighbours: int = 20
    local_deviations: float = 3.0
    local_share: float = 0.15
    cluster_share: float = 0.2


def dry_yield_kg_per_m2(flow_kg_s, interval_s, distance_m, swath_m, moisture_percent, crop):
    """Return dry yields at the crop's standard moisture from grain flow, kg per m2.

    NaN where distance or swath is 0 or a value is missing.

    Raises   InputProblem: the crop has no standard moisture in STANDARD_MOISTURE
    Source   mass over area; moisture (100 - M) / (100 - standard): Colorado State University
             Extension (2012)
    """
    if crop not in STANDARD_MOISTURE:
        raise InputProblem(f"There is no standard moisture for {crop}; known are "
                           f"{', '.join(sorted(STANDARD_MOISTURE))}. Give dry yields instead.")
    area = np.asarray(distance_m, float) * np.asarray(swath_m, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        wet = np.asarray(flow_kg_s, float) * np.asarray(interval_s, float) / area
    wet = np.where(area > 0, wet, np.nan)
    return wet * (100 - np.asarray(moisture_percent, float)) / (100 - STANDARD_MOISTURE[crop])


def clean_yield(positions_m, yields, *, inside, passes=None, interval_s=None, distance_m=None,
                swath_m=None, moisture=None, limits=None, tick=None):
    """Return the reason each record is left out, or KEPT; the first reason that applies counts.

    Records are taken in the order given, which is the order of harvest. A check whose column is
    missing (None, or NaN in a record) passes. The limits from the spread of the yields are
    taken among the records that earlier checks kept. Memory and time grow linearly.

    Parameters
        positions_m   (n, 2) metres
        yields        (n,) any unit, NaN where there is none
        inside        (n,) bool, inside the field
        passes        (n,) number of the pass
        interval_s, distance_m, swath_m, moisture   (n,) seconds, metres, metres, percent
        limits        CleaningLimits, or None for the defaults
        tick          called with the fraction done; may raise Stopped
    Returns  (n,) int index into REASONS
    Raises   InputProblem: no record has a yield above 0
    Source   order of steps: Simbahan, Dobermann and Ping (2004), Agronomy Journal 96:1091-1102;
             list of filters: Sudduth and Drummond (2007), Agronomy Journal 99:1471-1482
    """
    limits, tick = limits or CleaningLimits(), tick or (lambda fraction: None)
    yields = np.asarray(yields, float)
    reason = np.zeros(len(yields), int)

    def leave_out(mask, name):
        tick(0.0)
        reason[(reason == 0) & mask] = REASONS.index(name)

    leave_out(~(np.isfinite(yields) & (yields > 0)), "no yield")
    if reason.all():
        raise InputProblem(f"None of {len(yields)} yield records holds a yield above 0.")
    leave_out(~np.asarray(inside, bool), "outside the field")
    leave_out(_near_pass_end(passes, interval_s, limits.pass_end_s, len(yields)),
              "start or end of a pass")
    leave_out(_narrow(swath_m, limits.swath_share, len(yields)), "narrow swath")
    leave_out(_speed_jump(passes, interval_s, distance_m, limits.speed_change, len(yields)),
              "sudden change of speed")
    if moisture is not None:
        moisture = np.asarray(moisture, float)
        leave_out((moisture < limits.moisture[0]) | (moisture > limits.moisture[1]),
                  "moisture out of range")
    kept = yields[reason == 0]
    if len(kept):
        leave_out((yields < limits.low_share * np.median(kept))
                  | (yields > limits.high_share * np.percentile(kept, 98)), "yield out of range")
        kept = yields[reason == 0]
        leave_out(np.abs(yields - kept.mean()) > limits.deviations * kept.std(),
                  "far from the mean")
    for half in (0, 1):
        kept = np.flatnonzero(reason == 0)
        unlike = _unlike_neighbours(np.asarray(positions_m, float)[kept], yields[kept], limits,
                                    lambda part, half=half: tick((half + part) / 2))
        reason[kept[unlike]] = REASONS.index("unlike its neighbours")
    tick(1.0)
    return reason


def _near_pass_end(passes, interval_s, pass_end_s, count):
    near = np.zeros(count, bool)
    known = np.zeros(count, bool) if passes is None else np.isfinite(np.asarray(passes, float))
    if not known.any():
        return near
    passes = np.asarray(passes, float)[known]
    interval = np.ones(count) if interval_s is None else np.nan_to_num(interval_s, nan=1.0)
    interval = interval[known]
    elapsed = np.cumsum(interval)
    starts = np.flatnonzero(np.concatenate([[True], np.diff(passes) != 0]))
    ends = np.concatenate([starts[1:], [len(passes)]]) - 1
    length = np.diff(np.concatenate([starts, [len(passes)]]))
    since_start = elapsed - np.repeat(elapsed[starts] - interval[starts], length)
    to_end = np.repeat(elapsed[ends], length) - elapsed + interval
    near[known] = (since_start <= pass_end_s) | (to_end <= pass_end_s)
    return near


def _narrow(swath_m, share, count):
    if swath_m is None or not np.isfinite(np.asarray(swath_m, float)).any():
        return np.zeros(count, bool)
    swath = np.asarray(swath_m, float)
    return swath < share * np.nanpercentile(swath, 90)


def _speed_jump(passes, interval_s, distance_m, share, count):
    if interval_s is None or distance_m is None:
        return np.zeros(count, bool)
    with np.errstate(divide="ignore", invalid="ignore"):
        speed = np.asarray(distance_m, float) / np.asarray(interval_s, float)
        change = np.abs(np.diff(speed, prepend=speed[:1])) / np.roll(speed, 1)
    same_pass = np.ones(count, bool)
    if passes is not None:
        same_pass[1:] = np.diff(np.asarray(passes, float)) == 0
    same_pass[:1] = False
    return same_pass & (change > share)


def _unlike_neighbours(positions, yields, limits, tick):
    if len(yields) <= limits.neighbours:
        return np.zeros(len(yields), bool)
    tree = long_call(lambda: cKDTree(positions), tick)
    near = np.empty((len(yields), limits.neighbours), int)
    unlike, clustered = np.zeros((2, len(yields)), bool)
    blocks = [slice(start, start + BLOCK) for start in range(0, len(yields), BLOCK)]
    for done, block in enumerate(blocks):
        tick(0.9 * done / len(blocks))
        near[block] = _others_near(tree, positions[block], block.start, limits.neighbours)
        around = yields[near[block]]
        median = np.median(around, axis=1)
        spread = 1.4826 * np.median(np.abs(around - median[:, None]), axis=1)
        apart = np.abs(yields[block] - median)
        unlike[block] = ((apart > limits.local_deviations * spread)
                         & (apart > limits.local_share * median))
    for done, block in enumerate(blocks):
        tick(0.9 + 0.1 * done / len(blocks))
        clustered[block] = unlike[near[block]].mean(axis=1) > limits.cluster_share
    return unlike & ~clustered


def _others_near(tree, positions, first, count):
    """Numbers (m, count) of the records nearest to m records in a row, themselves left out."""
    _, near = tree.query(positions, k=count + 1)
    # A record is not always its own first neighbour: some share a place.
    itself = near == np.arange(first, first + len(positions))[:, None]
    return np.take_along_axis(near, np.argsort(itself, axis=1, kind="stable"), axis=1)[:, :-1]
