"""The readings an adviser would bring back from the invented field, drawn from its truth."""
from datetime import date, datetime, timedelta
from uuid import UUID, uuid5

import numpy as np

from plugin.core.units import convert

from . import boundary, truth
from .stops import random_places, stops

SEED = 20260514
IDENTITY = UUID("6f0d2c3e-5f52-5a0b-9c55-20260514aaaa")  # the name space of the reading ids

ROW_FT = 17.42                  # 1/1000 ac of one 30-in row
ROW_WIDTH_IN = 30.0
ROWS_AT_A_STOP = 4
WHEEL_STOPS, HOOP_STOP = (11, 33), 22   # stop numbers counted in another way, for variety
WHEEL_PLANTS = 150
HOOPS, HOOP_IN = 12, 36.0

INSERTIONS = 60
STONES, FELT = 2, 4
READING_NOISE_PSI = 7.0         # of one reading, after the truth
DRIER_FROM_STOP = 42            # late in the day, on the rise at the east side
FELT_NOISE_IN = 0.7
METERED, SURFACE_ACIDITY = 6, 0.3   # samples with a surface pH, and how much lower it is
DEPTHS = np.arange(1, truth.GREATEST_DEPTH + 1)

FIRST_STOP_AT, STOP_TAKES = datetime(2026, 5, 14, 8, 5), timedelta(minutes=11)


def field_row():
    """Return the columns of the record's one field row, in US units.

    Prices, costs and moistures are worked-example figures, not today's market; the cost of deep
    ripping is the median of the Iowa Farm Custom Rate Survey 2019 (23.45 USD/ac), and the
    insurance payment is 8 bu at the 2024 projected price of 4.66 USD/bu. The subsoiler's width,
    speed and efficiency are those of a capacity table of Iowa State PM 696, the price of diesel is
    the one Iowa State reckoned with in 2023 (3.39 USD/gal); the tractor is invented.
    """
    return {
        "reading_id": reading_id("field", 1), "name": "Sample field (invented data)",
        "grower": "Invented for this demo",
        "crop": "corn", "season": 2026, "planting_date": date(2026, 4, 24),
        "visit_date": date(2026, 5, 14), "seeds_planted": truth.SEEDS_PLANTED,
        "row_width": ROW_WIDTH_IN, "row_heading": boundary.HEADING_DEGREES,
        "planter_rows": truth.ROW_UNITS, "expected_yield": 200.0, "crop_price": 4.50,
        "currency": "USD", "replant_date": date(2026, 5, 20), "target_stand": 32_000.0,
        "expected_emergence": 95.0, "seed_unit_cost": 280.0, "seeds_per_unit": 80_000,
        "seed_rebate": 50.0, "termination_cost": 12.0, "replanting_cost": 25.0,
        "extra_nitrogen_cost": 0.0, "extra_weed_cost": 0.0, "other_replant_cost": 0.0,
        "insurance_payment": 37.28, "moisture_kept": 20.0,
        "moisture_replanted": 24.0, "base_moisture": 15.5, "drying_cost": 0.045,
        "unevenness_loss": 5.0, "pan_limit": truth.PAN_LIMIT, "tillage_margin": 1.0,
        "tillage_least": 8.0, "tillage_greatest": 18.0, "tillage_step": 1.0,
        "tillage_cost": 23.45, "tillage_tool": "subsoiler_narrow", "tillage_shanks": 7,
        "tillage_width": 17.5, "tillage_speed": 5.0, "field_efficiency": 83.0,
        "soil_texture": "medium", "tractor": "track", "tractor_surface": "tilled",
        "tractor_power": 300.0, "fuel_price": 3.39,
        "nitrate_rule": "sidedress_iowa_1997", "previous_crop": "soybean",
        "manure_since_harvest": False, "manure_earlier": False, "wet_spring": False,
        "mixed_cover_crop": False, "usual_nitrogen": 120.0, "nitrogen_least": 30.0,
        "nitrogen_greatest": 150.0, "nitrogen_step": 10.0, "nitrogen_price": 0.55,
        "nitrogen_content": 32.0, "nitrogen_density": 11.06,
        "lime_method": "lime_oregon_2025", "lime_buffer": "sikora", "target_ph": 6.4,
        "lime_depth": 6.0, "lime_quality": 85.0, "lime_least": 1.0, "lime_greatest": 4.0,
        "lime_step": 0.5, "lime_price": 35.0, "machine_width": 40.0, "smallest_zone": 1.0,
        "note": "Every reading, name and price in this record is invented for demonstration; "
                "the outline is no real field."}


def readings():
    """Return the rows of every layer of readings, dict of layer -> list of row dicts.

    The same rows on every call. Point rows carry x and y (m, EPSG:32615); layers that others
    refer to come first.
    """
    rng = np.random.default_rng(SEED)
    places = stops(rng)
    stand, rows = _stand(places, rng)
    insertions, profiles = _compaction(places, rng)
    return {"stand_counts": stand, "row_counts": rows,
            "seed_depths": _seed_depths(places, rng),
            "compaction_readings": insertions, "compaction_profile": profiles,
            "probe_points": _probes(places, rng), "scout_notes": _notes(places)}


def reading_id(layer, number):
    """Return the id of a layer's row by its number, the same in every run."""
    return str(uuid5(IDENTITY, f"{layer}/{number}"))


def _row(layer, number, local, stop, minutes=0, **columns):
    easting, northing = np.round(boundary.to_map(local)[0], 2)
    return {"reading_id": reading_id(layer, number), "x": float(easting), "y": float(northing),
            "stop": int(stop), "taken_at": FIRST_STOP_AT + (stop - 1) * STOP_TAKES
            + timedelta(minutes=minutes), **columns}


def _stand(places, rng):
    true = truth.truth_at(boundary.to_map(places))
    first_units = rng.permutation(np.tile(np.arange(1, truth.ROW_UNITS, ROWS_AT_A_STOP),
                                          len(places) // ROWS_AT_A_STOP + 1))[:len(places)]
    counted, rows = [], []
    for number, place in enumerate(places, start=1):
        sound = true["population_sound"][number - 1]
        crust = true["crust"][number - 1]
        columns = {"growth_stage_bbch": 11 if crust > 0.5 else int(rng.choice([12, 12, 13])),
                   "leaf_collars": 1 if crust > 0.5 else 2,
                   "evenness": "very_uneven" if crust > 0.7 else
                               "uneven" if crust > 0.2 else "even"}
        if number in WHEEL_STOPS:
            columns |= _wheel(sound, rng)
        elif number == HOOP_STOP:
            columns |= _hoop(true["population"][number - 1], rng)
        else:
            first = int(first_units[number - 1])
            plants = [_plants_in_row(unit, sound, rng)
                      for unit in range(first, first + ROWS_AT_A_STOP)]
            columns |= {"method": "row_length", "plants": sum(plants), "length": ROW_FT,
                        "rows": ROWS_AT_A_STOP}
            rows += [{"reading_id": reading_id("row_counts", f"{number}/{first + place_in_set}"),
                      "of_stop": reading_id("stand_counts", number),
                      "row_unit": first + place_in_set, "plants": count, "length": ROW_FT}
                     for place_in_set, count in enumerate(plants)]
        counted.append(_row("stand_counts", number, place, number, **columns))
    return counted, rows


def _plants_in_row(unit, sound, rng):
    """Plants up from the seeds dropped in ROW_FT of one row; the weak unit loses its share."""
    kept = 1 - truth.WEAK_ROW_LOSS * (unit == truth.WEAK_ROW_UNIT)
    seeds = round(truth.SEEDS_PLANTED * _row_acres(ROW_FT))
    return int(rng.binomial(seeds, sound / truth.SEEDS_PLANTED * kept))


def _row_acres(length_ft):
    return float(convert(length_ft * float(convert(ROW_WIDTH_IN, "in", "ft")), "ft2", "ac"))


def _wheel(sound, rng):
    """A set number of plants along one good row, and the distance they took."""
    emergence = sound / truth.SEEDS_PLANTED
    seeds = WHEEL_PLANTS + int(rng.negative_binomial(WHEEL_PLANTS, emergence))
    return {"method": "wheel", "plants": WHEEL_PLANTS, "rows": 1,
            "length": round(seeds / (truth.SEEDS_PLANTED * _row_acres(1.0)), 1)}


def _hoop(population, rng):
    acres = float(convert(np.pi * float(convert(HOOP_IN / 2, "in", "ft"))**2, "ft2", "ac"))
    seeds = round(truth.SEEDS_PLANTED * acres * HOOPS)
    return {"method": "hoop", "plants": int(rng.binomial(seeds, population
                                                         / truth.SEEDS_PLANTED)),
            "hoop_diameter": HOOP_IN, "hoops": HOOPS}


def _insertion_places(places, rng):
    """Every stop once and some twice, the second 1.5 m beside the first: (60, 2) m and stops."""
    again = np.sort(rng.choice(len(places), INSERTIONS - len(places), replace=False))
    order = np.sort(np.concatenate([np.arange(len(places)), again]))
    second = np.concatenate([[False], order[1:] == order[:-1]])
    return places[order] + np.column_stack([1.5 * second, np.zeros(INSERTIONS)]), order + 1, second


def _compaction(places, rng):
    local, stop, second = _insertion_places(places, rng)
    true = truth.truth_at(boundary.to_map(local))
    resistance = truth.resistance_at(boundary.to_map(local), DEPTHS)
    resistance = np.round(resistance + rng.normal(0, READING_NOISE_PSI, resistance.shape))
    # Stones where a second try went beside the first; hands where there is a pan to feel.
    stones = rng.choice(np.flatnonzero(second), STONES, replace=False)
    felt = rng.choice(np.flatnonzero(true["pan"] & ~second), FELT, replace=False)
    insertions, profiles = [], []
    for number in range(INSERTIONS):
        columns = {"moisture": "moist" if stop[number] >= DRIER_FROM_STOP else "at_capacity",
                   "place": _place_of(number, true, second)}
        if number in felt:
            columns |= _felt(true["pan_top"][number], true["pan_bottom"][number], rng)
        else:
            deepest = truth.GREATEST_DEPTH
            if number in stones:
                deepest = int(rng.integers(4, 6))
                resistance[number, deepest - 1] = rng.integers(560, 680)
            columns |= {"means": "gauge", "cone": "small", "deepest": float(deepest),
                        "refusal": "stone" if number in stones else "no"}
            if number in stones:
                columns["note"] = "Sharp stop on a stone; the insertion beside it went through."
            identity = reading_id("compaction_readings", number + 1)
            profiles += [{"reading_id": reading_id("compaction_profile", f"{number + 1}/{depth}"),
                          "of_insertion": identity, "depth": float(depth),
                          "resistance": float(resistance[number, depth - 1])}
                         for depth in DEPTHS[:deepest]]
        insertions.append(_row("compaction_readings", number + 1, local[number], stop[number],
                               5 + 2 * int(second[number]), **columns))
    return insertions, profiles


def _place_of(number, true, second):
    if true["headland"][number]:
        return "headland"
    if true["lane"][number]:
        return "other"
    return "between_rows" if second[number] or number % 2 else "row"


def _felt(top, bottom, rng):
    top, bottom = (round(2 * float(depth + rng.normal(0, FELT_NOISE_IN))) / 2
                   for depth in (top, bottom))
    return {"means": "felt", "cone": "none", "refusal": "no", "felt_top": top,
            "felt_bottom": bottom, "deepest": float(truth.GREATEST_DEPTH),
            "note": "Tile probe by hand; the gauge was lent out for these stops."}


def _seed_depths(places, rng, per_stop=3):
    """Three seeds dug at every sixth stop, and at two more in the crusted part: 30."""
    true = truth.truth_at(boundary.to_map(places))
    often = set(range(0, len(places), 6))
    crusted_stops = [stop for stop in np.flatnonzero(true["crust"] > 0.9) if stop not in often]
    dug = sorted(often | {int(crusted_stops[0]), int(crusted_stops[-1])})
    rows = []
    for stop in dug:
        for seed in range(per_stop):
            crusted = true["crust"][stop] > 0.5
            depth = round(4 * float(rng.normal(2.2 if crusted else 2.0, 0.2))) / 4
            emerged = bool(rng.random() < true["population_sound"][stop] / truth.SEEDS_PLANTED)
            columns = {"row_unit": int(rng.integers(1, truth.ROW_UNITS + 1)), "depth": depth,
                       "emerged": emerged}
            if not emerged:
                columns["note"] = ("Leafed out below the crust." if crusted
                                   else "Seed hard, not sprouted.")
            rows.append(_row("seed_depths", len(rows) + 1, places[stop] + [0.0, 0.5 * seed],
                             stop + 1, 8, **columns))
    return rows


def _probes(places, rng, shallow=15, deep=10):
    """Composites of 0-7 in for pH and nutrients, then 0-12 in for nitrate."""
    rows = []
    for number, (place, top_layer) in enumerate(
            [(place, True) for place in random_places(rng, shallow)]
            + [(place, False) for place in random_places(rng, deep)], start=1):
        crust = float(truth.truth_at(boundary.to_map(place))["crust"][0])
        # The stop is the nearest one, where the adviser stood with the sample bag.
        stop = int(np.argmin(np.hypot(*(places - place).T))) + 1
        columns = {"top_depth": 0.0, "cores": 15, "sample_number": f"S-{number:02d}"}
        if top_layer:
            acidity = float(np.clip(6.2 + 0.7 * crust + 0.25 * np.sin(place[1] / 120.0)
                                    + rng.normal(0, 0.12), 5.4, 7.4))
            columns |= {
                "core_type": "short", "bottom_depth": 7.0, "ph": round(acidity, 1),
                "ph_method": "laboratory" if number % 3 == 0 else "meter",
                "buffer_ph": round(min(7.1, 6.9 - 0.35 * max(0.0, 6.6 - acidity)
                                       + float(rng.normal(0, 0.03))), 1),
                "organic_matter": round(3.2 + 1.6 * crust + float(rng.normal(0, 0.25)), 1),
                "phosphorus_ppm": round(22.0 * float(rng.lognormal(0, 0.3))),
                "potassium_ppm": round(175.0 * float(rng.lognormal(0, 0.15)))}
            if number <= METERED:
                columns |= {"surface_ph": round(acidity - SURFACE_ACIDITY, 1),
                            "surface_ph_method": "slurry", "surface_ph_depth": 2.0}
        else:
            columns |= {"core_type": "nitrate", "bottom_depth": 12.0,
                        "nitrate_n_ppm": round((17.0 - 6.0 * crust)
                                               * float(rng.lognormal(0, 0.22)), 1),
                        "soil_moisture": round(23.0 + 3.0 * crust + float(rng.normal(0, 1.0)), 1)}
        rows.append(_row("probe_points", number, place, stop, 9, **columns))
    return rows


# What was seen, where (m across and along the rows). Plain observations, no diagnosis.
NOTES = [
    ((95, 300), {"subject": "water", "severity": 60,
                 "seen": "Hard surface crust about half an inch thick, cracked."}),
    ((140, 240), {"subject": "seed", "severity": 40, "plants_checked": 6, "plants_affected": 2,
                  "seen": "Two of six seeds dug were soft and brown."}),
    ((110, 360), {"subject": "stem", "severity": 50, "incidence": 45,
                  "seen": "Shoots leafed out under the crust, corkscrewed."}),
    ((60, 250), {"subject": "water",
                 "seen": "Dried film and debris line: water stood here after the rain."}),
    ((175, 310), {"subject": "leaf", "severity": 30,
                  "seen": "Edge of the thin part: gaps of 2 to 4 ft in most rows."}),
    ((300, 12), {"subject": "root", "incidence": 80, "root_rating": 3, "roots_turn_at": 7.0,
                 "seen": "Roots turn sideways at 7 in; few go below."}),
    ((250, 458), {"subject": "root", "incidence": 75, "root_rating": 3, "roots_turn_at": 7.0,
                  "seen": "Old lane: plates of soil at 7 in, roots flat above them."}),
    ((240, 120), {"subject": "root", "incidence": 40, "root_rating": 2, "roots_turn_at": 10.0,
                  "seen": "Main roots bend at about 10 in, some go through."}),
    ((520, 330), {"subject": "root", "incidence": 0, "root_rating": 0,
                  "seen": "Roots straight down past 14 in, crumbly soil."}),
    ((335, 595), {"subject": "leaf", "severity": 20,
                  "seen": "End rows shorter and paler than the rest."}),
    ((340, 250), {"subject": "water", "seen": "Waterway edge: wheel ruts, no washing."}),
    ((440, 120), {"subject": "stem",
                  "seen": "Row 6 of the planter: long skips, plants otherwise sound."}),
    ((130, 200), {"subject": "disease", "organism": "seedling rot, not determined",
                  "plants_checked": 30, "plants_affected": 9, "severity": 35,
                  "seen": "Stems below ground soft and brown; sample bagged."}),
    ((500, 400), {"subject": "insect", "organism": "not caught", "plants_checked": 50,
                  "plants_affected": 2, "severity": 5, "leaf_collars": 2,
                  "growth_stage_bbch": 12, "seen": "Notched leaf edges on two plants."}),
]


def _notes(places):
    rows = []
    for number, (place, columns) in enumerate(NOTES, 1):
        stop = int(np.argmin(np.hypot(*(places - place).T))) + 1
        rows.append(_row("scout_notes", number, place, stop, 10, **columns))
    return rows
