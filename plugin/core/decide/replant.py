"""The replant plan: keep or replant each part of the field, what it pays, and how sure that is."""
import numpy as np

from ..plan import Plan, PlanZone
from ..problems import InputProblem
from ..units import convert
from ..zone.patches import patches
from ..zone.statistics import zone_map_of
from ..zone.workable import WorkableShape, workable_classes
from ..zone_map import OUTSIDE
from .cautions import REPLANT
from .plan_zones import drawn_zone_means, require_surface, zone_means
from .replant_gain import break_even_stand, gain_line, gain_per_area, kept_line, replanted_percent
from .replant_settings import ReplantSettings

__all__ = ["ReplantSettings", "break_even_stand", "gain_per_area", "replant_plan"]

KEEP, REPLANTED = "keep", "replant"
INTERVAL = (0.05, 0.95)  # of the draws: the 90 % interval


def replant_plan(stand, draws, drawn_cells, table, settings, *, area_unit, smallest_area_m2,
                 smooth_radius_cells, tick=None):
    """Return what to keep and what to replant, with the gain and its 90 % interval.

    Each cell is judged by its expected gain over the uncertainty of its stand, taken as normal
    and cut at 0 plants, in closed form (see `piecewise_line`). The cells are smoothed, patches
    below the smallest area join their neighbours, and each connected patch is then kept or
    replanted by its mean expected gain. A kept zone gains 0; what replanting it would bring
    stands among its figures. The interval of a zone comes from the draws at its drawn cells,
    shifted so that their centre agrees with the expected gain over all its cells; a zone without
    a drawn cell takes the nearest one. Drawn cells outside the field are not used. A zone's
    chance is the share of draws in which replanting it gains.

    Parameters
        stand                Surface, plants per area unit
        draws                (d, m) draws of the stand at m cells, jointly, in the same unit
        drawn_cells          (m,) their flat cell numbers
        table                YieldTable in the same unit
        settings             ReplantSettings
        area_unit            ac or ha, that of the settings
        smallest_area_m2     smallest zone that is worth working
        smooth_radius_cells  of the mode filter; 0 smooths nothing
        tick                 called with the fraction done; may raise Stopped
    Returns  Plan, its rate in seeds per area unit
    Raises   InputProblem: units or shapes disagree, no drawn cell is inside the field, a date or
             the target stand is outside the table
    """
    _require_agreement(stand, draws, drawn_cells, settings, area_unit)
    line = gain_line(table, settings)
    tick = tick or (lambda fraction: None)
    field = stand.inside > 0
    sure = stand.estimate[field], stand.standard_error[field]
    gain, chance, kept = (np.full(stand.grid.shape, np.nan) for _ in range(3))
    gain[field] = line.expected(*sure)
    chance[field] = line.chance_above_zero(*sure)
    kept[field] = kept_line(table, settings).expected(*sure)
    tick(0.3)
    zone_map = _zones(stand, gain, smallest_area_m2, smooth_radius_cells,
                      lambda part: tick(0.3 + 0.6 * part))
    means = {name: zone_means(zone_map.labels, stand.inside, values, len(zone_map.zones))
             for name, values in (("gain", gain), ("chance", chance), ("kept", kept))}
    drawn = drawn_zone_means(zone_map, line.at(np.asarray(draws, float)), drawn_cells, gain)
    areas = convert([zone.area_m2 for zone in zone_map.zones], "m2", area_unit)
    totals = drawn * areas
    replanted = np.array([zone.title == REPLANTED for zone in zone_map.zones])
    zones = _plan_zones(zone_map, areas, means, totals, replanted_percent(table, settings),
                        settings)
    low, high = np.quantile(totals[:, replanted].sum(axis=1), INTERVAL)
    return Plan(
        name="Replant plan", rate_unit=f"seeds/{area_unit}", area_unit=area_unit,
        currency=settings.currency, zone_map=zone_map, zones=zones,
        settings=_settings(settings, table, stand.grid, smallest_area_m2, smooth_radius_cells),
        sources=(f"{table.title} ({table.year}). {table.source}. Region: {table.region}. "
                 f"Figures {table.status_in_words}.",),
        cautions=_cautions(table, stand, zones),
        gain=sum(zone.gain for zone in zones), gain_low=float(low), gain_high=float(high))


def _require_agreement(stand, draws, drawn_cells, settings, area_unit):
    if area_unit != settings.area_unit:
        raise InputProblem(f"The plan is asked for per {area_unit}, but its prices and stands are "
                           f"per {settings.area_unit}.")
    require_surface(stand, f"plants/{area_unit}")
    if np.ndim(draws) != 2 or np.shape(draws)[1] != len(drawn_cells) or not len(draws):
        raise InputProblem(f"Draws of shape {np.shape(draws)} came with {len(drawn_cells)} cells.")
    if not np.isfinite(draws).all():
        raise InputProblem(f"{np.count_nonzero(~np.isfinite(draws))} of the draws of the stand "
                           "are not numbers.")


def _zones(stand, gain, smallest_area_m2, smooth_radius_cells, tick):
    """Return connected zones of one action each, the action as title."""
    inside = stand.inside
    classes = np.where(inside > 0, (gain > 0).astype(int), OUTSIDE)
    cell_m = stand.grid.cell_m
    classes = workable_classes(
        classes, inside, cell_m=cell_m, tick=lambda part: tick(0.7 * part), shape=WorkableShape(
            machine_width_m=2 * smooth_radius_cells * cell_m, smallest_area_m2=smallest_area_m2))
    numbers, count = patches(classes, tick=lambda part: tick(0.7 + 0.1 * part))
    gains = zone_means(numbers, inside, gain, count) > 0
    decided = np.where(inside > 0, gains[numbers], OUTSIDE)
    # neighbours of the same action are one zone now
    numbers, count = patches(decided, tick=lambda part: tick(0.8 + 0.1 * part))
    titles = [KEEP] * count
    for number in np.unique(numbers[decided == 1]).tolist():
        titles[number] = REPLANTED
    return zone_map_of("Replant plan", stand.unit, stand.grid, inside, numbers, stand.estimate,
                       titles, tick=lambda part: tick(0.9 + 0.1 * part))


def _plan_zones(zone_map, areas, means, totals, replanted_yield, settings):
    low, high = np.quantile(totals, INTERVAL, axis=0)
    chance = (totals > 0).mean(axis=0)
    per_area = f"{settings.currency}/{settings.area_unit}"
    zones = []
    for zone in zone_map.zones:
        number, acts = zone.label, zone.title == REPLANTED
        area, gain = float(areas[number]), float(means["gain"][number])
        rate = settings.seeds_per_area if acts else 0.0
        figures = {
            "mean stand": (zone.mean, zone_map.unit),
            "yield kept": (float(means["kept"][number]), "% of full yield"),
            "yield replanted": (replanted_yield, "% of full yield"),
            "seed units": (rate * area / settings.seeds_per_unit, "seed units"),
            "cells that would gain": (float(100 * means["chance"][number]), "%"),
            "gain per area if replanted": (gain, per_area),
            "gain if replanted": (gain * area, settings.currency),
            "gain if replanted, low": (float(low[number]), settings.currency),
            "gain if replanted, high": (float(high[number]), settings.currency)}
        zones.append(PlanZone(
            label=number, action=zone.title, rate=rate, area=area,
            gain_per_area=gain if acts else 0.0, gain=gain * area if acts else 0.0,
            gain_low=float(low[number]) if acts else 0.0,
            gain_high=float(high[number]) if acts else 0.0,
            chance=float(chance[number]), figures=figures))
    return tuple(zones)


def _settings(settings, table, grid, smallest_area_m2, smooth_radius_cells):
    return {
        "planting_date": (settings.planting_date.isoformat(), ""),
        "replant_date": (settings.replant_date.isoformat(), ""),
        **settings.numbers(),
        "yield_table": (table.title, ""),
        "smallest_zone": (float(convert(smallest_area_m2, "m2", settings.area_unit)),
                          settings.area_unit),
        "smoothing_radius": (smooth_radius_cells * grid.cell_m, "m")}


def _cautions(table, stand, zones):
    said = [f"Yield table used: {table.title}, {table.region}, {table.year}. {table.note}"]
    field = stand.inside > 0
    estimate, share = stand.estimate[field], stand.inside[field]
    beyond = (estimate < table.stands[0]) | (estimate > table.stands[-1])
    percent = 100 * share[beyond].sum() / share.sum()
    if percent >= 0.05:  # less would print as nothing
        said.append(f"{percent:.1f} % of the area has an estimated stand outside the yield table, "
                    f"which covers {table.reach}. There a stand above the last counts as the "
                    "last, and one below the first goes straight down to no yield at no plants: "
                    "this program's assumption.")
    unclear = sum(zone.figures["gain if replanted, low"][0] < 0
                  < zone.figures["gain if replanted, high"][0] for zone in zones)
    if unclear:
        said.append(f"No clear difference in {unclear} of {len(zones)} zones: the 90 % interval "
                    "of the gain from replanting reaches both sides of 0. More counts there would "
                    "tell.")
    return (*said, *REPLANT)
