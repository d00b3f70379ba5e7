"""The replant plan: keep or replant each part of the field, what it pays, and how sure that is."""
import numpy as np

from ..long_call import long_call
from ..plan import Plan, PlanZone
from ..problems import InputProblem
from ..units import convert
from ..zone.patches import patches
from ..zone.statistics import zone_map_of
from ..zone.workable import workable_classes
from ..zone_map import OUTSIDE
from .cautions import REPLANT
from .look_again import DECIDE_ALL, INTERVAL, figures_of_looking, worth_of_looking
from .plan_zones import drawn_zone_means, require_surface, shape_settings, zone_means
from .replant_cells import gains_of_cells
from .replant_gain import break_even_stand, gain_line, gain_per_area, replanted_percent
from .replant_settings import ReplantSettings

__all__ = ["ReplantSettings", "break_even_stand", "gain_per_area", "replant_plan"]

KEEP, REPLANTED, LOOK_AGAIN = ACTIONS = "keep", "replant", "look again"


def replant_plan(stand, draws, drawn_cells, table, settings, *, area_unit, shape,
                 doubt=DECIDE_ALL, tick=None):
    """Return what to keep and what to replant, with the gain and its 90 % interval.

    Each cell is judged by its expected gain over the uncertainty of its stand, taken as normal and
    cut at 0 plants, in closed form (see `piecewise_line`). The cells are given a shape that a
    planter can work, and each connected patch is then kept or replanted by its mean expected gain,
    or looked at again where its chance is in doubt. A kept zone gains 0; what replanting it would
    bring stands among its figures. The interval of a zone comes from the draws at its drawn cells,
    shifted so that their centre agrees with the expected gain over all its cells; a zone without a
    drawn cell takes the nearest one. Drawn cells outside the field are not used. A zone's chance is
    the share of draws in which replanting it gains. A zone to look at again gets no seed and gains
    nothing; the figures of the plan say what the field gains with it.

    Parameters
        stand                Surface, plants per area unit
        draws                (d, m) draws of the stand at m cells, jointly, in the same unit
        drawn_cells          (m,) their flat cell numbers
        table                YieldTable in the same unit
        settings             ReplantSettings
        area_unit            ac or ha, that of the settings
        shape                WorkableShape of the zones
        doubt                DoubtLimits: the chances between which a zone is looked at again
        tick                 called with the fraction done; may raise Stopped
    Returns  Plan, its rate in seeds per area unit
    Raises   InputProblem: units or shapes disagree, no drawn cell is inside the field, a date or
             the target stand is outside the table
    """
    tick = tick or (lambda fraction: None)
    tick(0.0)
    _require_agreement(stand, draws, drawn_cells, settings, area_unit)
    tick(0.1)
    cells = gains_of_cells(stand, table, settings)
    drawn_gains = long_call(lambda: gain_line(table, settings).at(np.asarray(draws, float)),
                            tick, 0.3)
    zone_map = _zones(stand, cells, drawn_gains, drawn_cells, doubt, shape,
                      lambda part: tick(0.3 + 0.6 * part))
    tick(0.9)
    means = {name: zone_means(zone_map.labels, stand.inside, values, len(zone_map.zones))
             for name, values in vars(cells).items()}
    drawn = drawn_zone_means(zone_map, drawn_gains, drawn_cells, cells.gain)
    areas = convert([zone.area_m2 for zone in zone_map.zones], "m2", area_unit)
    totals = drawn * areas
    centred = totals - totals.mean(axis=0) + means["gain"] * areas  # so that sums agree to the cent
    replanted, looked_at = (np.array([zone.title == action for zone in zone_map.zones])
                            for action in (REPLANTED, LOOK_AGAIN))
    zones = _plan_zones(zone_map, areas, means, totals, worth_of_looking(centred),
                        replanted_percent(table, settings), settings)
    gain = sum(zone.gain for zone in zones)
    low, high = np.quantile(totals[:, replanted].sum(axis=1), INTERVAL)
    return Plan(
        name="Replant plan", rate_unit=f"seeds/{area_unit}", area_unit=area_unit,
        currency=settings.currency, zone_map=zone_map, zones=zones,
        settings={**_settings(settings, table), **shape_settings(shape, area_unit),
                  "chance_keep": (doubt.keep, ""), "chance_replant": (doubt.replant, "")},
        sources=(f"{table.title} ({table.year}). {table.source}. Region: {table.region}. "
                 f"Figures {table.status_in_words}. Between its dates and its stands it is read in "
                 "straight lines.",),
        cautions=_cautions(table, stand, zones, settings),
        gain=gain, gain_low=float(low), gain_high=float(high),
        figures=figures_of_looking(centred[:, replanted], centred[:, looked_at],
                                   settings.currency))


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


def _zones(stand, cells, drawn_gains, drawn_cells, doubt, shape, tick):
    """Return connected zones of one action each, the action as title.

    Cells in doubt are a class of their own, so that they make patches of their own; whether a
    patch is in doubt is judged by its gain as a whole, which is surer than that of its cells.
    """
    inside = stand.inside
    classes = np.where(inside > 0, _actions(cells.gain, cells.chance, doubt), OUTSIDE)
    classes = workable_classes(classes, inside, cell_m=stand.grid.cell_m, shape=shape,
                               tick=lambda part: tick(0.6 * part))
    numbers, count = patches(classes, tick=lambda part: tick(0.6 + 0.1 * part))
    patched = zone_map_of("Patches", stand.unit, stand.grid, inside, numbers, stand.estimate,
                          [""] * count, tick=lambda part: tick(0.7 + 0.1 * part))
    actions = _actions(
        zone_means(patched.labels, inside, cells.gain, count),
        (drawn_zone_means(patched, drawn_gains, drawn_cells, cells.gain) > 0).mean(axis=0), doubt)
    decided = np.where(inside > 0, actions[patched.labels], OUTSIDE)
    # neighbours of the same action are one zone now
    numbers, _ = patches(decided, tick=lambda part: tick(0.8 + 0.1 * part))
    found, first = np.unique(numbers[inside > 0], return_index=True)
    titles = {number: ACTIONS[action] for number, action in
              zip(found.tolist(), decided[inside > 0][first].tolist())}
    return zone_map_of("Replant plan", stand.unit, stand.grid, inside, numbers, stand.estimate,
                       titles, tick=lambda part: tick(0.9 + 0.1 * part))


def _actions(gain, chance, doubt):
    """Return the number, in ACTIONS, of what a gain and its chance to be above 0 ask for."""
    decided = np.where(gain > 0, ACTIONS.index(REPLANTED), ACTIONS.index(KEEP))
    return np.where(doubt.hold(chance), ACTIONS.index(LOOK_AGAIN), decided)


def _plan_zones(zone_map, areas, means, totals, worth, replanted_yield, settings):
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
            "gain if replanted, high": (float(high[number]), settings.currency),
            **({"most that a further look is worth": (float(worth[number]), settings.currency)}
               if zone.title == LOOK_AGAIN else {})}
        zones.append(PlanZone(
            label=number, action=zone.title, rate=rate, area=area,
            gain_per_area=gain if acts else 0.0, gain=gain * area if acts else 0.0,
            gain_low=float(low[number]) if acts else 0.0,
            gain_high=float(high[number]) if acts else 0.0,
            chance=float(chance[number]), figures=figures))
    return tuple(zones)


def _settings(settings, table):
    return {
        "planting_date": (settings.planting_date.isoformat(), ""),
        "replant_date": (settings.replant_date.isoformat(), ""),
        **settings.numbers(),
        "yield_table": (table.title, "")}


def _cautions(table, stand, zones, settings):
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
    again = [zone for zone in zones if zone.action == LOOK_AGAIN]
    if again:
        area, worth = sum(zone.area for zone in again), sum(
            zone.figures["most that a further look is worth"][0] for zone in again)
        said.append(f"Look again before deciding on {area:.1f} {settings.area_unit}: whether "
                    "replanting gains there is in doubt. No seed and no money is counted for it. "
                    f"Knowing for certain would be worth {settings.currency} {worth:,.0f} at most; "
                    "Next stops, a tool of this program, tells your adviser where to count next "
                    "and what each count is worth.")
    unclear = sum(zone.figures["gain if replanted, low"][0] < 0
                  < zone.figures["gain if replanted, high"][0] for zone in zones)
    if unclear:
        said.append(f"No clear difference in {unclear} of {len(zones)} zones: the 90 % interval "
                    "of the gain from replanting reaches both sides of 0. More counts there would "
                    "tell.")
    return (*said, *REPLANT)
