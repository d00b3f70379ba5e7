"""Decisions on simulated fields of known truth, beside plainer ways of deciding.

Fields of 35 ha are drawn and read as in `simulated_fields.py`, the mean of each at random about
what the decision turns on. The first table: what a replant decision loses against knowing the
stand of every cell, by this program's plan, by the field's mean, and by plain maps with the
break-even stand as a threshold; and how often the intervals of the zones' and of the whole plan's
gain hold the truth. The second: the same of fields that all have the same mean, a little above the
break-even. The third: where to loosen, decided by the chance of a pan. The fourth: how often the
row-unit test finds a fault, or claims one where there is none. `--fields N` draws N fields for
each n (200), `--seed S` draws others, `--table NAME` makes one table alone, `--processes P` works
on P fields at once (2).
"""
from datetime import date
from functools import partial

import numpy as np
from scipy.spatial import cKDTree

from bench.simulated_fields import (
    CELLS,
    COUNTS,
    GRID,
    WHOLE,
    inverse_distance,
    readings_of,
    simulated_field,
    textbook_kriging,
)
from bench.tables import print_tables
from plugin.core.decide.replant import replant_plan
from plugin.core.decide.replant_gain import break_even_stand, gain_per_area
from plugin.core.decide.replant_settings import ReplantSettings
from plugin.core.decide.yield_response import load_table
from plugin.core.interpolate.draws_of_surface import draws_of_surface
from plugin.core.interpolate.estimate import estimate_surface
from plugin.core.observations import Observations
from plugin.core.observe.row_units import row_unit_test
from plugin.core.units import convert
from plugin.core.zone.workable import WorkableShape

# The worked case of the replant reference: its break-even, 3.66 plants/m2, lies amid the stands.
CASE = ReplantSettings(
    planting_date=date(2026, 4, 25), replant_date=date(2026, 5, 20), expected_yield=200,
    crop_price=4.50, target_stand=32_000, expected_emergence=95, seed_unit_cost=280,
    seeds_per_unit=80_000, seed_rebate=50, termination_cost=12, replanting_cost=25,
    other_replant_cost=0, insurance_payment=0, moisture_kept=20, moisture_replanted=24,
    base_moisture=15.5, drying_cost=0.045, unevenness_loss=5, crop="corn", currency="USD",
    area_unit="ac", grain_unit="bu")
TABLE = load_table("corn_nafziger_1994", "plants/ac")
STANDS = (2.5, 4.9)     # plants/m2: least and greatest mean of a field
EDGE = (4.0, 4.0)       # the same where the mean is known to lie just above the break-even
STAND_SPREAD = 1.3      # plants/m2: standard deviation within a field
BOTTOMS = (12.5, 17.5)  # inches: least and greatest mean of the pan's bottom in a field
BOTTOM_SPREAD = 3.0     # inches; a bottom deeper than REACH is none
REACH = 15.0
# chances of a pan from which on tilling pays, by what leaving one costs
LIKELY = {1 / 3: "two passes", 1 / 2: "one pass", 2 / 3: "half a pass"}
CELL_AC = float(convert(GRID.cell_area_m2, "m2", "ac"))
REPLANT_WAYS = ("this plan", "field mean", "textbook map", "inverse distance")
PAN_WAYS = ("this plan", "field mean", "inverse distance", "nearest reading")
PLANTER, STOPS, FAULT = 16, 30, 0.15


def plants_per_ac(density):
    """Return plants per acre of densities per m2, none below 0."""
    return convert(np.maximum(density, 0.0), "plants/m2", "plants/ac")


def one_of_replant(means, seed, count, number):
    """What a field of a mean between two shows: money lost by each way, what intervals hold."""
    generator = np.random.default_rng([seed, count, number, 1])
    field = simulated_field(generator, count, generator.uniform(*means), STAND_SPREAD)
    kind = ("stand, Poisson", "stand, binomial")[number % 2]
    read = readings_of(field, kind, generator)
    factor = float(convert(1.0, "plants/m2", "plants/ac"))
    read = Observations.of("Stand", "plants/ac", read.positions_m, read.values * factor,
                           error_variance=read.error_variance * factor**2)
    surface = estimate_surface(read, GRID, WHOLE, seed=number)
    cells, draws = draws_of_surface(surface, draws=400, seed=number)
    plan = replant_plan(surface, draws, cells, TABLE, CASE, area_unit="ac", shape=WorkableShape())
    gain = gain_per_area(TABLE, CASE, plants_per_ac(field.at_cells)) * CELL_AC
    even = break_even_stand(TABLE, CASE)
    replanted = np.array([zone.action == "replant" for zone in plan.zones])
    labels = plan.zone_map.labels.ravel()
    decided = (replanted[labels], np.full(len(gain), read.values.mean() < even),
               textbook_kriging(read.positions_m, read.values, CELLS).estimate < even,
               inverse_distance(read.positions_m, read.values, CELLS) < even)
    truth = np.bincount(labels, gain)
    low, high = (np.array([zone.figures[f"gain if replanted, {end}"][0] for zone in plan.zones])
                 for end in ("low", "high"))
    held = (low <= truth) & (truth <= high)
    whole = plan.gain_low <= truth[replanted].sum() <= plan.gain_high if replanted.any() else None
    area = np.bincount(labels)
    return {"lost": [(np.maximum(gain, 0).sum() - gain[way].sum()) / (len(gain) * CELL_AC)
                     for way in decided],
            "zones": (held.sum(), len(held)), "large": (held[area >= 20].sum(), (area >= 20).sum()),
            "whole": whole}


def one_of_pan(likely, seed, count, number):
    """What one field of the third table shows: cost of wrong actions by each way, per cell.

    Tilling ground without a pan costs 1; leaving a pan costs what makes tilling pay from the
    chance `likely` on.
    """
    generator = np.random.default_rng([seed, count, number, 2])
    field = simulated_field(generator, count, generator.uniform(*BOTTOMS), BOTTOM_SPREAD)
    met = (field.at_readings < REACH).astype(float)
    pan = field.at_cells < REACH
    chance = estimate_surface(
        Observations.of("Chance of a pan", "", field.positions_m, met), GRID, WHOLE,
        between=(0.0, 1.0), seed=number).estimate.ravel()
    nearest = met[cKDTree(field.positions_m).query(CELLS)[1]]
    tilled = (chance >= likely, np.full(len(pan), met.mean() >= likely),
              inverse_distance(field.positions_m, met, CELLS) >= likely, nearest >= likely)
    left = (1 - likely) / likely
    return {"lost": [float(np.where(pan, ~way * left, way).mean()) for way in tilled]}


def one_of_rows(fault, rows, seed, number):
    """Whether the row-unit test names the faulty unit, or any where none is (fault 0)."""
    generator = np.random.default_rng([seed, rows, number, 3])
    first = generator.integers(0, PLANTER, STOPS)
    units = (first[:, None] + np.arange(rows)) % PLANTER
    ground = np.minimum(0.97, 0.85 * (1 + generator.normal(0, 0.12, STOPS)))
    share = ground[:, None] * np.where(units == 5, 1 - fault, 1.0)
    plants = generator.binomial(34, share)
    found = row_unit_test(np.repeat(np.arange(STOPS), rows), units.ravel(), plants.ravel(),
                          np.full(units.size, 17.4), permutations=499, seed=number)
    if fault:
        return any(one.unit == 5 and one.high < 0 for one in found.faulty)
    return found.p_planter <= 0.05


def money_table(title, ways, one, options, run):
    """Print what each way loses, and how much of it this plan saves against each."""
    print(f"\n{title}\n\n| n | " + " | ".join(ways) + " | "
          + " | ".join(f"to {way}" for way in ways[1:]) + " |")
    print("|" + "---|" * (2 * len(ways)))
    kept = {}
    for count in COUNTS:
        found = kept[count] = run(partial(one, options.seed, count), options.fields)
        lost = np.array([each["lost"] for each in found])
        mean = lost.mean(axis=0)
        ratios = [ratio_with_error(lost[:, 0], lost[:, way]) for way in range(1, len(ways))]
        print(f"| {count} | " + " | ".join(f"{one:.3g}" for one in mean) + " | "
              + " | ".join(f"{ratio:.2f} ± {error:.2f}" for ratio, error in ratios) + " |",
              flush=True)
    return kept


def ratio_with_error(ours, theirs):
    """Return the ratio of two means over the same fields, and its standard error.

    Source   ratio estimator: Cochran (1977), Sampling Techniques, 6.3 (from memory)
    """
    ratio = ours.mean() / theirs.mean()
    off = ours - ratio * theirs
    return ratio, off.std(ddof=1) / np.sqrt(len(ours)) / theirs.mean()


def replant_table(means, options, run):
    """The first table, or the second, with the coverage of its intervals."""
    low, high = means
    kept = money_table(f"Money lost to not knowing the stand, USD/ac; means of {low} to {high} "
                       "plants/m2", REPLANT_WAYS, partial(one_of_replant, means), options, run)
    print("\n| n | zones | of 1.25 ha or more | whole plan |\n|---|---|---|---|")
    for count, found in kept.items():
        shares = []
        for name in ("zones", "large"):
            held, of = np.sum([each[name] for each in found], axis=0)
            shares.append(f"{held / of:.3f} of {of}")
        whole = [each["whole"] for each in found if each["whole"] is not None]
        print(f"| {count} | {shares[0]} | {shares[1]} | {np.mean(whole):.3f} of {len(whole)} |")


def pan_table(options, run):
    """The third table."""
    for likely, cost in LIKELY.items():
        money_table(f"Cost of wrong actions on a pan, in passes; leaving one costs {cost}",
                    PAN_WAYS, partial(one_of_pan, likely), options, run)


def rows_table(options, run):
    """The fourth table."""
    print(f"\nRow-unit test, {PLANTER} units, {STOPS} stops\n\n| rows counted at a stop | "
          f"found, {100 * FAULT:.0f} % short | claimed where none is |\n|---|---|---|")
    for rows in (4, 6, 8, PLANTER):
        shares = [np.mean(run(partial(one_of_rows, fault, rows, options.seed), options.fields))
                  for fault in (FAULT, 0.0)]
        print(f"| {rows} | {shares[0]:.2f} | {shares[1]:.3f} |", flush=True)


TABLES = {"replant": partial(replant_table, STANDS), "edge": partial(replant_table, EDGE),
          "pan": pan_table, "rows": rows_table}


if __name__ == "__main__":
    print_tables(__doc__, TABLES)
