"""From observations to a surface: the model, the check against the mean, the map or the mean."""
from dataclasses import asdict, dataclass, replace

import numpy as np

from ..long_call import long_call
from ..observations import ABOVE, BELOW, EXACT
from ..problems import InputProblem
from ..surface import Surface
from .averaged_model import UNBIASED, WIDE, averaged_model, averaged_models, mean_model
from .carried import account_of_readings
from .censored import draw_censored
from .covariance import CANDIDATES, NUGGET, CovarianceModel
from .drift import drift_of_settings, require_shown
from .duplicates import merge_places
from .further_readings import further_readings, ground_of
from .krige_field import krige_field
from .kriging import GLOBAL_MOST
from .leave_one_out import leave_one_out
from .map_settings import PLAIN
from .moments_fit import fit_moments
from .refitted_check import FOLDS, refitted_check
from .reml import Fit, fit_reml
from .verdict import CLEAR_SKILL, UNTOLD, little_told, verdict_of_map, verdict_of_mean

MEAN = "mean of the readings"  # the method of a surface that is no map
LIKELIHOOD, MOMENTS = "restricted maximum likelihood", "the variogram"  # what models are fitted by
LEAST_EXACT = 2       # exact readings without which there is no mean with an error
LEAST_FOR_MAP = 10    # exact readings below which no map is tried: this program's own rule
FIT_MOST = 250        # readings that the model is fitted to; a larger set is thinned
MOMENTS_FROM = 500    # exact readings whose model comes from the variogram of them all
PAIRED_MOST = 5000    # of them, whose pairs are looked at; of more, so many at random
CHECK_MOST = 600      # of them, left out one by one; of more, so many at random
REFITS = 6            # rounds of drawing censored readings and fitting anew
SETTLING = 2          # of them, before their models count
DRAWS = 100           # draws of censored readings that the surface averages over
CENSORED_MOST = 2000  # readings, some of them censored, that are drawn together: 32 MB a matrix
FITTED = 0.4          # share of the time at which the model is there


@dataclass(frozen=True)
class _Chosen:
    """The model the surface is drawn with, the candidates, the check, and why."""
    model: CovarianceModel
    candidates: list
    validation: object
    verdict: str
    drifts: bool = False
    fitted_by: str = LIKELIHOOD

    @property
    def skill(self):
        """That of the check; 0 where there was nothing to check."""
        return self.validation.skill if self.validation is not None else 0.0


def estimate_surface(observations, grid, inside, *, families=CANDIDATES, model=None,
                     neighbours=None, between=(-np.inf, np.inf), settings=PLAIN,
                     seed=0, tick=None):
    """Return the surface that the observations support: kriged, or their mean with its error.

    Candidate models are fitted by restricted maximum likelihood and compared by AICc. Of the best
    structured one the map uses not the peak, which takes too much for certain, but the average
    over the parameters that suit the readings, as `averaged_model` says. It is kept only where
    predicting each reading from the others (leave one out) has a smaller squared error than
    predicting it by the mean; else, and with fewer than LEAST_FOR_MAP exact readings, the
    surface is the mean and its standard error that of one further reading, with what so few leave
    open of the variance. Readings at one place are averaged first. Censored readings are drawn
    again and again from what the others say of them, the model fitted anew to each of the first
    draws and averaged over all but SETTLING of these; the surface averages over DRAWS further draws
    and its error holds their spread. From MOMENTS_FROM exact readings on candidates, nested ones
    too, are fitted to the variogram of up to PAIRED_MOST of them instead, and the best structured
    one is taken as it is; where a drift, a heading or censored readings forbid that, sets beyond
    FIT_MOST are fitted to a random FIT_MOST of them. All readings are in the map. Memory: three
    float64 layers of the grid and one for each covariate, that of krige_field, and some ten (n, n)
    matrices of up to CENSORED_MOST readings. Where the settings make the mean depend on something,
    candidates are compared by AICc among each other only, all with that drift, and the best,
    averaged, is kept only where it beats the plain mean as above; the drift then travels with the
    surface, in its account and its covariates.

    Parameters
        observations   Observations
        grid, inside   Grid and (rows, columns) share of each cell in the field
        families       candidate models; ignored where `model` is given
        model          a CovarianceModel to use as it is, without the comparison with the mean
        neighbours     as krige
        between        least and greatest estimate; of readings that are 0 or 1, (0, 1) makes the
                       surface the chance of a 1 (indicator kriging)
        settings       MapSettings
        seed           of the random numbers
        tick           called with the fraction done; may raise Stopped
    Returns  Surface; its account holds observations, model, candidates, validation, verdict
    Raises   InputProblem: exact readings at fewer than LEAST_EXACT places, no cell in the field, or
             equal readings without an error of their own beside censored ones, more than
             CENSORED_MOST with censored ones among them, figures too large to square, or drift
             that is missing or that the readings cannot show
    Source   indicator kriging: Journel (1983), Mathematical Geology 15:445-468; drawing what is
             hidden and the model in turn: Tanner and Wong (1987), Journal of the American
             Statistical Association 82:528-540 (both from memory)
    """
    tick = tick or (lambda fraction: None)
    sites = long_call(lambda: merge_places(observations), tick)
    exact = np.count_nonzero(sites.censoring == EXACT)
    if exact < LEAST_EXACT:
        raise InputProblem(_TOO_FEW.format(name=observations.name, exact=exact,
                                           count=len(observations), least=LEAST_EXACT))
    if not (inside > 0).any():
        raise InputProblem(f"{observations.name}: no cell of the grid lies in the field.")
    drift = drift_of_settings(settings, sites, grid, inside, tick)
    if drift is not None and not _few(sites):
        require_shown(drift, settings.drift_names)
    ground_m = long_call(lambda: ground_of(grid, inside), tick)
    chosen, values = _choose(
        _Task(sites, None if drift is None else drift.at_readings, families, model,
              settings.heading_deg, seed, settings.refit, ground_m),
        lambda part: tick(FITTED * part))
    if not chosen.drifts:
        drift = None
    estimate, variance = krige_field(
        grid, inside, sites.positions_m, values, sites.error_variance, chosen.model,
        neighbours=neighbours, block_m=settings.block_m, octants=settings.octants,
        drift=drift, tick=lambda part: tick(FITTED + (1 - FITTED) * part))
    surface = Surface(
        name=observations.name, unit=observations.unit, grid=grid, inside=inside,
        estimate=np.clip(estimate, *between, out=estimate),
        standard_error=np.sqrt(variance, out=variance),
        account=_account(observations, sites, values, chosen, settings, drift),
        covariates=drift.layers if drift is not None and _carries(sites) else None)
    if chosen.fitted_by and chosen.skill >= CLEAR_SKILL and surface.account["method"] != MEAN:
        share = long_call(lambda: _unsure_share(surface), tick, 1.0)
        surface.account["unsure_share"] = share
        surface.account["verdict"] += little_told(share)
    return surface


def unsure(surface):
    """Return the mask (rows, columns) of cells where the map says little more than the mean.

    There the readings take away less than half of the variance that neighbours could tell of
    (kriging variance, nugget aside, above half the partial sill). All of it where the surface
    is the mean. Of a drift without structure: where its own variance is above half the nugget.
    """
    model = CovarianceModel(**surface.account["model"])
    if not model.structured and not surface.account.get("drift"):
        return surface.inside > 0
    fine = 0.0 if surface.account.get("block_m") else model.nugget
    known = model.partial_sill if model.structured else model.nugget
    return (surface.inside > 0) & (surface.standard_error**2 - fine > known / 2)


def _unsure_share(surface):
    return float(surface.inside[unsure(surface)].sum() / surface.inside.sum())


@dataclass(frozen=True)
class _Task:
    """Readings (values of censored ones their limits), drift at them, and what is to be tried."""
    sites: object
    drift: np.ndarray
    families: tuple
    model: CovarianceModel
    heading_deg: float
    seed: int
    refit: bool
    ground_m: np.ndarray

    def of(self, picked):
        """The task of some of the readings."""
        return replace(self, sites=self.sites.subset(picked),
                       drift=None if self.drift is None else self.drift[picked])

    def thinned(self, most):
        """The task of at most so many readings, drawn at random; LEAST_FOR_MAP exact ones stay."""
        count = len(self.sites)
        if count <= most:
            return self
        picked = np.random.default_rng(self.seed).choice(count, most, replace=False)
        kind = self.sites.censoring
        if np.count_nonzero(kind[picked] == EXACT) < LEAST_FOR_MAP:
            exact = np.flatnonzero(kind == EXACT)[:LEAST_FOR_MAP]
            picked = np.append(exact, picked[~np.isin(picked, exact)])[:most]
        return self.of(np.sort(picked))

    @property
    def suits_moments(self):
        """Whether a variogram in all directions, about a constant mean, can tell the model."""
        return (self.model is None and self.drift is None and self.heading_deg is None
                and np.ptp(self.sites.values) > 0)


def _choose(task, tick):
    """The chosen model and the draws (d, n) of the readings it is used with."""
    if task.model is None and (_few(task.sites) or np.ptp(task.sites.values) == 0):
        task = replace(task, families=(NUGGET,), drift=None, heading_deg=None)
    if (task.sites.censoring == EXACT).all():
        return _choose_exact(task, tick), task.sites.values[None]
    return _choose_censored(task, tick)


def _few(sites):
    """Whether no map is tried."""
    return np.count_nonzero(sites.censoring == EXACT) < LEAST_FOR_MAP


def _choose_exact(task, tick):
    count = len(task.sites)
    if count >= MOMENTS_FROM and task.suits_moments:
        sites = task.thinned(PAIRED_MOST).sites
        candidates = fit_moments(sites.positions_m, sites.values, sites.error_variance,
                                 families=task.families, tick=tick)
        if candidates:
            return _choose_by_moments(task, candidates, tick)
    task = task.thinned(FIT_MOST)
    values = task.sites.values
    if task.model is not None:
        return _given(task, _validation(task, values, task.model))
    fitted = 1 / (1 + FOLDS) if task.refit else 1.0  # share of the time
    candidates, averaged = _fitted(task, values, lambda part: tick(fitted * part))
    return _decide(task, values, candidates, averaged[0], count, _model_of_map,
                   lambda part: tick(fitted + (1 - fitted) * part))


def _choose_by_moments(task, candidates, tick):
    """So many readings leave little open: the best structured candidate is used as it is."""
    best = _structured(candidates)
    count, task = len(task.sites), task.thinned(CHECK_MOST)
    sites = task.sites
    flat = averaged_model(sites.positions_m, sites.values, sites.error_variance,
                          CovarianceModel(NUGGET, 0.0), tick=lambda part: tick(1.0))
    return replace(_decide(task, sites.values, candidates, (best, flat), count, _model_by_moments,
                           lambda part: tick(1.0)), fitted_by=MOMENTS)


def _model_by_moments(task, values, tick):
    """The model of a map of many readings."""
    candidates = fit_moments(task.sites.positions_m, values, task.sites.error_variance,
                             families=task.families, tick=tick)
    return (_structured(candidates) if candidates
            else CovarianceModel(NUGGET, float(values.var(ddof=1))))


def _structured(candidates):
    """The model of the best candidate with structure, or of the best."""
    return next((fit.model for fit in candidates if fit.model.structured), candidates[0].model)


def _choose_censored(task, tick):
    sites, model, seed = task.sites, task.model, task.seed
    if len(sites) > CENSORED_MOST:
        raise InputProblem(_MANY_LIMITS.format(name=sites.name, count=len(sites),
                                               most=CENSORED_MOST))
    exact = task.of(sites.censoring == EXACT)
    if model is None and np.ptp(exact.sites.values) == 0 and exact.sites.error_variance.min() == 0:
        exact = task  # equal and without error: only the limits tell of any spread
        if np.ptp(sites.values) == 0:
            raise InputProblem(_NO_SPREAD.format(name=sites.name, count=len(sites)))
    decided, values, hidden_by = (
        (_given(task, None), None, model) if model is not None
        else _fit_censored(task, exact, lambda part: tick(0.7 * part)))
    draws = draw_censored(sites.positions_m, sites.values, sites.error_variance, sites.censoring,
                          hidden_by, draws=DRAWS, start=values,
                          drift=task.drift if decided.drifts else None, seed=seed + REFITS,
                          tick=lambda part: tick(0.7 + 0.3 * part))
    return decided, draws


def _fit_censored(task, exact, tick):
    """What is decided from models of the readings, the last draw of all of them if any, and the
    model for more draws.

    What is hidden is drawn by models with the prior UNBIASED. Those with the prior WIDE expect too
    large a sill, and draws made with them would add to the next sill, round after round.
    """
    count, task, exact = len(task.sites), task.thinned(FIT_MOST), exact.thinned(FIT_MOST)
    sites, values, rounds = task.sites, None, []
    step = 1 / (REFITS + 1)
    _, averaged = _fitted(exact, exact.sites.values, lambda part: tick(step * part))
    for refit in range(1, REFITS + 1):
        values = draw_censored(
            sites.positions_m, sites.values, sites.error_variance, sites.censoring,
            averaged[1][0], start=values, drift=task.drift, seed=task.seed + refit - 1,
            tick=lambda part, refit=refit: tick(step * (refit + 0.2 * part)))[0]
        candidates, averaged = _fitted(
            task, values, lambda part, refit=refit: tick(step * (refit + 0.2 + 0.8 * part)))
        rounds.append(averaged)
    wide, unbiased = (tuple(mean_model(each) for each in zip(*of_prior))
                      for of_prior in zip(*rounds[SETTLING:]))
    decided = _decide(task, values, candidates, wide, count, _model_of_map,
                      lambda part: tick(1.0))
    return (decided, values if len(sites) == count else None,
            unbiased[0 if decided.model is wide[0] else 1])


def _fitted(task, values, tick):
    """The candidates, the best first, and what `_averaged` makes of them."""
    candidates = _candidates(task, values, lambda part: tick(0.7 * part))
    return candidates, _averaged(task, values, candidates, lambda part: tick(0.7 + 0.3 * part))


def _model_of_map(task, values, tick):
    """The model that a map of the readings would be drawn with."""
    return _fitted(task, values, tick)[1][0][0]


def _given(task, validation):
    return _Chosen(task.model, [], validation, "The model was given, not fitted.",
                   task.drift is not None, None)


def _candidates(task, values, tick):
    sites = task.sites
    if np.ptp(values) == 0 or len(values) < 3:
        spread = float(values.var(ddof=1))
        return [Fit(CovarianceModel(NUGGET, spread), float("nan"), float("nan"))]
    return fit_reml(sites.positions_m, values, sites.error_variance, families=task.families,
                    drift=task.drift, heading_deg=task.heading_deg, tick=tick)


def _averaged(task, values, candidates, tick):
    """Of the priors WIDE and UNBIASED the averaged model of the best structured candidate, and
    that about the plain mean.

    Both are the same where nothing is structured; with drift, AICc says whether anything is.
    """
    sites, best = task.sites, candidates[0].model
    if np.ptp(values) == 0 or len(values) < 3:
        return (best, best), (best, best)
    if task.drift is None:
        best = _structured(candidates)
    readings = sites.positions_m, values, sites.error_variance
    priors = WIDE, UNBIASED
    return tuple(zip(
        averaged_models(*readings, best, drift=task.drift, priors=priors,
                        tick=lambda part: tick(0.9 * part)),
        averaged_models(*readings, CovarianceModel(NUGGET, 0.0), priors=priors,
                        tick=lambda part: tick(0.9 + 0.1 * part))))


def _decide(task, values, candidates, averaged, count, fit, tick):
    """Map or mean, from the models of some or all of `count` readings.

    Parameters
        fit  function of a task, values and a tick that returns the model of a map of them
    """
    best, flat = averaged
    equal, structured = np.ptp(values) == 0, best.structured or task.drift is not None
    validation = _checked(task, values, best, fit, tick) if structured else None
    mapped = structured and validation.skill > 0
    more = UNTOLD  # nor is it of a drift, whose part of the skill the model does not tell
    if (best.structured and task.drift is None and not equal
            and LEAST_FOR_MAP <= count == len(task.sites) <= FIT_MOST
            and not (mapped and validation.skill >= CLEAR_SKILL)):
        more = further_readings(task.sites.positions_m, task.sites.error_variance, best,
                                task.ground_m, CLEAR_SKILL, tick=lambda part: tick(1.0))
    if mapped:
        return _Chosen(best, candidates, validation,
                       verdict_of_map(validation, task.sites.unit, more), task.drift is not None)
    verdict = verdict_of_mean(
        count, LEAST_FOR_MAP, equal=equal, more=more,
        structured=candidates[0].model.structured or task.drift is not None)
    return _Chosen(flat, candidates, _validation(replace(task, drift=None), values, flat), verdict)


def _checked(task, values, model, fit, tick):
    """The validation of a map's model, or of the way it is fitted where that is asked for."""
    if not task.refit:
        return _validation(task, values, model)
    sites = task.sites

    def fitted(kept, told):
        anew = fit(task.of(kept), values[kept], told)
        if anew.sill + sites.error_variance.min() > 0:
            return anew
        # those kept are all alike: they predict the same, but how far off tell only all readings
        return CovarianceModel(NUGGET, float(values.var(ddof=1)))

    return refitted_check(sites.positions_m, values, sites.error_variance, fitted,
                          drift=task.drift, seed=task.seed, tick=tick)


def _validation(task, values, model):
    sites = task.sites
    if model.sill + sites.error_variance.min() <= 0:
        return None  # nothing varies: there is no error to check
    return leave_one_out(sites.positions_m, values, sites.error_variance, model, drift=task.drift)


def _carries(sites):
    """Whether a surface carries its readings: those of larger sets weigh in their own
    neighbourhoods only."""
    return len(sites) <= GLOBAL_MOST


def _account(observations, sites, values, chosen, settings, drift):
    account = {
        "observations": len(observations), "places": len(sites),
        "deeper_or_more": int(np.count_nonzero(observations.censoring == ABOVE)),
        "shallower_or_less": int(np.count_nonzero(observations.censoring == BELOW)),
        "method": _method(chosen),
        "model": _plain(chosen.model), "fitted_by": chosen.fitted_by,
        "candidates": [{**_plain(fit.model), "log_likelihood": fit.log_likelihood,
                        "aicc": fit.aicc} for fit in chosen.candidates],
        "validation": None, "verdict": chosen.verdict, "sites": None}
    if chosen.validation is not None:
        account["validation"] = {
            name: number for name, number in asdict(chosen.validation).items()
            if name not in ("errors", "variance")} | {"skill": chosen.validation.skill}
    if settings.block_m is not None:
        account["block_m"] = settings.block_m
    if drift is not None:
        account["drift"] = list(settings.drift_names)
    if _carries(sites):
        drawn = values.var(axis=0)  # what is not known of censored readings; 0 of the others
        account |= account_of_readings(sites.positions_m, values.mean(axis=0),
                                       sites.error_variance + drawn, drift, settings.covariates)
    return account


def _method(chosen):
    if chosen.drifts:
        return "universal kriging" if chosen.model.structured else "regression on the drift"
    return "ordinary kriging" if chosen.model.structured else MEAN


def _plain(model):
    """The model as numbers that JSON can hold: without structure range and heading say nothing."""
    plain = asdict(model)
    if not model.nested:
        del plain["long_sill"], plain["long_range_m"]
    if not np.isfinite(model.range_m):
        del plain["range_m"], plain["heading_deg"], plain["ratio"]
    return plain


_TOO_FEW = ("{name}: {count} readings give figures at too few places ({exact}); a mean with its "
            "error needs at least {least}. Take readings at more places.")
_NO_SPREAD = ("{name}: all {count} readings show the same figure, some only as a limit, and none "
              "has an error of its own, so nothing tells how far beyond the limit the others may "
              "lie. Give the error of the readings.")
_MANY_LIMITS = ("{name}: {count:,} readings came, some of them known only as limits; at most "
                "{most:,} can be drawn together. Thin the layer, or leave those that are limits "
                "out.")
