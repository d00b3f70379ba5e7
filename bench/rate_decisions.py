"""Rates of nitrogen and lime on simulated fields of known truth, beside plainer ways of choosing.

Fields of 35 ha are drawn and sampled as in `simulated_fields.py`. The first tables: what the rates
of a sidedress plan, of one rate by the field's mean and of plain maps cost beyond the rates that
the true nitrate of every cell asks for. Then the same for lime by pH and buffer pH. Below each: how
often the 90 % intervals of the zones' needs hold the truth. `--fields N` draws N fields for each n
(200), `--seed S` draws others, `--table NAME` makes those of one product alone, `--processes P`
works on P fields at once (2).
"""
from functools import partial

import numpy as np

from bench.decisions import ratio_with_error
from bench.simulated_fields import (
    CELLS,
    COUNTS,
    GRID,
    WHOLE,
    inverse_distance,
    simulated_field,
    textbook_kriging,
)
from bench.tables import print_tables
from plugin.core.decide.lime import lime_plan
from plugin.core.decide.lime_methods import CLAMP, lime_needed, load_lime_method
from plugin.core.decide.nitrate_rules import NitrogenSite, load_nitrate_rule, nitrogen_needed
from plugin.core.decide.rate_zones import RateSettings, to_step
from plugin.core.decide.sidedress import sidedress_plan
from plugin.core.interpolate.draws_of_surface import draws_of_surface
from plugin.core.interpolate.estimate import estimate_surface
from plugin.core.observations import Observations
from plugin.core.zone.workable import WorkableShape

WAYS = ("this plan", "field mean", "textbook map", "inverse distance")
SHORTS = (1, 3)          # a unit too little costs so many times what a unit too much does
LARGE = 20               # cells: zones of 1.25 ha or more are also told apart
DRAWS = 400

# Logarithm of nitrate (ppm): nitrate is nearly always lognormal (Starr et al. 1992, Soil Science
# Society of America Journal 56:1824-1830); the numbers, as the prices, are made up.
NITRATE = (np.log(17.0), 0.35)
LABORATORY_PPM = 1.0     # standard error of one result
RULE = load_nitrate_rule("sidedress_iowa_1997")
SITE = NitrogenSite(crop="corn", rate_unit="lb/ac", yield_unit="bu/ac", wet_spring=False)
NITROGEN = RateSettings("nitrogen", "lb/ac", "USD", step=10, greatest=150, price=0.60)

BUFFER = (6.35, 0.25)    # pH: mean and standard deviation
PH_AT, PH_SLOPE = 5.9, 1.2  # pH at the mean buffer pH, and its rise for each 1 of buffer pH
PH_NOISE, LABORATORY_PH = 0.15, 0.05
METHOD = load_lime_method("lime_oregon_2025")
LIME = RateSettings("lime", "ton/ac", "USD", step=0.5, greatest=6, price=30)
TARGET_PH, DEPTH_M = 6.4, 6 * 0.0254


def one_of_nitrogen(seed, count, number):
    """What one field of the first table shows: the cost of each way's rates, and what holds.

    A cell's true nitrate is what many cores from all over it would give.
    """
    generator = np.random.default_rng([seed, count, number, 4])
    field = simulated_field(generator, count, *NITRATE)
    truth = np.exp(field.level + field.model.nugget / 2)  # mean of the lognormal around the level
    read = np.maximum(np.exp(field.at_readings) + generator.normal(0, LABORATORY_PPM, count), 0.0)
    surface = estimate_surface(Observations.of("Nitrate", "ppm", field.positions_m, read), GRID,
                               WHOLE, seed=number)
    cells, draws = draws_of_surface(surface, draws=DRAWS, seed=number)
    plan = sidedress_plan(surface, draws, cells, RULE, SITE, NITROGEN, area_unit="ac",
                          shape=WorkableShape())

    def needed(content):
        return nitrogen_needed(RULE, SITE, np.maximum(content, 0.0))

    maps = [np.full(len(CELLS), read.mean()),
            textbook_kriging(field.positions_m, read, CELLS).estimate,
            inverse_distance(field.positions_m, read, CELLS)]
    return _judged(plan, needed(truth), [needed(one) for one in maps],
                   needed(_zone_means(plan, truth)), NITROGEN)


def one_of_lime(seed, count, number):
    """What one field of the second table shows, as `one_of_nitrogen`."""
    generator = np.random.default_rng([seed, count, number, 5])
    field = simulated_field(generator, count, *BUFFER)

    def ph_of(buffer):
        return PH_AT + PH_SLOPE * (buffer - BUFFER[0])

    places = field.positions_m
    buffer = field.at_readings + generator.normal(0, LABORATORY_PH, count)
    ph = ph_of(field.at_readings) + generator.normal(0, PH_NOISE, count)
    surfaces = [estimate_surface(Observations.of(name, "", places, values), GRID, WHOLE,
                                 seed=number)
                for name, values in (("pH", ph), ("Buffer pH", buffer))]
    cells, draws = draws_of_surface(surfaces[1], draws=DRAWS, seed=number)
    plan = lime_plan(*surfaces, draws, cells, METHOD, LIME, target_ph=TARGET_PH, depth_m=DEPTH_M,
                     depth_unit="in", effective_percent=100, area_unit="ac",
                     shape=WorkableShape(), outside=CLAMP)

    def needed(soil, buffered):
        return lime_needed(METHOD, soil, buffered, target_ph=TARGET_PH, depth_m=DEPTH_M,
                           unit="ton/ac", outside=CLAMP).rates

    maps = [(np.full(len(CELLS), ph.mean()), np.full(len(CELLS), buffer.mean())),
            [textbook_kriging(places, values, CELLS).estimate for values in (ph, buffer)],
            [inverse_distance(places, values, CELLS) for values in (ph, buffer)]]
    in_zones = _zone_means(plan, field.level)
    return _judged(plan, needed(ph_of(field.level), field.level), [needed(*one) for one in maps],
                   needed(ph_of(in_zones), in_zones), LIME)


def _zone_means(plan, values):
    labels = plan.zone_map.labels.ravel()
    return np.bincount(labels, values) / np.bincount(labels)


def _judged(plan, need, planned, need_of_zones, spread):
    """Return the costs of the plan's rates and of others planned, and which intervals hold."""
    labels = plan.zone_map.labels.ravel()
    rates = np.array([zone.rate for zone in plan.zones])
    low, high = (np.array([zone.figures[f"need, {end}"][0] for zone in plan.zones])
                 for end in ("low", "high"))
    held, area = (low <= need_of_zones) & (need_of_zones <= high), np.bincount(labels)
    ways = [rates[labels], *(to_step(one, spread) for one in planned)]
    return {"cost": {short: [_cost(way, np.minimum(need, spread.greatest), spread.price, short)
                             for way in ways] for short in SHORTS},
            "zones": (held.sum(), len(held)),
            "large": (held[area >= LARGE].sum(), (area >= LARGE).sum())}


def _cost(rates, need, price, short):
    """Money per area that rates off the need cost, a unit short `short` times its price."""
    off = rates - need
    return float(price * np.where(off > 0, off, -short * off).mean())


def rate_table(title, one, options, run):
    """Print one table for each of SHORTS, of the same fields, and the coverage of the intervals."""
    found = {count: run(partial(one, options.seed, count), options.fields) for count in COUNTS}
    for short in SHORTS:
        print(f"\n{title}; a unit short costs {short} x a unit too much\n\n| n | "
              + " | ".join((*WAYS, *(f"to {way}" for way in WAYS[1:])))
              + " |\n|" + "---|" * (2 * len(WAYS)))
        for count, fields in found.items():
            cost = np.array([each["cost"][short] for each in fields])
            ratios = [ratio_with_error(cost[:, 0], cost[:, way]) for way in range(1, len(WAYS))]
            print(f"| {count} | " + " | ".join(
                (*(f"{mean:.3g}" for mean in cost.mean(axis=0)),
                 *(f"{ratio:.2f} ± {error:.2f}" for ratio, error in ratios))) + " |")
    print("\n| n | zones | of 1.25 ha or more |\n|---|---|---|")
    for count, fields in found.items():
        shares = [np.sum([each[name] for each in fields], axis=0) for name in ("zones", "large")]
        print(f"| {count} | " + " | ".join(f"{held / of:.3f} of {of}" for held, of in shares)
              + " |", flush=True)


TABLES = {"nitrogen": partial(rate_table, "Cost of wrong rates of nitrogen, USD/ac",
                              one_of_nitrogen),
          "lime": partial(rate_table, "Cost of wrong rates of lime, USD/ac", one_of_lime)}


if __name__ == "__main__":
    print_tables(__doc__, TABLES)
