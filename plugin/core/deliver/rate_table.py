"""The rows of a rate file, checked before anything is written."""
import math
from dataclasses import dataclass, replace

from ..problems import InputProblem
from ..units import convert

MANY_ZONES = 100  # polygons from which older controllers are said to give up (from memory)


@dataclass(frozen=True)
class RateRow:
    """One zone of a rate file."""
    zone: int
    action: str
    rate: float
    unit: str


@dataclass(frozen=True)
class RateLimits:
    """What a controller takes, in the unit of the rates; None: no limit.

    A rate of 0 switches off and is not held against the least.
    """
    least: float = None
    greatest: float = None

    def refusal(self, rate, unit):
        """Return why the controller does not take a rate, "" where it does."""
        if self.greatest is not None and not rate <= self.greatest:  # NaN is no limit
            return (f"{rate:.10g} {unit} is above the controller's greatest rate, "
                    f"{self.greatest:.10g} {unit}")
        if self.least is not None and rate != 0 and not rate >= self.least:
            return (f"{rate:.10g} {unit} is below the controller's least rate, "
                    f"{self.least:.10g} {unit}")
        return ""


@dataclass(frozen=True)
class Product:
    """What is spread where a plan counts a nutrient: how much of it is nutrient, and how dense.

    content           share of the nutrient in the product, above 0 to 1
    density_kg_per_l  of a liquid whose rates are planned as masses; None of what is not liquid
    """
    content: float = 1.0
    density_kg_per_l: float = None

    def rate(self, rate, unit, wanted):
        """Return a planned rate as a rate of the product in the wanted unit.

        Raises   InputProblem: the units measure different things
        """
        rate = rate / self.content
        if self.density_kg_per_l is not None and unit.endswith(("/ac", "/ha")):
            rate = float(convert(rate, unit, "kg/ha")) / self.density_kg_per_l
            unit = "L/ha"
        return float(convert(rate, unit, wanted))


def rate_rows(plan_name, rows, *, rate_column="rate", unit=""):
    """Return the RateRows of a layer's zones, every zone one rate of 0 or more in one unit.

    Rows of a layer without a column zone are numbered from 1; without a column action they have
    none.

    Parameters
        plan_name    what messages call the layer
        rows         list of dict, one per zone
        rate_column  the column that holds the rates
        unit         of all rates; "": what the column rate_unit says
    Raises   InputProblem: no zone, a rate missing, negative or not finite, or several units
    """
    if not rows:
        raise InputProblem(f"{plan_name} has no zone to write a rate for.")
    if rate_column not in rows[0]:
        raise InputProblem(f"{plan_name} has no column {rate_column}. Choose a plan that Spadework "
                           "made, or name the column that holds the rates.")
    if not unit and "rate_unit" not in rows[0]:
        raise InputProblem(f"{plan_name} has no column rate_unit. Say which unit its rates are in.")
    made = [RateRow(_zone(plan_name, number, row), str(row.get("action") or ""),
                    _rate(plan_name, number, rate_column, row[rate_column]),
                    unit or str(row["rate_unit"] or ""))
            for number, row in enumerate(rows, start=1)]
    units = {row.unit for row in made}
    if len(units) > 1:
        raise InputProblem(f"{plan_name} holds rates in {' and '.join(sorted(units))}. A rate file "
                           "holds one unit.")
    return made


def controller_rows(plan_name, rows, *, unit="", product=None, limits=None, rate_column="rate"):
    """Return rows with their rates in the controller's unit, each within its limits.

    Parameters
        rows    list of RateRow
        unit    the controller's; "": that of the rows
        product what is spread, a Product; None: what the plan counts
        limits  RateLimits in that unit, or None
    Raises   InputProblem: the units measure different things, or a rate is beyond a limit
    """
    limits, product = limits or RateLimits(), product or Product()
    made = []
    for number, row in enumerate(rows, start=1):
        wanted = unit or row.unit
        try:
            rate = product.rate(row.rate, row.unit, wanted)
        except InputProblem as problem:
            raise InputProblem(f"{plan_name}, row {number}: rates in {row.unit or 'no unit'} "
                               f"cannot be written in {wanted}. Choose another unit for the "
                               "controller; masses become volumes by the density of the product, "
                               "and by it alone.") from problem
        if not math.isfinite(rate):
            raise InputProblem(f"{plan_name}, row {number}, {rate_column}: {row.rate:.10g} "
                               f"{row.unit} makes no rate in {wanted}. Check the nutrient in the "
                               "product and its density.")
        refusal = limits.refusal(rate, wanted)
        if refusal:
            raise InputProblem(f"{plan_name}, row {number}, {rate_column}: {refusal}. Change the "
                               "plan, or the limit if it is not the controller's.")
        made.append(replace(row, rate=rate, unit=wanted))
    return made


def _zone(plan_name, number, row):
    if "zone" not in row:
        return number
    zone = row["zone"]
    if zone is None:
        raise InputProblem(f"{plan_name}, row {number}, zone: it is empty. Enter its number.")
    try:
        whole = int(zone)
        if whole == float(zone) and 0 <= whole <= 999_999_999:  # nine digits, as a shapefile holds
            return whole
    except (ValueError, OverflowError):  # a word, or not finite: told below
        pass
    raise InputProblem(f"{plan_name}, row {number}, zone: {zone} is no whole number of up to nine "
                       "digits. Enter one.")


def _rate(plan_name, number, column, value):
    try:
        rate = math.nan if value is None else float(value)
    except (TypeError, ValueError):
        rate = math.nan
    if not math.isfinite(rate) or rate < 0:
        raise InputProblem(f"{plan_name}, row {number}, {column}: {value} is no rate. Enter 0 or "
                           "more; 0 does nothing there.")
    return rate
