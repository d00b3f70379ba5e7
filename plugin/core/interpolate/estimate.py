"""From observations to a surface: the model, the check against the mean, the map or the mean."""
from dataclasses import asdict, dataclass

import numpy as np

from ..observations import ABOVE, BELOW, EXACT
from ..problems import InputProblem
from ..surface import Surface
from .censored import draw_censored
from .covariance import CANDIDATES, NUGGET, CovarianceModel
from .duplicates import merge_places
from .kriging import GLOBAL_MOST, krige
from .leave_one_out import leave_one_out
from .reml import Fit, fit_reml

LEAST_EXACT = 2       # exact readings without which there is no mean with an error
LEAST_FOR_MAP = 10    # exact readings below which no map is tried: this program's own rule
LEAST_SKILL = 0.05    # share of the mean's squared error a map must take away: own rule
FIT_MOST = 250        # readings that the model is fitted to; a larger set is thinned
REFITS = 6            # rounds of drawing censored readings and fitting anew
DRAWS = 100           # draws of censored readings that the surface averages over


@dataclass(frozen=True)
class _Chosen:
    """The model the surface is drawn with, the candidates, the check, and why."""
    model: CovarianceModel
    candidates: list
    validation: object
    verdict: str


def estimate_surface(observations, grid, inside, *, families=CANDIDATES, model=None,
                     neighbours=None, between=(-np.inf, np.inf), seed=0, tick=None):
    """Return the surface that the observations support: kriged, or their mean with its error.

    Candidate models are fitted by restricted maximum likelihood and the smallest AICc chosen. A
    structured model is kept only where predicting each reading from the others (leave one out)
    takes LEAST_SKILL off the squared error of predicting it by the mean; else, and with fewer
    than LEAST_FOR_MAP exact readings, the surface is the mean and its standard error that of one
    further reading. Readings at one place are averaged first. Censored readings are drawn again and
    again from what the others say of them, the model fitted anew to each of the first draws; the
    surface averages over DRAWS draws and its error holds their spread. Sets beyond FIT_MOST
    readings are fitted and checked on a random FIT_MOST of them, with all of them in the map.

    Parameters
        observations   Observations
        grid, inside   Grid and (rows, columns) share of each cell in the field
        families       candidate models; ignored where `model` is given
        model          a CovarianceModel to use as it is, without the comparison with the mean
        neighbours     as krige
        between        least and greatest estimate; of readings that are 0 or 1, (0, 1) makes the
                       surface the chance of a 1 (indicator kriging)
        seed           of the random numbers
        tick           called with the fraction done; may raise Stopped
    Returns  Surface; its account holds observations, model, candidates, validation, verdict
    Raises   InputProblem: exact readings at fewer than LEAST_EXACT places, no cell in the field, or
             equal readings without an error of their own beside censored ones
    Source   indicator kriging: Journel (1983), Mathematical Geology 15:445-468 (from memory)
    """
    tick = tick or (lambda fraction: None)
    sites = merge_places(observations)
    exact = np.count_nonzero(sites.censoring == EXACT)
    if exact < LEAST_EXACT:
        raise InputProblem(_TOO_FEW.format(name=observations.name, exact=exact,
                                           count=len(observations), least=LEAST_EXACT))
    if not (inside > 0).any():
        raise InputProblem(f"{observations.name}: no cell of the grid lies in the field.")
    chosen, values = _choose(sites, families, model, seed, lambda part: tick(0.4 * part))
    cells = np.flatnonzero(inside > 0)
    found = krige(sites.positions_m, values.T, sites.error_variance, chosen.model,
                  grid.centres()[cells], neighbours=neighbours,
                  tick=lambda part: tick(0.4 + 0.6 * part))
    variance = found.variance + found.estimate.var(axis=1)
    return Surface(
        name=observations.name, unit=observations.unit, grid=grid, inside=inside,
        estimate=_on_grid(np.clip(found.estimate.mean(axis=1), *between), cells, grid.shape),
        standard_error=_on_grid(np.sqrt(variance), cells, grid.shape),
        account=_account(observations, sites, values, chosen))


def unsure(surface):
    """Return the mask (rows, columns) of cells where the map says little more than the mean.

    There the readings take away less than half of the variance that neighbours could tell of
    (kriging variance, nugget aside, above half the partial sill). All of it where the surface
    is the mean.
    """
    model = CovarianceModel(**surface.account["model"])
    if not model.structured:
        return surface.inside > 0
    structured = surface.standard_error**2 - model.nugget
    return (surface.inside > 0) & (structured > model.partial_sill / 2)


def _choose(sites, families, model, seed, tick):
    """The chosen model and the draws (d, n) of the readings it is used with."""
    few = np.count_nonzero(sites.censoring == EXACT) < LEAST_FOR_MAP
    if model is None and (few or np.ptp(sites.values) == 0):
        families = (NUGGET,)
    if (sites.censoring == EXACT).all():
        return _choose_exact(sites, families, model, seed, tick), sites.values[None]
    return _choose_censored(sites, families, model, seed, tick)


def _choose_exact(sites, families, model, seed, tick):
    fitted = sites
    if len(sites) > FIT_MOST:
        picked = np.random.default_rng(seed).choice(len(sites), FIT_MOST, replace=False)
        fitted = sites.subset(np.sort(picked))
    if model is not None:
        return _Chosen(model, [], _validation(fitted, fitted.values, model),
                       "The model was given, not fitted.")
    candidates = _candidates(fitted, fitted.values, families, tick)
    return _decide(fitted, fitted.values, candidates, len(sites))


def _choose_censored(sites, families, model, seed, tick):
    exact = sites.subset(sites.censoring == EXACT)
    if model is None and np.ptp(exact.values) == 0 and exact.error_variance.min() == 0:
        exact = sites  # equal and without error: only the limits tell of any spread
        if np.ptp(sites.values) == 0:
            raise InputProblem(_NO_SPREAD.format(name=sites.name, count=len(sites)))
    candidates = [] if model is not None else _candidates(exact, exact.values, families)
    current, values = model or candidates[0].model, None
    for refit in range(REFITS if model is None else 0):
        values = draw_censored(sites.positions_m, sites.values, sites.error_variance,
                               sites.censoring, current, start=values, seed=seed + refit)[0]
        candidates = _candidates(sites, values, families)
        current = candidates[0].model
        tick((refit + 1) / REFITS)
    decided = (_Chosen(model, [], None, "The model was given, not fitted.") if model is not None
               else _decide(sites, values, candidates, len(sites)))
    draws = draw_censored(sites.positions_m, sites.values, sites.error_variance, sites.censoring,
                          decided.model, draws=DRAWS, start=values, seed=seed + REFITS)
    return decided, draws


def _candidates(sites, values, families, tick=None):
    if np.ptp(values) == 0 or len(values) < 3:
        spread = float(values.var(ddof=1))
        return [Fit(CovarianceModel(NUGGET, spread), float("nan"), float("nan"))]
    return fit_reml(sites.positions_m, values, sites.error_variance, families=families, tick=tick)


def _decide(sites, values, candidates, count):
    """Map or mean, from the candidates fitted to some or all of `count` readings."""
    best = candidates[0].model
    if best.structured:
        validation = _validation(sites, values, best)
        if validation.skill > LEAST_SKILL:
            return _Chosen(best, candidates, validation, _in_words(sites, validation))
        verdict = _NOT_BETTER.format(count=count)
    elif np.ptp(values) == 0:
        verdict = _EQUAL.format(count=count)
    elif count < LEAST_FOR_MAP:
        verdict = _FEW.format(count=count, least=LEAST_FOR_MAP)
    else:
        verdict = _NO_STRUCTURE.format(count=count)
    flat = next((fit.model for fit in candidates if not fit.model.structured), None)
    flat = flat or CovarianceModel(NUGGET, best.sill)
    return _Chosen(flat, candidates, _validation(sites, values, flat), verdict)


def _in_words(sites, validation):
    off = (f"{float(f'{rmse:.2g}'):,.10g} {sites.unit}".strip()
           for rmse in (validation.rmse, validation.rmse_of_mean))
    return _MAP.format(**dict(zip(("map", "mean"), off)))


def _validation(sites, values, model):
    if model.sill + sites.error_variance.min() <= 0:
        return None  # nothing varies: there is no error to check
    return leave_one_out(sites.positions_m, values, sites.error_variance, model)


def _account(observations, sites, values, chosen):
    account = {
        "observations": len(observations), "places": len(sites),
        "deeper_or_more": int(np.count_nonzero(observations.censoring == ABOVE)),
        "shallower_or_less": int(np.count_nonzero(observations.censoring == BELOW)),
        "method": "ordinary kriging" if chosen.model.structured else "mean of the readings",
        "model": _plain(chosen.model),
        "candidates": [{**_plain(fit.model), "log_likelihood": fit.log_likelihood,
                        "aicc": fit.aicc} for fit in chosen.candidates],
        "validation": None, "verdict": chosen.verdict, "sites": None}
    if chosen.validation is not None:
        account["validation"] = {
            name: number for name, number in asdict(chosen.validation).items()
            if name not in ("errors", "variance")} | {"skill": chosen.validation.skill}
    if len(sites) <= GLOBAL_MOST:
        drawn = values.var(axis=0)  # what is not known of censored readings; 0 of the others
        account["sites"] = np.column_stack(
            [sites.positions_m, values.mean(axis=0), sites.error_variance + drawn]).tolist()
    return account


def _plain(model):
    """The model as numbers that JSON can hold, without structure no range."""
    plain = asdict(model)
    if not np.isfinite(model.range_m):
        del plain["range_m"], plain["heading_deg"], plain["ratio"]
    return plain


def _on_grid(values, cells, shape):
    grid = np.full(shape, np.nan)
    grid.flat[cells] = values
    return grid


_TOO_FEW = ("{name}: {count} readings give figures at too few places ({exact}); a mean with its "
            "error needs at least {least}. Take readings at more places.")
_NO_SPREAD = ("{name}: all {count} readings show the same figure, some only as a limit, and none "
              "has an error of its own, so nothing tells how far beyond the limit the others may "
              "lie. Give the error of the readings.")
_MAP = ("The map holds: at readings left out to check it, it is off by {map} as a rule, and "
        "the plain mean by {mean}.")
_NOT_BETTER = ("The {count} readings do not support a map: predicting a reading from its "
               "neighbours is no better than the mean. Shown is the mean with its error.")
_NO_STRUCTURE = ("The {count} readings do not support a map: near ones are no more alike than far "
                 "ones. Shown is the mean with its error.")
_FEW = ("{count} readings are too few for a map; from {least} on one is tried. Shown is the mean "
        "with its error.")
_EQUAL = "All {count} readings are equal. Shown is their value with its error."
