"""The rows of a rate file, checked before anything is written."""
import math
from dataclasses import dataclass

from ..problems import InputProblem

MANY_ZONES = 100  # polygons from which older controllers are said to give up (from memory)


@dataclass(frozen=True)
class RateRow:
    """One zone of a rate file."""
    zone: int
    action: str
    rate: float
    unit: str


def rate_rows(plan_name, rows):
    """Return the RateRows of a plan's zones, every zone one rate of 0 or more in one unit.

    Parameters
        plan_name  what messages call the plan
        rows       list of dict with zone, action, rate and rate_unit
    Raises   InputProblem: no zone, a rate missing, negative or not finite, or several units
    """
    if not rows:
        raise InputProblem(f"{plan_name} has no zone to write a rate for.")
    made = []
    for number, row in enumerate(rows, start=1):
        lacking = [name for name in ("zone", "action", "rate", "rate_unit") if name not in row]
        if lacking:
            raise InputProblem(f"{plan_name} has no column {lacking[0]}. Choose a plan that "
                               "Replant plan or Tillage plan made.")
        if row["zone"] is None:
            raise InputProblem(f"{plan_name}, row {number}, zone: it is empty. Enter its number.")
        rate = row["rate"]
        if rate is None or not math.isfinite(rate) or rate < 0:
            raise InputProblem(f"{plan_name}, row {number}, rate: {rate} is no rate. Enter 0 or "
                               "more; 0 does nothing there.")
        made.append(RateRow(int(row["zone"]), str(row["action"] or ""), float(rate),
                            str(row["rate_unit"] or "")))
    units = {row.unit for row in made}
    if len(units) > 1:
        raise InputProblem(f"{plan_name} holds rates in {' and '.join(sorted(units))}. A rate file "
                           "holds one unit.")
    return made
