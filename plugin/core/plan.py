"""A plan: what to do in each zone, at which rate, what it pays and how sure that is."""
from dataclasses import dataclass, field

from .zone_map import ZoneMap


@dataclass(frozen=True)
class PlanZone:
    """One zone of a plan; areas and money per area are in the plan's `area_unit`.

    label          the zone's label in the plan's zone map
    action         what to do, in words a machine can sort by, such as keep, replant, look again,
                   till, leave, apply or none
    rate           how much, in the plan's unit; 0 where nothing is done
    area           in the plan's area unit
    gain_per_area  expected gain over doing nothing (replant), tilling all (tillage) or the usual
                   rate (sidedress; 0 without one, and of lime)
    gain, gain_low, gain_high   the zone's total gain and its 90 % interval, money
    chance         that doing something is right here: gain above 0, a pan within reach, or a need
                   worth a pass
    figures        further figures by name, each a (value, unit) pair
    """
    label: int
    action: str
    rate: float
    area: float
    gain_per_area: float
    gain: float
    gain_low: float
    gain_high: float
    chance: float
    figures: dict = field(default_factory=dict)


@dataclass(frozen=True)
class Plan:
    """Zones with one action and rate each, and what they rest on.

    rate_of    what the rate counts, nitrogen or lime, where its unit does not say; else ""
    settings   every number the plan was made with, by name, each a (value, unit) pair
    sources    published tables used, as they are to be cited
    cautions   sentences the hand-over must carry
    gain, gain_low, gain_high   of the whole field, money, with its 90 % interval
    figures    further figures of the whole field by name, each (value, unit) or
               (value, unit, low, high)
    """
    name: str
    rate_unit: str
    area_unit: str
    currency: str
    zone_map: ZoneMap
    zones: tuple
    settings: dict
    sources: tuple
    cautions: tuple
    gain: float
    gain_low: float
    gain_high: float
    figures: dict = field(default_factory=dict)
    rate_of: str = ""
