"""Harvest records of two earlier seasons on the invented field, with a machine's own faults.

What is wrong with them is what a cleaning has to find: grain arrives late and mixed, a pass
starts while the conveyor fills and ends while it empties, short swaths are logged at full width,
the speed jumps, and a few records are plain wrong.
"""
from datetime import datetime, timedelta

import numpy as np

from plugin.core.units import bushel_kg, convert

from . import boundary, truth
from .readings import SEED, reading_id

SEASONS = (2024, 2025)
STARTED = {2024: datetime(2024, 10, 11, 12, 30), 2025: datetime(2025, 10, 6, 11, 15)}
MOISTURE = {2024: 18.6, 2025: 17.1}     # %, wet basis, mean of the season
LAG_S = {2024: 2, 2025: 3}              # left over after the machine's own setting
MIXING_S = 2.5                          # time constant of the grain mixing on its way
HEADER_FT = 30.0
SPEED_M_S = 1.95                        # 4.4 mph
TURN_S = 25
FLOW_NOISE_LB_S = 1.1                   # one second, after the test-stand figures of 0.3-0.7 kg/s
MARKET_MOISTURE = 15.5                  # % of a standard bushel of corn
OUTLIERS = 0.004                        # share of records that are plain wrong
SHORTEST_PASS_S = 8


def yield_rows(season):
    """Return the harvest records of a season, list of row dicts of the layer yield_points.

    The same rows on every call; about 20,000. Positions are m (EPSG:32615), flow lb/s of wet
    grain, distance and swath ft. The machine's own dry yield is left empty.
    """
    rng = np.random.default_rng([SEED, season])
    rows, clock, number = [], STARTED[season], 0
    for local in _passes(rng):
        number += 1
        rows += _pass_rows(local, season, number, clock, len(rows), rng)
        clock += timedelta(seconds=len(local) + TURN_S)
    return rows


def _passes(rng):
    """Yield the 1-s positions of each pass, (s, 2) m local, up and down the field in turn."""
    header_m = float(convert(HEADER_FT, "ft", "m"))
    going_north = True
    for across in np.arange(header_m / 2 - 2.0, 640.0, header_m):
        speed = SPEED_M_S * (1 + 0.06 * np.sin(np.arange(450) / 35 + rng.uniform(0, 6))
                             + rng.normal(0, 0.015, 450))
        along = -20.0 + np.cumsum(speed)
        line = np.column_stack([across + rng.normal(0, 0.05, 450), along])
        within = boundary.inside(line)
        starts = np.flatnonzero(np.diff(np.concatenate([[0], within, [0]])) == 1)
        ends = np.flatnonzero(np.diff(np.concatenate([[0], within, [0]])) == -1)
        pieces = [line[start:end] for start, end in zip(starts, ends)
                  if end - start >= SHORTEST_PASS_S]
        for piece in pieces if going_north else pieces[::-1]:
            yield piece if going_north else piece[::-1]
        going_north = not going_north


def _pass_rows(local, season, number, clock, taken_before, rng):
    seconds = len(local)
    positions = boundary.to_map(local)
    moved = np.hypot(*np.diff(local, axis=0).T)
    distance_m = np.concatenate([moved[:1], moved])
    if rng.random() < 0.15:  # a stop for a plug or a full tank
        at = rng.integers(0, seconds)
        distance_m[at:at + 5] *= 0.35
    moisture = (MOISTURE[season] + 1.2 * truth.truth_at(positions)["crust"]
                + rng.normal(0, 0.25, seconds))
    cut_share = _cut_share(local)
    flow = _flow_lb_s(positions, distance_m, season, moisture, cut_share)
    flow = _arrives(flow, LAG_S[season]) + rng.normal(0, FLOW_NOISE_LB_S, seconds)
    narrow = cut_share.mean() < 0.75  # a last strip, for which the driver halves the width
    swath_ft = np.full(seconds, HEADER_FT / 2 if narrow else HEADER_FT)
    wrong = rng.random(seconds)
    flow[wrong < OUTLIERS] *= 3.0
    moisture[(wrong >= OUTLIERS) & (wrong < 1.5 * OUTLIERS)] = 0.0
    swath_ft[(wrong >= 1.5 * OUTLIERS) & (wrong < 2 * OUTLIERS)] = HEADER_FT / 6
    distance_ft = convert(distance_m, "m", "ft")
    return [{"reading_id": reading_id("yield_points", f"{season}/{taken_before + second + 1}"),
             "x": round(float(positions[second, 0]), 2),
             "y": round(float(positions[second, 1]), 2),
             "taken_at": clock + timedelta(seconds=second), "season": season, "crop": "corn",
             "flow": round(max(0.0, float(flow[second])), 2),
             "moisture": round(float(moisture[second]), 1), "interval_s": 1.0,
             "distance": round(float(distance_ft[second]), 2),
             "swath": float(swath_ft[second]), "pass_number": number}
            for second in range(seconds)]


def _cut_share(local):
    """Share of the header that cuts crop: less along the edges, the waterway and the island."""
    header_m = float(convert(HEADER_FT, "ft", "m"))
    offsets_m = (np.arange(10) + 0.5) / 10 * header_m - header_m / 2
    return np.mean([boundary.inside(local + [offset, 0.0]) for offset in offsets_m], axis=0)


def _flow_lb_s(positions, distance_m, season, moisture, cut_share):
    acres = convert(distance_m * float(convert(HEADER_FT, "ft", "m")) * cut_share, "m2", "ac")
    dry_lb = truth.dry_yield_at(positions, season) * acres * convert(bushel_kg("corn"), "kg", "lb")
    return dry_lb * (100 - MARKET_MOISTURE) / (100 - moisture)


def _arrives(flow, lag_s):
    """What the sensor sees of the flow cut each second: later, and mixed on the way."""
    kept = np.exp(-1.0 / MIXING_S)
    seen, level = np.empty_like(flow), 0.0
    for second in range(len(flow)):
        cut = flow[second - lag_s] if second >= lag_s else 0.0
        level = kept * level + (1 - kept) * cut
        seen[second] = level
    return seen
