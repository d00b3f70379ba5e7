"""Zones of one rate each, for a product whose rate follows a surface (nitrogen, lime)."""
from dataclasses import dataclass

import numpy as np

from ..plan import Plan, PlanZone
from ..units import convert
from ..zone.patches import patches
from ..zone.statistics import zone_map_of
from ..zone.workable import WorkableShape, workable_classes
from ..zone_map import OUTSIDE
from .checks import require_number
from .plan_zones import drawn_zone_means, zone_means

APPLY, NONE = "apply", "none"
INTERVAL = (0.05, 0.95)  # of the draws: the 90 % interval


@dataclass(frozen=True)
class RateSettings:
    """How a product is spread, and what it costs; rates in `rate_unit`.

    step            rates are set in multiples of this
    greatest        no zone gets more
    usual_rate      spread everywhere without a test; None where there is no such habit
    price           currency for one mass unit of the rate; None where it is not known
    """
    rate_unit: str
    currency: str
    step: float
    greatest: float
    usual_rate: float = None
    price: float = None

    def __post_init__(self):
        require_number("rate_step", self.step, self.rate_unit, above=0)
        require_number("greatest_rate", self.greatest, self.rate_unit, at_least=self.step)
        if self.usual_rate is not None:
            require_number("usual_rate", self.usual_rate, self.rate_unit, at_least=0)
        if self.price is not None:
            mass = self.rate_unit.split("/")[0]
            require_number("price", self.price, f"{self.currency}/{mass}", at_least=0)


def to_step(rates, settings):
    """Return rates rounded to the nearest step, from 0 up to the last step within the greatest."""
    last = np.floor(settings.greatest / settings.step * (1 + 1e-12)) * settings.step
    return np.clip(np.round(np.asarray(rates, float) / settings.step) * settings.step, 0.0, last)


def rate_plan(name, surface, needed, drawn_needed, drawn_cells, spread, *, area_unit,
              smallest_area_m2, smooth_radius_cells, figures, settings, sources, cautions):
    """Return zones that each get one rate of a product.

    Cells are classed by their needed rate to the step, smoothed, patches below the smallest area
    join their neighbours, and each zone gets the mean rate its cells need, to the step. A zone's
    gain is what its rate saves against the usual rate, certain once the rate is spread; without
    a usual rate or a price it is 0. How sure the need itself is stands among the figures: its
    90 % interval over the draws, and the chance that the zone needs at least half a step.

    Parameters
        surface       Surface behind the need, for grid, area and zone means
        needed        (rows, columns) rate each cell needs, in the spread's unit
        drawn_needed  (d, m) the same for draws at m cells, jointly
        drawn_cells   (m,) their flat cell numbers
        spread        RateSettings
        figures       name -> ((rows, columns) values, unit), whose zone means are told too
        settings      of the Plan; those of the spread, the smallest zone and the smoothing are
                      added
        sources, cautions   of the Plan
    Returns  Plan
    """
    inside, field = surface.inside, surface.inside > 0
    needed = np.where(field, needed, 0.0)
    classes = np.full(surface.grid.shape, OUTSIDE)
    _, classes[field] = np.unique(to_step(needed[field], spread), return_inverse=True)
    cell_m = surface.grid.cell_m
    classes = workable_classes(classes, inside, cell_m=cell_m, shape=WorkableShape(
        machine_width_m=2 * smooth_radius_cells * cell_m, smallest_area_m2=smallest_area_m2))
    numbers, count = patches(classes)
    rates = to_step(zone_means(numbers, inside, needed, count), spread)
    _, by_rate = np.unique(rates, return_inverse=True)
    numbers, count = patches(np.where(field, by_rate[numbers], OUTSIDE))  # equal neighbours join
    zone_map = zone_map_of(name, surface.unit, surface.grid, inside, numbers, surface.estimate,
                           [""] * count)
    zones = _plan_zones(zone_map, needed, drawn_zone_means(zone_map, drawn_needed, drawn_cells),
                        spread, area_unit, figures)
    gain = sum(zone.gain for zone in zones)
    return Plan(
        name=name, rate_unit=spread.rate_unit, area_unit=area_unit, currency=spread.currency,
        zone_map=zone_map, zones=zones, sources=sources, cautions=cautions,
        settings={**settings, **_settings(spread),
                  "smallest_zone": (float(convert(smallest_area_m2, "m2", area_unit)), area_unit),
                  "smoothing_radius": (smooth_radius_cells * surface.grid.cell_m, "m")},
        gain=gain, gain_low=gain, gain_high=gain)


def _plan_zones(zone_map, needed, drawn, spread, area_unit, figures):
    inside, labels, count = zone_map.inside, zone_map.labels, len(zone_map.zones)
    rates = to_step(zone_means(labels, inside, needed, count), spread)
    low, high = np.quantile(drawn, INTERVAL, axis=0)
    chance = (drawn >= spread.step / 2).mean(axis=0)
    means = {name: (zone_means(labels, inside, np.where(inside > 0, values, 0.0), count), unit)
             for name, (values, unit) in figures.items()}
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
                **{name: (float(values[number]), unit) for name, (values, unit) in means.items()},
                "need, low": (float(low[number]), spread.rate_unit),
                "need, high": (float(high[number]), spread.rate_unit),
                "amount": (rate * area, mass),
                **({} if spread.price is None else
                   {"cost": (rate * area * spread.price, spread.currency)})}))
    return tuple(zones)


def _saved(rate, spread):
    """Return the money per area that a rate saves against the usual one; 0 where not known."""
    if spread.usual_rate is None or spread.price is None:
        return 0.0
    return (spread.usual_rate - rate) * spread.price


def _settings(spread):
    told = {"rate_step": (spread.step, spread.rate_unit),
            "greatest_rate": (spread.greatest, spread.rate_unit)}
    if spread.usual_rate is not None:
        told["usual_rate"] = (spread.usual_rate, spread.rate_unit)
    if spread.price is not None:
        mass = spread.rate_unit.split("/")[0]
        told["price"] = (spread.price, f"{spread.currency}/{mass}")
    return told
