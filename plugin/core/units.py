"""Units of measurement: the one place where a factor stands."""
from dataclasses import dataclass

import numpy as np

from .problems import InputProblem

# Factors to the SI unit of each quantity. Exact by definition: international yard and pound
# agreement (1959); NIST SP 811 (2008), appendix B, for the pound-force, the gallon (US liquid) and
# the ton (short, 2000 lb), and the horsepower (550 ft lbf/s).
_LENGTH = {"m": 1.0, "mm": 0.001, "cm": 0.01, "km": 1000.0, "in": 0.0254, "ft": 0.3048,
           "yd": 0.9144}
_AREA = {"m2": 1.0, "ha": 10_000.0, "ac": 43_560 * 0.3048**2, "ft2": 0.3048**2,
         "in2": 0.0254**2, "cm2": 1e-4, "mm2": 1e-6}
_PRESSURE = {"kPa": 1.0, "MPa": 1000.0, "Pa": 0.001, "bar": 100.0, "N/cm2": 10.0,
             "psi": 0.45359237 * 9.80665 / 0.0254**2 / 1000.0}
_MASS = {"kg": 1.0, "g": 0.001, "mg": 1e-6, "t": 1000.0, "lb": 0.45359237,
         "ton": 2000 * 0.45359237}  # the short ton of the United States
_VOLUME = {"L": 1.0, "mm3": 1e-6, "gal": 3.785411784}
_TIME = {"s": 1.0, "h": 3600.0}
_SPEED = {"km/h": 1.0, "mph": 1.609344}
_FORCE = {"N": 1.0, "kN": 1000.0, "kgf": 9.80665, "lbf": 0.45359237 * 9.80665}
_POWER = {"kW": 1.0, "hp": 550 * 0.3048 * 0.45359237 * 9.80665 / 1000.0}
_QUANTITIES = (_LENGTH, _AREA, _PRESSURE, _MASS, _VOLUME, _TIME, _SPEED, _FORCE, _POWER)

# Standard bushel weights, lb: University of Wisconsin Extension, Bushels and test weight
# (corn, soybean, wheat); sorghum 56 lb from memory.
BUSHEL_LB = {"corn": 56.0, "soybean": 60.0, "wheat": 60.0, "sorghum": 56.0}


def convert(values, unit, to):
    """Return values given in `unit` as values in `to`.

    A compound unit is a numerator and a denominator joined by one slash ("plants/ac", "lb/ac");
    a numerator that is no measured quantity (plants, seeds, USD) must be the same on both sides.

    Parameters
        values  float or array, any shape
        unit    the unit they are in
        to      the unit wanted
    Returns  the same shape, float
    Raises   InputProblem: a unit is unknown, or the two measure different things
    """
    return np.multiply(values, _ratio(unit, to))


def pressures_of_forces(forces, unit, to, *, area, area_unit):
    """Return the pressures of forces on the base of a cone.

    Parameters
        forces     float or array, in `unit`: N, kgf or lbf
        to         unit of pressure wanted
        area       of the cone's base, in `area_unit`, above 0
    Raises   InputProblem: a unit is unknown, or the area is not above 0
    """
    if not 0 < area < np.inf:
        raise InputProblem(f"The cone's base is {area:g} {area_unit}; it must be above 0.")
    newtons = convert(forces, unit, "N")
    return convert(newtons / convert(area, area_unit, "m2"), "Pa", to)


def measures_force(unit):
    """Return whether a unit is one of force, which makes a pressure only with a cone's area."""
    return unit in _FORCE


def measure_alike(unit, other):
    """Return whether values in one unit can be expressed in the other."""
    try:
        _ratio(unit, other)
    except InputProblem:
        return False
    return True


def bushels_per_acre_as_tonnes_per_hectare(bushels_per_acre, crop):
    """Return grain yields in bu/ac as t/ha, by the crop's standard bushel weight.

    Raises   InputProblem: the crop has no standard bushel weight in BUSHEL_LB
    Source   see BUSHEL_LB
    """
    return convert(np.multiply(bushels_per_acre, bushel_kg(crop)), "kg/ac", "t/ha")


def bushel_kg(crop):
    """Return the mass of one standard bushel of the crop, kg.

    Raises   InputProblem: the crop has no standard bushel weight in BUSHEL_LB
    Source   see BUSHEL_LB
    """
    if crop not in BUSHEL_LB:
        raise InputProblem(f"There is no standard bushel weight for {crop}; "
                           f"known are {', '.join(sorted(BUSHEL_LB))}.")
    return BUSHEL_LB[crop] * _MASS["lb"]


def _ratio(unit, to):
    if unit == to:
        return 1.0
    for quantity in _QUANTITIES:
        if unit in quantity and to in quantity:
            return quantity[unit] / quantity[to]
    if unit.count("/") == to.count("/") == 1:
        top, bottom = unit.split("/")
        to_top, to_bottom = to.split("/")
        return _ratio(top, to_top) / _ratio(bottom, to_bottom)
    raise InputProblem(f"{unit} cannot be expressed in {to}.")


@dataclass(frozen=True)
class UnitSystem:
    """The units in which one record is kept."""
    name: str
    depth: str
    length: str
    area: str
    pressure: str
    population: str
    seeding: str
    grain_yield: str
    grain: str
    flow: str
    nitrogen_rate: str
    lime_rate: str
    speed: str
    force: str
    power: str
    fuel: str
    density: str

    def money_per_area(self, currency):
        """Return the unit of a cost per area, such as USD/ac."""
        return f"{currency}/{self.area}"


US = UnitSystem(name="us", depth="in", length="ft", area="ac", pressure="psi",
                population="plants/ac", seeding="seeds/ac", grain_yield="bu/ac", grain="bu",
                flow="lb/s", nitrogen_rate="lb/ac", lime_rate="ton/ac", speed="mph",
                force="lbf", power="hp", fuel="gal", density="lb/gal")
METRIC = UnitSystem(name="metric", depth="cm", length="m", area="ha", pressure="kPa",
                    population="plants/ha", seeding="seeds/ha", grain_yield="t/ha", grain="t",
                    flow="kg/s", nitrogen_rate="kg/ha", lime_rate="t/ha", speed="km/h",
                    force="kN", power="kW", fuel="L", density="kg/L")
UNIT_SYSTEMS = {system.name: system for system in (US, METRIC)}
