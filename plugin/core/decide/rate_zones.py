"""Zones of one rate each, for a product whose rate follows a surface (nitrogen, lime)."""
from dataclasses import dataclass

import numpy as np

from ..plan import Plan, PlanZone
from ..units import convert
from ..zone.patches import patches
from ..zone.statistics import zone_map_of
from ..zone.workable import workable_classes
from ..zone_map import OUTSIDE
from .checks import require_number
from .plan_zones import drawn_zone_means, shape_settings, zone_means

APPLY, NONE = "apply", "none"
_ROUNDING = 1e-9  # steps: what a tie may lose on its way through units
INTERVAL = (0.05, 0.95)  # of the draws: the 90 % interval


@dataclass(frozen=True)
class RateSettings:
    """How a product is spread, and what it costs; rates in `rate_unit`.

    product         nitrogen or lime, as the record names its settings
    step            rates are set in multiples of this
    greatest        no zone gets more
    least           the least rate worth a pass, or that can be set; 0 where there is none
    usual_rate      spread everywhere without a test; None where there is no such habit
    price           currency for one mass unit of the rate; None where it is not known
    """
    product: str
    rate_unit: str
    currency: str
    step: float
    greatest: float
    usual_rate: float = None
    price: float = None
    least: float = 0.0

    @property
    def first(self):
        """The least rate that is set, above 0."""
        return max(np.ceil(self.least / self.step * (1 - 1e-12)), 1) * self.step

    @property
    def last(self):
        """The greatest rate that is set: the last step within the greatest."""
        return np.floor(self.greatest / self.step * (1 + 1e-12)) * self.step

    def __post_init__(self):
        product, unit = self.product, self.rate_unit
        require_number(f"{product}_step", self.step, unit, above=0)
        require_number(f"{product}_greatest", self.greatest, unit, at_least=self.step)
        require_number(f"{product}_least", self.least, unit, at_least=0, at_most=self.last)
        if self.usual_rate is not None:
            require_number(f"usual_{product}", self.usual_rate, unit, at_least=0)
        if self.price is not None:
            mass = unit.split("/")[0]
            require_number(f"{product}_price", self.price, f"{self.currency}/{mass}", at_least=0)


@dataclass(frozen=True)
class SoilTest:
    """The soil test that sets a rate: what it is called, and the results it may have.

    name, unit  as people read them
    results     (q,) rising, over which it is looked up where a zone's rate would change
    error       a usual error of one result: the money it moves is told
    """
    name: str
    unit: str
    results: np.ndarray
    error: float


def to_step(rates, settings):
    """Return rates rounded to the nearest that can be set: 0, or from the first to the last.

    A rate half way between two goes up, so that every unit of it decides alike.
    """
    steps = np.asarray(rates, float) / settings.step + _ROUNDING
    stepped = np.clip(np.floor(steps + 0.5) * settings.step, settings.first, settings.last)
    return np.where(steps >= settings.first / settings.step / 2, stepped, 0.0)


def rate_plan(name, surface, needed, draws, drawn_cells, spread, *, test, need_of_zones, area_unit,
              shape, figures, settings, sources, cautions, tick=None):
    """Return zones that each get one rate of a product.

    Cells are classed by their needed rate to the step, given a shape that a spreader can work, and
    each zone gets the mean rate its cells need, to the step. A zone's
    gain is what its rate saves against the usual rate, certain once the rate is spread; without
    a usual rate or a price it is 0.

    How sure the need itself is stands among the figures: its 90 % interval, and as the zone's
    chance that the need is worth a pass. Both take the mean of the test over the zone in each
    draw, and the need by that mean, as the rules do, which are made for a sample of many cores.
    Beside them stand the results between which the zone's rate holds, and the money that one
    error of the test moves.

    Parameters
        surface        Surface of the test, for grid, area and zone means
        needed         (rows, columns) rate each cell needs, in the spread's unit
        draws          (d, m) draws of the test at m cells, jointly
        drawn_cells    (m,) their flat cell numbers
        spread         RateSettings
        test           SoilTest
        need_of_zones  function of a ZoneMap of k zones and test results (n, k): needs (n, k),
                       which fall, or stay, as the result rises
        figures        name -> ((rows, columns) values, unit), whose zone means are told too
        shape          WorkableShape of the zones
        settings       of the Plan; those of the spread and the shape are added
        sources, cautions   of the Plan
        tick           called with the fraction done; may raise Stopped
    Returns  Plan
    """
    tick = tick or (lambda fraction: None)
    zone_map = _zones(name, surface, needed, spread, shape, lambda part: tick(0.9 * part))
    needs = _needs(zone_map.labels, surface.inside, needed, len(zone_map.zones))
    drawn = need_of_zones(zone_map, drawn_zone_means(zone_map, draws, drawn_cells))
    zones = _plan_zones(zone_map, needs, drawn, spread, area_unit, [
        {**means, **moved} for means, moved in zip(
            _means(zone_map, figures),
            _sensitivity(zone_map, to_step(needs, spread), need_of_zones, spread, test))])
    tick(1.0)
    gain = sum(zone.gain for zone in zones)
    return Plan(
        name=name, rate_unit=spread.rate_unit, area_unit=area_unit, currency=spread.currency,
        zone_map=zone_map, zones=zones, sources=sources,
        cautions=(*_held(needs, spread), *cautions),
        settings={**settings, **_settings(spread), **shape_settings(shape, area_unit)},
        gain=gain, gain_low=gain, gain_high=gain, rate_of=spread.product)


def _zones(name, surface, needed, spread, shape, tick):
    """Return the ZoneMap of connected zones of one rate each."""
    inside, field = surface.inside, surface.inside > 0
    classes = np.full(surface.grid.shape, OUTSIDE)
    _, classes[field] = np.unique(to_step(needed[field], spread), return_inverse=True)
    classes = workable_classes(classes, inside, cell_m=surface.grid.cell_m, shape=shape,
                               tick=lambda part: tick(0.7 * part))
    numbers, count = patches(classes, tick=lambda part: tick(0.7 + 0.1 * part))
    rates = to_step(_needs(numbers, inside, needed, count), spread)
    _, by_rate = np.unique(rates, return_inverse=True)
    joined = np.where(field, by_rate[numbers], OUTSIDE)  # neighbours of one rate are one zone
    numbers, count = patches(joined, tick=lambda part: tick(0.8 + 0.1 * part))
    return zone_map_of(name, surface.unit, surface.grid, inside, numbers, surface.estimate,
                       [""] * count, tick=lambda part: tick(0.9 + 0.1 * part))


def _needs(labels, inside, needed, count):
    """Return (k,) mean needs of the zones."""
    return zone_means(labels, inside, np.where(inside > 0, needed, 0.0), count)


def _held(needs, spread):
    """Return what is to be said of zones that need more than the greatest rate, if there are."""
    short = np.count_nonzero(needs >= spread.last + spread.step / 2)
    if not short:
        return ()
    return (f"In {short} of {len(needs)} zones the need is above the greatest {spread.product} "
            "rate entered; no more than that is planned there. The need of each zone stands beside "
            "its rate.",)


def _plan_zones(zone_map, needs, drawn, spread, area_unit, figures):
    rates = to_step(needs, spread)
    low, high = np.quantile(drawn, INTERVAL, axis=0)
    chance = (drawn >= spread.first / 2).mean(axis=0)
    mass = spread.rate_unit.split("/")[0]
    zones = []
    for zone in zone_map.zones:
        number, rate = zone.label, float(rates[zone.label])
        area, saved = float(convert(zone.area_m2, "m2", area_unit)), _saved(rate, spread)
        zones.append(PlanZone(
            label=number, action=APPLY if rate > 0 else NONE, rate=rate, area=area,
            gain_per_area=saved, gain=saved * area, gain_low=saved * area,
            gain_high=saved * area, chance=float(chance[number]),
            figures={
                "need": (float(needs[number]), spread.rate_unit),
                "need, low": (float(low[number]), spread.rate_unit),
                "need, high": (float(high[number]), spread.rate_unit),
                "amount": (rate * area, mass),
                **({} if spread.price is None else
                   {"cost": (rate * area * spread.price, spread.currency)}),
                **figures[number]}))
    return tuple(zones)


def _means(zone_map, figures):
    """Return for each zone the mean of each figure, name -> (value, unit)."""
    means = {name: (zone_means(zone_map.labels, zone_map.inside,
                               np.where(zone_map.inside > 0, values, 0.0), len(zone_map.zones)),
                    unit) for name, (values, unit) in figures.items()}
    return [{name: (float(values[zone.label]), unit) for name, (values, unit) in means.items()}
            for zone in zone_map.zones]


def _sensitivity(zone_map, rates, need_of_zones, spread, test):
    """Return for each zone between which results its rate holds, and what one error moves.

    An end that no result reaches is left out.
    """
    def need(results):
        return need_of_zones(zone_map, results)

    mean = np.array([zone.mean for zone in zone_map.zones])
    stepped = to_step(need(np.tile(test.results[:, None], len(mean))), spread)
    more, less = stepped > rates + spread.step / 2, stepped < rates - spread.step / 2
    moved = np.abs(np.subtract(*np.minimum(
        need(mean + 0.5 * test.error * np.array([[-1.0], [1.0]])), spread.last)))
    of_error = f"for {test.error:g} {test.unit} of {test.name}".replace("  ", " ")
    area = spread.rate_unit.split("/")[1]
    found = []
    for number, moves in enumerate(moved):
        told = {}
        if more[:, number].any():
            told[f"more up to a {test.name} of"] = (
                float(test.results[more[:, number]].max()), test.unit)
        if less[:, number].any():
            told[f"less from a {test.name} of"] = (
                float(test.results[less[:, number]].min()), test.unit)
        told[f"rate {of_error}"] = (float(moves), spread.rate_unit)
        if spread.price is not None:
            told[f"money {of_error}"] = (float(moves * spread.price),
                                         f"{spread.currency}/{area}")
        found.append(told)
    return found


def _saved(rate, spread):
    """Return the money per area that a rate saves against the usual one; 0 where not known."""
    if spread.usual_rate is None or spread.price is None:
        return 0.0
    return (spread.usual_rate - rate) * spread.price


def _settings(spread):
    product, unit = spread.product, spread.rate_unit
    told = {f"{product}_step": (spread.step, unit), f"{product}_greatest": (spread.greatest, unit)}
    if spread.least:
        told[f"{product}_least"] = (spread.least, unit)
    if spread.usual_rate is not None:
        told[f"usual_{product}"] = (spread.usual_rate, unit)
    if spread.price is not None:
        told[f"{product}_price"] = (spread.price, f"{spread.currency}/{unit.split('/')[0]}")
    return told
