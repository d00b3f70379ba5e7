"""Set points of ISO 11783-11: which identifier carries a rate, and in what steps."""
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from ..decide.data_table import read_data_table
from ..problems import InputProblem
from ..units import convert

FOLDER = Path(__file__).with_name("tables")
# Units a controller may be set to, and the decimals in which it shows them.
SHOWN_DECIMALS = {"seeds/ac": 0, "seeds/ha": 0, "in": 1, "cm": 1, "lb/ac": 1, "kg/ha": 1,
                  "ton/ac": 2, "t/ha": 2, "gal/ac": 2, "L/ha": 1}


@dataclass(frozen=True)
class SetPoint:
    """A data dictionary entry; one raw step is `step` of `unit`.

    quantity   count, depth, mass or volume
    """
    quantity: str
    ddi: int
    name: str
    unit: str
    step: float
    least_raw: int
    greatest_raw: int

    @property
    def hexadecimal(self):
        """The identifier as task files write it: four hexadecimal digits."""
        return f"{self.ddi:04X}"

    def step_in(self, unit):
        """Return one raw step in a unit."""
        return float(convert(self.step, self.unit, unit))

    def raw(self, value, unit):
        """Return a value as the nearest raw integer, halves away from zero.

        Raises   InputProblem: it is not finite, or beyond what the entry holds
        """
        steps = float(convert(value, unit, self.unit)) / self.step
        if not np.isfinite(steps):
            raise InputProblem(f"{value} {unit} is no rate.")
        raw = int(np.copysign(np.floor(abs(steps) + 0.5), steps))
        if not self.least_raw <= raw <= self.greatest_raw:
            limit = self.value(self.greatest_raw if raw > 0 else self.least_raw, unit)
            raise InputProblem(f"{value:g} {unit} is beyond {limit:g} {unit}, the furthest that "
                               f"identifier {self.ddi} ({self.name}) of ISO 11783 holds.")
        return raw

    def value(self, raw, unit):
        """Return what raw integers mean in a unit; a number or an array."""
        return convert(np.multiply(raw, self.step), self.unit, unit)


@cache
def set_points():
    """Return the SetPoints that rate files use."""
    table = read_data_table("data_dictionary", FOLDER)
    return tuple(SetPoint(quantity, int(ddi), name, unit, float(step), int(least), int(greatest))
                 for quantity, ddi, name, unit, step, least, greatest in table.rows)


def set_point_of(unit):
    """Return the SetPoint that carries rates in a unit.

    Lengths are depths of tillage, counts are seeds, masses and volumes are those of the product,
    not of a nutrient in it.

    Raises   InputProblem: none carries it
    """
    for one in set_points():
        try:
            convert(1.0, unit, one.unit)
        except InputProblem:
            continue
        return one
    raise InputProblem(f"ISO 11783 files carry seeds, depths, masses and volumes, not rates in "
                       f"{unit or 'no unit'}. Choose a rate column in one of "
                       f"{', '.join(SHOWN_DECIMALS)}, and name its unit.")
