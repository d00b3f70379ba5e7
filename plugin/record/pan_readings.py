"""Penetrometer profiles and felt depths of a record as observations of the pan."""
from collections import Counter, defaultdict
from dataclasses import dataclass

import numpy as np

from ..core.decide.compaction_rating import passes_limit
from ..core.observations import ABOVE, EXACT
from ..core.observe.pan import felt_pan, pan_of_profile
from ..core.observe.pan_stops import depth_error_variance, median_of_insertions
from ..core.problems import InputProblem
from ..core.units import convert
from ..layers.boundary import inside_mask
from .pan_checks import require_pan_limit, unlike_depths
from .stops import rows_named, scattered_stops, stop_named, stop_numbers, stops_at_one_place

SAME_DEPTH_M = 0.02  # a probe this much short of the tool's reach has looked deep enough
LAYER, PROFILE = "compaction_readings", "compaction_profile"
# Peak of a usual profile outside these: taken for a mistaken unit. psi read as kPa fall below,
# kPa read as psi lie above; common practice, dial gauges end at about 1,000 psi.
LEAST_PEAK_KPA, GREATEST_PEAK_KPA = 700.0, 7_000.0


@dataclass(frozen=True)
class PanAtStop:
    """The pan at one stop, depths in metres; see Pan for kinds and censoring."""
    stop: int
    label: str
    position_m: tuple
    insertions: int
    kind: str
    found: bool
    top_m: float
    top_censoring: int
    bottom_m: float
    bottom_censoring: int
    thickness_m: float
    peak: float
    reached_m: float
    error_variance_m2: float

    def pan_within(self, reach_m):
        """Return whether there is a pan within reach: 1.0, 0.0, or NaN where it is not known.

        It is not known where a stone stopped the probe, or where nothing was met but the probe
        did not go as deep as the tool.
        """
        if self.found:
            return float(self.top_m <= reach_m)
        known = self.kind == "none" and self.reached_m >= reach_m - SAME_DEPTH_M
        return 0.0 if known else float("nan")


@dataclass(frozen=True)
class PanReadings:
    """The pan at every stop of a record, and the insertions behind it.

    limit      in the record's pressure unit
    pans       the Pan of each insertion used
    over_table_limit   of each insertion by gauge that no stone stopped, whether it passes the
                       limit of the rating table within its depth
    moisture   of each insertion used, the soil's state; None where not entered
    warnings   sentences that name layer, rows and remedy
    left_out   number of insertions not used
    """
    limit: float
    stops: tuple
    pans: tuple
    over_table_limit: tuple
    moisture: tuple
    warnings: tuple
    left_out: int

    @property
    def refused(self):
        """Number of insertions that ended on a stone without meeting a pan."""
        return sum(pan.kind == "stone" for pan in self.pans)


def pan_readings(record, *, limit=None, units_checked=False):
    """Return the pan at the stops of a record.

    An insertion without a place, outside the field, in a wheel track, with another cone than most
    or without a usable profile is left out and named. Insertions that share a stop number
    are one stop: the median of their tops and of their bottoms; one that ended on a stone speaks
    only where no other does.

    Parameters
        record         Record
        limit          resistance that counts as hard, in the record's pressure unit; None takes
                       the record's own
        units_checked  the user has looked at the pressures: skip the check of their unit
    Raises   InputProblem: no insertion can be used, no limit, or pressures in another unit
    """
    limit = record.field_value("pan_limit") if limit is None else limit
    if not units_checked:
        require_pan_limit(limit, record.units.pressure)
    table = record.table(LAYER)
    if not len(table["fid"]):
        raise InputProblem("compaction_readings holds no reading. Enter the insertions.")
    profiles = _profiles(record)
    if not units_checked:
        _check_pressures(record, profiles)
    usable, warnings = _usable(record, table)
    pans, fids, problems = [], [], []
    for number in np.flatnonzero(usable):
        try:
            pans.append(_pan(record, table, number, profiles, limit))
            fids.append(number)
        except InputProblem as problem:
            problems.append(f"{LAYER}, row {table['fid'][number]}: {problem} Left out.")
    if not pans:
        raise InputProblem(f"None of {len(usable)} insertions can be used. "
                           f"{(problems + warnings)[0]}")
    used = np.zeros(len(usable), bool)
    used[fids] = True
    warnings += unlike_depths(record, profiles, used)
    over = tuple(
        passes_limit(*profiles[table["reading_id"][number]], depth_unit="m",
                     pressure_unit=record.units.pressure)
        for number, (pan, _) in zip(fids, pans) if pan.kind != "stone"
        and table["means"][number] != "felt" and table["refusal"][number] != "layer")
    stopped = used & (table["refusal"] == "layer")
    if stopped.any():
        warnings.append(f"{LAYER}, {rows_named(table['fid'][stopped])}: stopped by a layer, taken "
                        "for the top of a pan. Dig to tell a pan from rock. Left out of the "
                        "rating.")
    stops = stop_numbers(table, used)
    positions = np.column_stack([table["x"], table["y"]])[used]
    places = (scattered_stops(LAYER, stops, positions)
              + stops_at_one_place(LAYER, stops, positions))
    return PanReadings(limit, _stops(table, used, pans), tuple(pan for pan, _ in pans), over,
                       tuple(table["moisture"][used]), tuple(warnings + problems + places),
                       int(np.count_nonzero(~used)))


def _profiles(record):
    """Depths (m) and resistances of each insertion, by its reading_id."""
    rows = record.table(PROFILE)
    depths_m = convert(rows["depth"], record.units.depth, "m")
    profiles = defaultdict(list)
    for of_insertion, depth_m, resistance in zip(rows["of_insertion"], depths_m,
                                                 rows["resistance"]):
        profiles[of_insertion].append((depth_m, resistance))
    return {key: np.array(profile).T for key, profile in profiles.items()}


def _check_pressures(record, profiles):
    peaks = [profile[1][np.isfinite(profile[1])].max() for profile in profiles.values()
             if np.isfinite(profile[1]).any()]
    if not peaks:
        return
    unit = record.units.pressure
    middle = float(np.median(peaks))
    other = "psi" if unit == "kPa" else "kPa"
    if not LEAST_PEAK_KPA <= float(convert(middle, unit, "kPa")) <= GREATEST_PEAK_KPA:
        raise InputProblem(
            f"{PROFILE}, resistance: half of the profiles peak at {middle:,.0f} {unit} or more, "
            f"half at less, which fields hardly show. They look like {other}: convert them to "
            f"{unit}, or, if they are right, say that the units are checked (UNITS_CHECKED).")


def _usable(record, table):
    positions = np.column_stack([table["x"], table["y"]])
    usable = np.ones(len(table["fid"]), bool)
    warnings = []
    cones = Counter(cone for cone, means in zip(table["cone"], table["means"])
                    if means == "gauge" and cone in ("small", "large"))
    usual = cones.most_common(1)[0][0] if cones else None
    other = "large" if usual == "small" else "small"
    checks = (
        (~np.isfinite(positions).all(axis=1), "there is no place on the map. Put a point where the "
                                              "probe went in."),
        (~inside_mask(record.boundary_wkb, positions),
         "the place lies outside the field. Check the point, its CRS or the boundary."),
        (table["place"] == "wheel_track", "taken in a wheel track, which says nothing of the "
                                          "ground beside it."),
        ((table["means"] == "gauge") & (table["cone"] == other),
         f"taken with the {other} cone; most were taken with the {usual} one, and the two do not "
         "compare."))
    for mask, what in checks:
        mask = mask & usable
        if mask.any():
            warnings.append(f"{LAYER}, {rows_named(table['fid'][mask])}: {what} Left out.")
            usable &= ~mask
    dry = usable & (table["moisture"] == "dry")
    if dry.any():
        warnings.append(f"{LAYER}, {rows_named(table['fid'][dry])}: taken in dry soil, which reads "
                        "harder than it is for roots. Used; probe again when the soil is moist.")
    return usable, warnings


def _pan(record, table, number, profiles, limit):
    """The Pan of one insertion, and the error variance of its depths, m2."""
    depth = record.units.depth
    if table["means"][number] == "felt":
        top_m, bottom_m, deepest_m = (float(convert(table[name][number], depth, "m"))
                                      for name in ("felt_top", "felt_bottom", "deepest"))
        pan = felt_pan(top_m, bottom_m, deepest_m, refusal=table["refusal"][number] or "no")
        return pan, depth_error_variance(0.0, True)
    profile = profiles.get(table["reading_id"][number])
    if profile is None:
        raise InputProblem("there is no profile. Enter depths and resistances in "
                           "compaction_profile.")
    depths_m = np.unique(profile[0])
    step_m = np.median(np.diff(depths_m)) if len(depths_m) > 1 else depths_m[0]
    pan = pan_of_profile(*profile, limit=limit, refusal=table["refusal"][number] or "no")
    return pan, depth_error_variance(step_m, False)


def _stops(table, used, pans):
    numbers = stop_numbers(table, used)
    positions = np.column_stack([table["x"], table["y"]])[used]
    stops = []
    for stop in np.unique(numbers):
        here = np.flatnonzero(numbers == stop)
        told = [place for place in here if pans[place][0].kind != "stone"] or list(here)
        stops.append(_stop(int(stop), positions[here].mean(axis=0),
                           [pans[place][0] for place in told],
                           np.mean([pans[place][1] for place in told]) / len(told), len(here)))
    return tuple(stops)


def _stop(stop, position, pans, error_variance_m2, insertions):
    top_m, top_censoring = median_of_insertions([pan.top_m for pan in pans],
                                                [pan.top_censoring for pan in pans])
    met = [pan for pan in pans if pan.found]
    found = top_censoring != ABOVE
    bottom_m, bottom_censoring = float("nan"), EXACT
    if found:
        bottom_m, bottom_censoring = median_of_insertions(
            [pan.bottom_m for pan in met], [pan.bottom_censoring for pan in met])
    exact = found and top_censoring == EXACT and bottom_censoring == EXACT
    kinds = Counter(pan.kind for pan in (met if found else pans))
    peaks = [pan.peak for pan in met if np.isfinite(pan.peak)]
    return PanAtStop(
        stop, stop_named(LAYER, stop), tuple(position), insertions, kinds.most_common(1)[0][0],
        found, top_m, top_censoring, bottom_m, bottom_censoring,
        bottom_m - top_m if exact else float("nan"),
        float(np.median(peaks)) if found and peaks else float("nan"),
        max(pan.reached_m for pan in pans), float(error_variance_m2))
