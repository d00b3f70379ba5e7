"""Models fitted to an experimental variogram by weighted least squares."""
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.optimize import minimize, minimize_scalar, nnls

from ..problems import InputProblem
from .covariance import FAMILIES, NUGGET, CovarianceModel

WEIGHTS = ("pairs_by_distance", "pairs", "pairs_by_semivariance", "equal")
LEAST_BINS = 4      # bins that three parameters are fitted to
LEAST_NESTED_BINS = 7  # and five
FURTHEST = 5        # longest reach that is tried, as a multiple of the longest lag
RANGES_TRIED = 240  # on the way to it, before the best is refined
PAIRED_RANGES = 24  # where each goes with each other one
REFINEMENTS = 600   # of the best pair, at most
ASKED_MOST = PAIRED_RANGES * (PAIRED_RANGES - 1) // 2 + 2 * REFINEMENTS  # how near a pair comes
TICK_AFTER = 100    # pairs of ranges: some 10 ms
REWEIGHTINGS = 200  # at most, where weights depend on the model
SETTLED = 1e-9      # relative change of the model at which reweighting ends


@dataclass(frozen=True)
class VariogramFit:
    """A fitted model and how far it is from the variogram.

    model         CovarianceModel
    weighted_sse  sum of weight * (semivariance - model)^2 over the bins; smaller is nearer, among
                  models fitted to one variogram with the same weights
    weights       one of WEIGHTS
    range_found   False where the best range is an end of what was tried (shorter than the first
                  lag, or FURTHEST times the last): the variogram then does not tell the range
    """
    model: CovarianceModel
    weighted_sse: float
    weights: str
    range_found: bool


def fit_variogram(variogram, family, *, weights="pairs_by_distance"):
    """Return the model of one family, with a nugget, that is nearest to a variogram.

    For each range the nugget and the partial sill follow by linear least squares, and the best of
    all ranges is taken, so the optimum does not hang on a start. Neither may fall below 0: one
    that would is set to 0 and the rest fitted again. Ranges are tried from a reach of the first
    lag to FURTHEST times the last. A bin at distance 0 is left out, as no model passes there.

    Weights are N / h^2 ("pairs_by_distance"), N ("pairs"), N / gamma^2 ("pairs_by_semivariance":
    gamma of the model itself, weighed anew until it stays, from `start_model`) or 1 ("equal").

    Parameters
        variogram  Variogram
        family     NUGGET or a name in FAMILIES
        weights    one of WEIGHTS
    Returns  VariogramFit
    Raises   InputProblem: fewer than LEAST_BINS bins (1 for NUGGET), unknown family or weights
    Source   Cressie (1985), Mathematical Geology 17:563-586, for weights by the model; N / h^2 is
             common practice; linear and other parameters apart: Golub and Pereyra (1973), SIAM
             Journal on Numerical Analysis 10:413-432 (from memory)
    """
    if weights not in WEIGHTS:
        raise InputProblem(f"There are no weights {weights!r}; known are {', '.join(WEIGHTS)}.")
    bins = _Bins.of(variogram, family, LEAST_BINS)
    if weights != "pairs_by_semivariance":
        return _nearest(bins, _fixed(bins, weights), family, weights)
    model = start_model(variogram, family)
    for _ in range(REWEIGHTINGS):
        fit = _nearest(bins, _by_model(bins, model), family, weights)
        settled = _alike(fit.model, model)
        model = fit.model
        if settled:
            break
    return fit


def fit_nested_variogram(variogram, family, *, weights="pairs_by_distance", tick=None):
    """Return the nested model of one family nearest to a variogram: nugget, short and long range.

    For each pair of ranges the nugget and the two partial sills, none below 0, follow by linear
    least squares; the best of PAIRED_RANGES * (PAIRED_RANGES - 1) / 2 pairs is refined. Where one
    structure is enough the other comes out with no sill and the model is not nested, so it is
    never further from the variogram than that of fit_variogram by more than the search leaves.
    Five parameters ask for a long table of bins, and so for hundreds of readings.

    Parameters
        variogram  Variogram
        family     a name in FAMILIES
        weights    one of WEIGHTS but "pairs_by_semivariance"
        tick       called with the fraction done, now and then; may raise Stopped
    Returns  VariogramFit; range_found is about both ranges
    Raises   InputProblem: fewer than LEAST_NESTED_BINS bins, unknown family or weights
    Source   nested models: Journel and Huijbregts (1978), Mining Geostatistics, III.A.5; sills
             above 0: Lawson and Hanson (1974), Solving Least Squares Problems, 23 (both from
             memory)
    """
    if weights not in WEIGHTS or weights == "pairs_by_semivariance":
        raise InputProblem(f"A nested model is not fitted with weights {weights!r}; known are "
                           f"{', '.join(set(WEIGHTS) - {'pairs_by_semivariance'})}.")
    if family == NUGGET:
        raise InputProblem("A pure nugget has no structures to nest.")
    bins = _Bins.of(variogram, family, LEAST_NESTED_BINS)
    weight = _fixed(bins, weights)
    limits = _log_range_limits(bins, family)
    tried = np.linspace(*limits, PAIRED_RANGES)
    asked = 0

    def sse_of(log_ranges):
        nonlocal asked
        asked += 1
        if tick is not None and asked % TICK_AFTER == 0:
            tick(min(asked / ASKED_MOST, 1.0))
        return _three_sills(bins, weight, family, log_ranges)[1]

    start = min(combinations(tried, 2), key=sse_of)
    refined = minimize(sse_of, start, method="Nelder-Mead", bounds=[limits] * 2,
                       options={"xatol": 1e-7, "fatol": 1e-14 * sse_of(start),
                                "maxiter": REFINEMENTS})
    log_ranges = np.sort(min((start, refined.x), key=sse_of))
    sills, sse = _three_sills(bins, weight, family, log_ranges)
    step = tried[1] - tried[0]
    inside = limits[0] + 0.01 * step < log_ranges[0] and log_ranges[1] < limits[1] - 0.01 * step
    model = _nested(family, *(float(sill) for sill in sills), *np.exp(log_ranges).tolist())
    return VariogramFit(model, float(sse), weights, bool(inside and model.structured))


def _nested(family, nugget, short, long, short_range_m, long_range_m):
    if long == 0 or short == 0:
        return CovarianceModel(family, nugget, short + long,
                               short_range_m if long == 0 else long_range_m)
    return CovarianceModel(family, nugget, short + long, short_range_m, long_sill=long,
                           long_range_m=long_range_m)


def _three_sills(bins, weight, family, log_ranges):
    """Nugget and the sills of the shorter and the longer range, 0 or more; the weighted SSE."""
    rise = 1 - FAMILIES[family].correlation(bins.distances[:, None] / np.exp(np.sort(log_ranges)))
    root = np.sqrt(weight)[:, None]
    columns = root * np.column_stack([np.ones(len(rise)), rise])
    scale = np.linalg.norm(columns, axis=0)
    sills, off = nnls(columns / scale, root[:, 0] * bins.semivariance)
    return sills / scale, off**2


def start_model(variogram, family):
    """Return the model that a fit of this variogram is commonly started from.

    Range parameter a third of the longest lag, nugget the mean of the first three semivariances,
    sill the mean of the last five; what would fall below 0 is 0.

    Source   the defaults of the R package gstat
    """
    semivariance = np.asarray(variogram.semivariance, float)
    nugget = max(float(semivariance[:3].mean()), 0.0)
    sill = max(float(semivariance[-5:].mean()), 0.0)
    if family == NUGGET:
        return CovarianceModel(NUGGET, sill)
    return CovarianceModel(family, nugget, max(sill - nugget, 0.0),
                           float(variogram.distances_m[-1]) / 3)


@dataclass(frozen=True)
class _Bins:
    """The bins that a model is fitted to."""
    distances: np.ndarray
    semivariance: np.ndarray
    pairs: np.ndarray

    @classmethod
    def of(cls, variogram, family, least):
        if family != NUGGET and family not in FAMILIES:
            raise InputProblem(f"There is no covariance model {family!r}; known are "
                               f"{', '.join([NUGGET, *FAMILIES])}.")
        apart = variogram.distances_m > 0
        least = 1 if family == NUGGET else least
        if np.count_nonzero(apart) < least:
            raise InputProblem(f"A variogram of {np.count_nonzero(apart)} bins cannot show a "
                               f"{family} model; at least {least} bins with pairs are needed.")
        return cls(variogram.distances_m[apart], variogram.semivariance[apart],
                   variogram.pairs[apart].astype(float))


def _fixed(bins, weights):
    """Weights that do not hang on the model."""
    return {"pairs_by_distance": bins.pairs / bins.distances**2, "pairs": bins.pairs,
            "equal": np.ones(len(bins.pairs))}[weights]


def _log_range_limits(bins, family):
    reach = FAMILIES[family].reach
    return np.log([bins.distances.min() / reach, FURTHEST * bins.distances.max() / reach])


def _by_model(bins, model):
    gamma = model.semivariance(bins.distances)
    floor = 1e-6 * np.abs(bins.semivariance).max()  # keeps weights finite where the model is 0
    return bins.pairs / np.maximum(gamma, floor if floor > 0 else 1.0)**2


def _nearest(bins, weight, family, weights):
    if family == NUGGET:
        nugget = max(float(weight @ bins.semivariance / weight.sum()), 0.0)
        sse = float(weight @ (bins.semivariance - nugget)**2)
        return VariogramFit(CovarianceModel(NUGGET, nugget), sse, weights, True)
    limits = _log_range_limits(bins, family)
    tried = np.linspace(*limits, RANGES_TRIED)
    best = int(np.argmin(_linear_part(bins, weight, family, np.exp(tried))[2]))
    around = tried[max(best - 1, 0)], tried[min(best + 1, RANGES_TRIED - 1)]
    refined = minimize_scalar(
        lambda log_range: _linear_part(bins, weight, family, np.exp([log_range]))[2][0],
        bounds=around, method="bounded", options={"xatol": 1e-10})
    ranges = np.exp([refined.x, tried[best]])
    nugget, partial_sill, sse = _linear_part(bins, weight, family, ranges)
    kept = int(np.argmin(sse))
    model = CovarianceModel(family, float(nugget[kept]), float(partial_sill[kept]),
                            float(ranges[kept]))
    step = tried[1] - tried[0]
    inside = limits[0] + step < np.log(model.range_m) < limits[1] - step
    return VariogramFit(model, float(sse[kept]), weights, bool(inside and model.structured))


def _linear_part(bins, weight, family, ranges):
    """Nugget, partial sill and weighted SSE (r,), each 0 or more, of each range (r,)."""
    rise = 1 - FAMILIES[family].correlation(bins.distances / ranges[:, None])
    gamma = bins.semivariance
    ones, sum_rise, square = weight.sum(), rise @ weight, rise**2 @ weight
    level, product = weight @ gamma, rise @ (weight * gamma)
    mean_rise, mean_gamma = sum_rise / ones, level / ones
    spread = (rise - mean_rise[:, None])**2 @ weight
    together = ((rise - mean_rise[:, None]) * (gamma - mean_gamma)) @ weight
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.where(spread > 1e-12 * square, together / spread, 0.0)
        from_zero = np.maximum(product / square, 0.0)
    nothing = np.zeros(len(ranges))
    nugget = np.stack([mean_gamma - slope * mean_rise, nothing,
                       np.full(len(ranges), max(mean_gamma, 0.0))])
    partial_sill = np.stack([slope, from_zero, nothing])
    off = gamma - nugget[..., None] - partial_sill[..., None] * rise
    sse = np.where((nugget >= 0) & (partial_sill >= 0), off**2 @ weight, np.inf)
    which = np.argmin(sse, axis=0), np.arange(len(ranges))
    return nugget[which], partial_sill[which], sse[which]


def _alike(one, other):
    scale = max(one.sill, other.sill)
    return (abs(one.nugget - other.nugget) <= SETTLED * scale
            and abs(one.partial_sill - other.partial_sill) <= SETTLED * scale
            and (one.range_m == other.range_m  # without structure both are infinite
                 or abs(one.range_m - other.range_m) <= SETTLED * one.range_m))
