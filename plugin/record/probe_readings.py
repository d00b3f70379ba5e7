"""Soil samples of a record as observations: one function for each quantity a plan asks for.

Each takes a Record whose probe_points were read and returns SoilReadings. A result counts only
from a core of the depth it is meant for; what does not count is named with the reason, and stays
in the record.
"""
from dataclasses import dataclass, fields

import numpy as np

from ..core.observations import Observations
from ..core.observe.soil import (
    FITS,
    NO_DEPTH,
    STARTS_BELOW,
    TOO_DEEP,
    TOO_SHALLOW,
    acid_surface,
    core_depth,
    judge_depths,
    ph_error_variance,
)
from ..core.problems import InputProblem
from ..core.units import convert
from ..layers.boundary import inside_mask
from .schema import layer_spec, title_of_value, unit_of
from .stops import rows_named

LAYER = "probe_points"
WITH_METHOD = ("ph", "surface_ph")  # quantities whose error rests on how they were found


@dataclass(frozen=True)
class LeftOut:
    """A sample with a result that is not used: its row, what messages call it, and why."""
    fid: int
    label: str
    why: str


@dataclass(frozen=True)
class SoilReadings:
    """One quantity at the samples that can be used, and the samples that cannot.

    observations       Observations, one for each sample, in the order of the rows
    fids               (n,) their rows in probe_points
    methods            (n,) how each was found: of pH by laboratory, meter, slurry, insertion or
                       strip, "" where that is not entered; of the others always "laboratory"
    top_m, bottom_m    (n,) depths between which each sample was taken, metres
    cores              (n,) cores put together, NaN where not entered
    left_out           tuple of LeftOut: samples with a result that is not used
    warnings           sentences on those, and on results used in spite of a doubt
    """
    observations: Observations
    fids: np.ndarray
    methods: tuple
    top_m: np.ndarray
    bottom_m: np.ndarray
    cores: np.ndarray
    left_out: tuple
    warnings: tuple


def nitrate_readings(record):
    """Return nitrate-N (ppm) of the 12-inch cores; a core of another depth is left out, named.

    Raises   InputProblem: the record holds no result, or none that can be used
    """
    return _laboratory(record, "nitrate_n_ppm", "nitrate")


def ph_readings(record):
    """Return the pH of the short cores, by whichever method, each with that method's error.

    pH of the surface, read in the field or of shallow samples, is a quantity of its own: see
    `surface_ph_readings`.

    Raises   InputProblem: the record holds no result, or none that can be used
    """
    samples = _results(record, "ph", "ph_method")
    return _readings(record, "ph", "short", samples.where(~_shallow(samples)))


def surface_ph_readings(record):
    """Return the pH of the surface: read in the field, or of samples no deeper than the surface.

    Where a sample has both, both are kept, as two observations at one place.

    Raises   InputProblem: the record holds no result, or none that can be used
    """
    return _readings(record, "surface_ph", "surface", _surface_results(record))


def buffer_ph_readings(record):
    """Return the buffer pH of the short cores. Raises as `ph_readings` does."""
    return _laboratory(record, "buffer_ph", "short")


def organic_matter_readings(record):
    """Return organic matter (%) of the short cores. Raises as `ph_readings` does."""
    return _laboratory(record, "organic_matter", "short")


def phosphorus_readings(record):
    """Return extractable phosphorus (ppm) of the short cores. Raises as `ph_readings` does."""
    return _laboratory(record, "phosphorus_ppm", "short")


def potassium_readings(record):
    """Return extractable potassium (ppm) of the short cores. Raises as `ph_readings` does."""
    return _laboratory(record, "potassium_ppm", "short")


QUANTITIES = {"nitrate_n_ppm": nitrate_readings, "ph": ph_readings,
              "surface_ph": surface_ph_readings, "buffer_ph": buffer_ph_readings,
              "organic_matter": organic_matter_readings, "phosphorus_ppm": phosphorus_readings,
              "potassium_ppm": potassium_readings}


def results_held(record):
    """Return the names of the QUANTITIES of which the record holds a result, used or not."""
    samples = _results(record, "ph", "ph_method")
    held = {name: len(_results(record, name).numbers) for name in QUANTITIES}
    held |= {"ph": np.count_nonzero(~_shallow(samples)),
             "surface_ph": len(_surface_results(record).numbers)}
    return tuple(name for name in QUANTITIES if held[name])


def acid_surface_samples(record):
    """Return the rows (fid) whose surface is more acid than the sample; see `acid_surface`."""
    table = record.table(LAYER)
    return table["fid"][acid_surface(table["surface_ph"], table["ph"])]


@dataclass(frozen=True)
class _Results:
    """Results as they stand in the record: row number in the table, value, method and depths."""
    numbers: np.ndarray
    values: np.ndarray
    methods: np.ndarray
    top_m: np.ndarray
    bottom_m: np.ndarray

    def where(self, mask):
        """Return those for which the mask holds."""
        return _Results(*(getattr(self, part.name)[mask] for part in fields(self)))


def _shallow(samples):
    """Whether each sample is one of the surface alone."""
    return judge_depths("surface", samples.top_m, samples.bottom_m) == FITS


def _surface_results(record):
    """The surface pH read in the field, then that of shallow samples."""
    field = _results(record, "surface_ph", "surface_ph_method", top=None,
                     bottom="surface_ph_depth")
    samples = _results(record, "ph", "ph_method")
    samples = samples.where(_shallow(samples))
    return _Results(*(np.concatenate([getattr(field, part.name), getattr(samples, part.name)])
                      for part in fields(_Results)))


def _results(record, column, method="", *, top="top_depth", bottom="bottom_depth"):
    table = record.table(LAYER)
    known = np.flatnonzero(np.isfinite(table[column]))
    methods = [table[method][n] or "" for n in known] if method else ["laboratory"] * len(known)
    top_m, bottom_m = (
        np.zeros(len(known)) if name is None
        else convert(table[name][known], record.units.depth, "m") for name in (top, bottom))
    return _Results(known, table[column][known], np.array(methods, object),
                    np.nan_to_num(top_m, nan=0.0), bottom_m)


def _laboratory(record, column, core):
    return _readings(record, column, core, _results(record, column))


def _readings(record, column, core, found):
    table, spec = record.table(LAYER), layer_spec(LAYER).column(column)
    if not len(found.numbers):
        raise InputProblem(f"{LAYER} holds no {spec.title}. Enter the results of the samples.")
    fids = table["fid"][found.numbers]
    labels = [_label(table, number) for number in found.numbers]
    reasons = _reasons(record, core, found, spec)
    used = reasons == ""
    left_out = tuple(LeftOut(int(fids[n]), labels[n], reasons[n]) for n in np.flatnonzero(~used))
    warnings = [f"{LAYER}, {rows_named([one.fid for one in left_out if one.why == why])}, "
                f"{spec.title}: {why} Left out."
                for why in dict.fromkeys(one.why for one in left_out)]
    if not used.any():
        raise InputProblem(f"None of {len(used)} results of {spec.title} can be used. "
                           f"{warnings[0]}")
    warnings += _doubts(table, core, found, used, spec)
    variance = ph_error_variance(found.methods[used]) if spec.name in WITH_METHOD else None
    observations = Observations.of(
        spec.title, unit_of(spec, record.units, record.currency), _positions(table, found)[used],
        found.values[used], error_variance=variance,
        labels=[labels[n] for n in np.flatnonzero(used)])
    return SoilReadings(observations, fids[used], tuple(found.methods[used]), found.top_m[used],
                        found.bottom_m[used], table["cores"][found.numbers[used]], left_out,
                        tuple(warnings))


def _positions(table, found):
    return np.column_stack([table["x"], table["y"]])[found.numbers]


def _reasons(record, core, found, spec):
    """Why each result is not used, as a sentence; "" where it is."""
    positions = _positions(record.table(LAYER), found)
    placed = np.isfinite(positions).all(axis=1)
    inside = np.zeros(len(placed), bool)
    inside[placed] = inside_mask(record.boundary_wkb, positions[placed])
    most = np.inf if spec.high is None else spec.high
    verdicts = judge_depths(core, found.top_m, found.bottom_m)
    reasons = np.full(len(placed), "", object)
    for number, value in enumerate(found.values):
        if not placed[number]:
            reasons[number] = ("there is no place on the map. Put a point where the cores were "
                               "taken.")
        elif not inside[number]:
            reasons[number] = ("the place lies outside the field. Check the point, its CRS or "
                               "the boundary.")
        elif not spec.low <= value <= most:
            reasons[number] = f"{value:g} cannot be. Correct the result."
        elif verdicts[number] != FITS:
            reasons[number] = _depth_words(record, core, verdicts[number],
                                           found.bottom_m[number])
    return reasons


def _depth_words(record, core, verdict, bottom_m):
    wanted, unit = core_depth(core), record.units.depth

    def said(depth_m):
        return f"{float(convert(depth_m, 'm', unit)):.3g}"

    ends = f"from the surface to {said(wanted.least_m)} to {said(wanted.most_m)} {unit}" \
        if wanted.least_m else f"no deeper than {said(wanted.most_m)} {unit}"
    if verdict == NO_DEPTH:
        return f"its depth is not entered. This result counts only of cores {ends}."
    if verdict == STARTS_BELOW:
        return (f"the core begins deeper than {said(wanted.top_at_most_m)} {unit}. This result "
                f"counts only of cores {ends}.")
    how = {TOO_SHALLOW: "only", TOO_DEEP: "as far as"}[verdict]
    return (f"the core goes down {how} {said(bottom_m)} {unit}. This result counts only of cores "
            f"{ends}.")


def _doubts(table, core, found, used, spec):
    """Sentences on results that are used although something speaks against it."""
    doubts, fids = [], table["fid"][found.numbers]
    unlike = {"short": "nitrate", "nitrate": "short"}.get(core)
    other = used & (table["core_type"][found.numbers] == unlike)
    if unlike and other.any():
        doubts.append(f"{LAYER}, {rows_named(fids[other])}, {spec.title}: entered as "
                      f"{title_of_value(unlike)}, but of another depth. Used by its depth.")
    unknown = used & (found.methods == "")
    if unknown.any():
        doubts.append(f"{LAYER}, {rows_named(fids[unknown])}, {spec.title}: how it was found is "
                      "not entered. Used without an error of its own.")
    return doubts


def _label(table, number):
    bag = table["sample_number"][number]
    row = f"{LAYER}, row {table['fid'][number]}"
    return f"{row} (sample {bag})" if bag else row

