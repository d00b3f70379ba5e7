"""The tillage plan: how deep to loosen each part of the field, and where to leave it alone."""
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from ..plan import Plan, PlanZone
from ..problems import InputProblem
from ..units import convert
from ..zone.patches import patches
from ..zone.statistics import zone_map_of
from ..zone.workable import workable_classes
from ..zone_map import OUTSIDE
from .cautions import DEEP_TILLAGE
from .checks import require_number
from .draft import sources as draft_sources
from .plan_zones import require_surface, shape_settings, zone_means
from .tillage_energy import (
    energy_cautions,
    figures_of_field,
    figures_of_zone,
    settings_of_rig,
    tillage_energy,
)

LEAVE, TILL, BEYOND = "leave", "till", "cannot reach"
LIKELY = 0.5  # chance of a pan from which ground counts as holding one, unless told otherwise
WIDEST_MARGIN_IN = 2.0  # US Forest Service, guide to subsoiling (0834-2828): 1 to 2 in below
_ROUNDING = 1e-9  # of a step: a depth this little above a step is on it


@dataclass(frozen=True)
class TillageSettings:
    """Reach of the tool and cost of the pass.

    least, greatest   shallowest and deepest setting of the tool, in `depth_unit`
    step              depths are set in multiples of this
    margin            how far below the bottom of the pan to run
    cost_per_area     of one pass, currency per area unit
    chance_limit      a cell is tilled when a pan within reach is at least this likely, 0 to 1
    """
    least: float
    greatest: float
    step: float
    margin: float
    cost_per_area: float
    currency: str
    depth_unit: str = "in"
    chance_limit: float = LIKELY

    def __post_init__(self):
        unit = self.depth_unit
        require_number("tillage_least", self.least, unit, at_least=0)
        require_number("tillage_greatest", self.greatest, unit, above=0)
        require_number("tillage_step", self.step, unit, above=0)
        require_number("tillage_margin", self.margin, unit, at_least=0)
        require_number("tillage_cost", self.cost_per_area, self.currency, at_least=0)
        require_number("chance_limit", self.chance_limit, "chance", at_least=0, at_most=1)
        if self.least > self.greatest:
            raise InputProblem(f"tillage_least ({self.least:g} {unit}) is deeper than "
                               f"tillage_greatest ({self.greatest:g} {unit}). Enter the "
                               "shallowest depth the tool can run at, then the deepest.")


def depth_to_set(bottom, settings):
    """Return the depth to set for each pan bottom, NaN where the tool cannot reach.

    The bottom plus the margin is rounded up to the step, then held within the tool's reach: a
    depth that only the rounding takes past the greatest is run at the greatest.

    Parameters
        bottom    float or array, in the settings' depth unit
        settings  TillageSettings
    Returns  depths, of the same shape
    Source   bottom plus margin: US Forest Service, guide to subsoiling (0834-2828); rounding and
             limits are this program's rule
    """
    wanted = np.asarray(bottom, float) + settings.margin
    rounded = np.ceil(wanted / settings.step - _ROUNDING) * settings.step
    held = np.clip(rounded, settings.least, settings.greatest)
    return np.where(wanted > settings.greatest + _ROUNDING * settings.step, np.nan, held)


def require_some_pan(chance):
    """Refuse a chance of a pan that is nothing everywhere: there is nothing to plan.

    Raises   InputProblem: no cell inside the field has a chance above 0
    """
    if not (chance.estimate[chance.inside > 0] > 0).any():
        raise InputProblem(f"{chance.name} is 0 everywhere: no stop met a pan within reach, so "
                           "there is nothing to loosen and no plan is made. Check the limit of a "
                           "pan and how deep was probed if you expected one.")


def tillage_plan(bottom, chance, settings, *, area_unit, shape, rig=None, tick=None):
    """Return the depth to run in each zone, 0 where the ground is left alone.

    A cell is left where a pan within reach is less likely than the settings' chance limit, and
    marked "cannot reach" where its bottom plus margin is deeper than the tool goes: part depth is
    never prescribed. Edges are smoothed and patches below the smallest area join their neighbours
    in such a way that no cell is worked shallower than it needs: a small deep patch is enlarged
    instead. Each connected patch of one depth is a zone. A left zone gains the cost of the pass
    over its area, against tilling the whole field; other zones gain 0. That saving is certain once
    the zone is left, so its interval has no width: what is uncertain is the depth, and the figures
    say how likely it clears the bottom. The standard error of the bottom in a zone is that of a
    typical cell (root mean square), not of the zone's mean, which is surer.

    With a rig the figures also tell draft, power, fuel and hours, and what is saved against one
    depth, that of the deepest zone, run over the same ground. Where its fuel has a price, a tilled
    zone gains what its shallower depth saves of it, with the range of the draft table as interval;
    the pass that a left zone saves has its fuel within.

    Parameters
        bottom     Surface of the pan's bottom, in the settings' depth unit
        chance     Surface of the chance (0 to 1) of a pan within reach, same grid
        settings   TillageSettings
        area_unit  ac or ha, that of the cost
        shape      WorkableShape of the zones
        rig        Rig of tool and tractor; None where they are not known
        tick       called with the fraction done; may raise Stopped
    Returns  Plan, its rate in the depth unit
    Raises   InputProblem: units or grids disagree, a cell has no figure, a chance is no chance
    """
    _require_agreement(bottom, chance, settings)
    tick = tick or (lambda fraction: None)
    inside, field = bottom.inside, bottom.inside > 0
    depths = np.full(bottom.grid.shape, np.nan)
    depths[field] = depth_to_set(bottom.estimate[field], settings)
    tick(0.1)
    classes, levels = _classes(depths, chance.estimate, field, settings)
    classes = workable_classes(classes, inside, cell_m=bottom.grid.cell_m,
                               shape=replace(shape, ordered=True),
                               tick=lambda part: tick(0.2 + 0.6 * part))
    zone_map, rates = _zones(bottom, classes, levels, lambda part: tick(0.8 + 0.2 * part))
    areas = convert([zone.area_m2 for zone in zone_map.zones], "m2", area_unit)
    zones = _plan_zones(zone_map, rates, areas, bottom, chance, settings, area_unit)
    cautions, sources, figures = _cautions(
        zones, settings, area_unit, everywhere=bool((chance.estimate[field] >= 1).all())), (), {}
    compared = np.array([zone.title != BEYOND for zone in zone_map.zones])
    energy = None if rig is None else tillage_energy(
        np.nan_to_num(rates), areas * compared, rig, depth_unit=settings.depth_unit,
        area_unit=area_unit)
    if energy is not None:
        zones = tuple(_with_energy(zone, energy, rig) if zone.action == TILL else zone
                      for zone in zones)
        cautions = (*energy_cautions(zones, energy, rig), *cautions)
        sources, figures = draft_sources(), figures_of_field(energy, rig, settings.currency)
    gain, low, high = (sum(getattr(zone, name) for zone in zones)
                       for name in ("gain", "gain_low", "gain_high"))
    return Plan(
        name="Tillage plan", rate_unit=settings.depth_unit, area_unit=area_unit,
        currency=settings.currency, zone_map=zone_map, zones=zones,
        settings={**_settings(settings, area_unit), **shape_settings(shape, area_unit),
                  **({} if rig is None else settings_of_rig(rig, settings.currency))},
        sources=("Depth below the pan: US Forest Service, Using Subsoiling to Reduce Soil "
                 "Compaction (0834-2828). Rounding and reach: this program's rule.", *sources),
        cautions=cautions, gain=gain, gain_low=low, gain_high=high, figures=figures)


def _require_agreement(bottom, chance, settings):
    require_surface(bottom, settings.depth_unit)
    if chance.grid != bottom.grid:
        raise InputProblem(f"{chance.name} and {bottom.name} are not on the same grid: "
                           f"{chance.grid.shape} and {bottom.grid.shape} cells of "
                           f"{chance.grid.cell_m:g} and {bottom.grid.cell_m:g} m.")
    within = chance.estimate[bottom.inside > 0]
    wrong = np.count_nonzero(~((within >= 0) & (within <= 1)))
    if wrong:
        raise InputProblem(f"{chance.name}: {wrong} of {within.size} cells inside the field hold "
                           "no chance between 0 and 1.")


def _classes(depths, chance, field, settings):
    """Return a class for each cell and the rate of each class: 0 left, a depth, NaN beyond."""
    tilled = field & (chance >= settings.chance_limit)
    within = np.where(np.isnan(depths[tilled]), np.inf, depths[tilled])
    levels, number = np.unique(within, return_inverse=True)
    classes = np.where(field, 0, OUTSIDE)
    classes[tilled] = 1 + number
    return classes, np.append(0.0, np.where(np.isinf(levels), np.nan, levels))


def _zones(bottom, classes, levels, tick):
    """Return the zone map of connected patches, and the rate of each zone (NaN beyond reach)."""
    numbers, count = patches(classes, tick=lambda part: tick(0.5 * part))
    field = numbers != OUTSIDE
    class_of = np.zeros(count, int)
    class_of[numbers[field]] = classes[field]
    rates = levels[class_of]
    titles = [_action(rate) for rate in rates]
    zone_map = zone_map_of("Tillage plan", bottom.unit, bottom.grid, bottom.inside, numbers,
                           bottom.estimate, titles, tick=lambda part: tick(0.5 + 0.5 * part))
    renumbered = np.zeros(count)
    renumbered[zone_map.labels[field]] = rates[numbers[field]]
    return zone_map, renumbered


def _action(rate):
    if np.isnan(rate):
        return BEYOND
    return TILL if rate > 0 else LEAVE


def _plan_zones(zone_map, rates, areas, bottom, chance, settings, area_unit):
    field, labels = bottom.inside > 0, zone_map.labels
    clears = np.zeros(bottom.grid.shape)
    clears[field] = _chance_to_clear(np.nan_to_num(rates)[labels[field]], bottom.estimate[field],
                                     bottom.standard_error[field])
    count = len(zone_map.zones)
    pan = zone_means(labels, bottom.inside, chance.estimate, count)
    cleared = zone_means(labels, bottom.inside, clears, count)
    error = np.sqrt(zone_means(labels, bottom.inside, bottom.standard_error**2, count))
    zones = []
    for zone in zone_map.zones:
        number, area = zone.label, float(areas[zone.label])
        saved = settings.cost_per_area if zone.title == LEAVE else 0.0
        tilled = zone.title == TILL
        zones.append(PlanZone(
            label=number, action=zone.title, rate=float(rates[number]) if tilled else 0.0,
            area=area, gain_per_area=saved, gain=saved * area, gain_low=saved * area,
            gain_high=saved * area, chance=float(pan[number]),
            figures={
                "mean pan bottom": (zone.mean, bottom.unit),
                "standard error of the bottom": (float(error[number]), bottom.unit),
                **(_of_tilled(cleared[number], area, settings) if tilled else {})}))
    return tuple(zones)


def _with_energy(zone, energy, rig):
    """Return a tilled zone with what it takes and, where fuel has a price, what it saves."""
    figures = {**zone.figures, **figures_of_zone(energy, zone.label, zone.area, rig)}
    price = rig.fuel_price or 0.0
    gain, low, high = (float(saved[zone.label]) * price
                       for saved in (energy.fuel_saved, energy.saved_low, energy.saved_high))
    return replace(zone, gain_per_area=gain / zone.area, gain=gain, gain_low=low, gain_high=high,
                   figures=figures)


def _of_tilled(cleared, area, settings):
    return {"chance that the depth clears the bottom": (float(100 * cleared), "%"),
            "cost of tilling": (settings.cost_per_area * area, settings.currency)}


def _chance_to_clear(depth, bottom, standard_error):
    sure = standard_error == 0
    z = (depth - bottom) / np.where(sure, 1.0, standard_error)
    return np.where(sure, (depth >= bottom).astype(float), ndtr(z))


def _settings(settings, area_unit):
    unit = settings.depth_unit
    return {
        "tillage_least": (settings.least, unit), "tillage_greatest": (settings.greatest, unit),
        "tillage_step": (settings.step, unit), "tillage_margin": (settings.margin, unit),
        "tillage_cost": (settings.cost_per_area, f"{settings.currency}/{area_unit}"),
        "chance_limit": (settings.chance_limit, "")}


def _cautions(zones, settings, area_unit, everywhere):
    said = []
    if everywhere:
        said.append("Every stop met a pan within reach. Fields where that is so are few: check the "
                    "limit, the cone and the soil's moisture, and dig, before you loosen all of "
                    "it.")
    beyond = sum(zone.area for zone in zones if zone.action == BEYOND)
    if beyond:
        said.append(f"On {beyond:.1f} {area_unit} the pan lies deeper than the tool reaches "
                    f"({settings.greatest:g} {settings.depth_unit}). No depth is set there, since "
                    "part depth leaves the pan in place; no saving is counted either.")
    if convert(settings.margin, settings.depth_unit, "in") > WIDEST_MARGIN_IN + _ROUNDING:
        said.append(f"The margin of {settings.margin:g} {settings.depth_unit} is more than "
                    f"{WIDEST_MARGIN_IN:g} in ({convert(WIDEST_MARGIN_IN, 'in', 'cm'):g} cm): a "
                    "point run that far below may leave the layer whole or press it further.")
    return (*said, *DEEP_TILLAGE)
