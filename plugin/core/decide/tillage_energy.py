"""Draft, power, fuel and time of a tillage plan, against one depth over the same ground."""
from dataclasses import dataclass

import numpy as np

from ..units import UnitSystem, convert
from .draft import Outfit, draft_tools, draft_within, pass_at


@dataclass(frozen=True)
class Rig:
    """The outfit that does the work, what its fuel costs, and the units to tell it in.

    fuel_price  currency per fuel unit; None where it is not known
    """
    outfit: Outfit
    units: UnitSystem
    fuel_price: float = None


@dataclass(frozen=True)
class TillageEnergy:
    """What k zones take, in the rig's units; `fuel_saved` and its ends are against one depth.

    depth           the one depth, that of the deepest zone, in the depth unit
    draft, power, load   (k,) of the outfit; power at the take-off; load as share of the tractor's
    fuel, hours     (k,) of each zone in all
    fuel_of_one, hours_of_one         of the same ground run at the one depth
    fuel_saved, saved_low, saved_high (k,) in each zone
    """
    depth: float
    draft: np.ndarray
    power: np.ndarray
    load: np.ndarray
    fuel: np.ndarray
    hours: np.ndarray
    fuel_of_one: float
    hours_of_one: float
    fuel_saved: np.ndarray
    saved_low: np.ndarray
    saved_high: np.ndarray


def tillage_energy(depths, areas, rig, *, depth_unit, area_unit):
    """Return the TillageEnergy of zones, or None where none is worked.

    The ends of the fuel saved come from the draft at the ends of the range within which the table
    holds for the tool: in all zones at once, since the soil and the tool are the same. Where the
    load is above 1 the tractor cannot pull the depth, and fuel and hours are what the formula
    gives all the same: the caller has to say so.

    Parameters
        depths  (k,) of each zone, 0 where it is not worked
        areas   (k,) of each zone
        rig     Rig
    Source   see `draft.pass_at`
    """
    depths, hectares = np.asarray(depths, float), convert(areas, area_unit, "ha")
    if not (depths > 0).any():
        return None
    depths_m, deepest_m = (convert(value, depth_unit, "m") for value in (depths, depths.max()))
    units, outfit, within = rig.units, rig.outfit, draft_within(rig.outfit.tool)
    zones, one = pass_at(depths_m, outfit), pass_at(deepest_m, outfit)

    def saved(factor):
        litres = (pass_at(deepest_m, outfit, draft_factor=factor).fuel_l_per_ha
                  - pass_at(depths_m, outfit, draft_factor=factor).fuel_l_per_ha)
        return convert(litres * hectares, "L", units.fuel)

    return TillageEnergy(
        depth=float(depths.max()), draft=convert(zones.draft_n, "N", units.force),
        power=convert(zones.pto_kw, "kW", units.power), load=zones.load,
        fuel=convert(zones.fuel_l_per_ha * hectares, "L", units.fuel),
        hours=zones.hours_per_ha * hectares,
        fuel_of_one=float(convert(one.fuel_l_per_ha, "L", units.fuel) * hectares.sum()),
        hours_of_one=float(one.hours_per_ha * hectares.sum()),
        fuel_saved=saved(1.0), saved_low=saved(1 - within), saved_high=saved(1 + within))


def settings_of_rig(rig, currency):
    """Return what the energy rests on, as settings of a plan."""
    outfit, units = rig.outfit, rig.units
    told = {
        "tillage_tool": (draft_tools()[outfit.tool], ""),
        "tillage_shanks": (outfit.tools, ""),
        "tillage_width": (float(convert(outfit.width_m, "m", units.length)), units.length),
        "tillage_speed": (float(convert(outfit.speed_km_h, "km/h", units.speed)), units.speed),
        "field_efficiency": (100 * outfit.field_efficiency, "%"),
        "soil_texture": (outfit.texture, ""), "tractor": (outfit.tractor.replace("_", " "), ""),
        "tractor_surface": (outfit.surface, ""),
        "tractor_power": (float(convert(outfit.rated_pto_kw, "kW", units.power)), units.power),
        "fuel_price": (rig.fuel_price, f"{currency}/{units.fuel}")}
    return {name: pair for name, pair in told.items() if pair[0] is not None}


def figures_of_zone(energy, number, area, rig):
    """Return what a worked zone takes, as figures of a plan's zone."""
    units = rig.units
    return {
        "draft": (float(energy.draft[number]), units.force),
        "power at the take-off": (float(energy.power[number]), units.power),
        "share of the tractor's power": (float(100 * energy.load[number]), "%"),
        "fuel": (float(energy.fuel[number]), units.fuel),
        "fuel per area": (float(energy.fuel[number] / area), f"{units.fuel}/{units.area}"),
        "hours": (float(energy.hours[number]), "h")}


def figures_of_field(energy, rig, currency):
    """Return what the plan takes and saves, as figures of a plan."""
    fuel, price = rig.units.fuel, rig.fuel_price
    saved = tuple(float(one.sum())
                  for one in (energy.fuel_saved, energy.saved_low, energy.saved_high))
    figures = {
        "one depth to compare with": (energy.depth, rig.units.depth),
        "fuel by this plan": (float(energy.fuel.sum()), fuel),
        "fuel at one depth": (energy.fuel_of_one, fuel),
        "fuel saved": (saved[0], fuel, *saved[1:]),
        "hours by this plan": (float(energy.hours.sum()), "h"),
        "hours at one depth": (energy.hours_of_one, "h")}
    if price is not None:
        figures["worth of the fuel saved"] = (saved[0] * price, currency,
                                          *(end * price for end in saved[1:]))
    return figures


def energy_cautions(zones, energy, rig):
    """Return what to know of the energy figures: depths that the tractor cannot pull among it.

    Parameters
        zones  PlanZones of the plan, numbered as the energy is
    """
    within = 100 * draft_within(rig.outfit.tool)
    said = [f"Draft, power, fuel and hours hold for the tool, soil and tractor entered. The draft "
            f"table holds within {within:.0f} % either way, and the range of the fuel saved covers "
            "that alone. Its draft grows in proportion to depth; field trials found a faster "
            "growth, so shallower ground may save more. Ground that the tool cannot reach is in "
            "neither sum. The fuel of a pass that is not made is part of the cost that it saves: "
            "do not add the two."]
    weak = [zone for zone in zones if energy.load[zone.label] > 1]
    if weak:
        named = ", ".join(f"zone {zone.label + 1} ({zone.rate:g} {rig.units.depth}: "
                          f"{100 * energy.load[zone.label]:.0f} %)" for zone in weak)
        said.insert(0, "The tractor cannot pull the depth at that speed: the power needed is above "
                    f"its rated power in {named}. Drive slower, take a smaller tool or a stronger "
                    "tractor; fuel and hours there are only what the formula gives.")
    return said
