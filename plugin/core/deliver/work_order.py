"""A work order: what the rate files of a plan hold, where they go, and what to mind."""
from dataclasses import dataclass

from ..problems import InputProblem
from ..units import convert
from .rate_formats import where_it_goes
from .set_points import SHOWN_DECIMALS, set_point_of

FROM_MEMORY = "† From memory, not read in the standard: the controller's manual comes first."
NUTRIENTS = ("nitrogen",)  # what a plan may count of which a product holds only a share
_OTHER_DECIMALS = 2
_ALWAYS = (
    "Before you drive, load the file and compare area, lowest and highest rate and the map with "
    "this page. Try it on a headland first.",
    "The rates defer to local extension tables, labels and licensed advice.")
_CAUTIONS = {
    "depth": (
        "Before any deep tillage have buried utilities located (in the United States call 811, "
        "days ahead) and keep clear of tile: the file does not know where lines lie.",
        "A depth of 0 is the soil surface, not “no data”: lift the tool where the controller does "
        "not."),
    "count": (
        "Before replanting check the hybrid's maturity, herbicide labels and the insurance "
        "release.",),
    "mass": (
        "Masses are of the product spread, not of a nutrient in it. Calibrate the spreader with "
        "this product.",),
    "volume": (
        "Volumes are of the product applied, not of a nutrient in it. The label decides on rate, "
        "place and time.",)}


@dataclass(frozen=True)
class OrderRow:
    """All ground of one action and rate: the zones it is made of, area and total, as text."""
    zones: str
    action: str
    rate: str
    area: str
    total: str


@dataclass(frozen=True)
class WorkOrder:
    """Everything a work order prints, as text.

    facts    (name, text) pairs
    files    (file name, what it holds, where it goes)
    """
    title: str
    headline: str
    rows: tuple
    facts: tuple
    files: tuple
    check: str
    cautions: tuple


def area_unit_of(unit):
    """Return ac or ha: what areas are counted in beside rates in a unit."""
    return "ac" if unit.endswith("/ac") or unit in ("in", "ft") else "ha"


def work_order(field_name, rows, meant, files, *, outside=None, lost=None, further=(),
               nutrient=""):
    """Return the WorkOrder of a plan's rate files.

    Parameters
        field_name  what the field is called
        rows        RateRow of each zone, in the controller's unit
        meant       HandedZone of each zone
        files       (RateFormat, file name, ReadBack) of each file
        outside, lost  rates of a task file outside the field and without a position; None without
                    one
        further     (name, text) pairs of further totals
        nutrient    what the rates count, one of NUTRIENTS; "" where they are of a product
    """
    unit = rows[0].unit
    areas = [float(convert(zone.area_m2, "m2", area_unit_of(unit))) for zone in meant]
    return WorkOrder(
        f"Work order: {field_name}", _headline(rows, areas, nutrient), _table(rows, areas),
        (*_facts(rows, areas), *further, *_behaviour(outside, lost, unit)),
        tuple((name, _held(one, found, unit), where_it_goes(one))
              for one, name, found in files),
        "Every file was read back and compared with the plan: number of zones, areas, rates and "
        "totals agree.",
        (*_cautions(_quantity(unit), nutrient), *_ALWAYS, FROM_MEMORY))


def _cautions(quantity, nutrient):
    if not nutrient:
        return _CAUTIONS.get(quantity, ())
    return (f"Rates count {nutrient} itself, not the product that holds it. Set the controller and "
            f"calibrate by the {nutrient} in the product, or make the file again with the percent "
            "of it entered.",)


def rate_text(rate, unit, more=0):
    """Return a rate as the work order prints it."""
    decimals = SHOWN_DECIMALS.get(unit, _OTHER_DECIMALS) + more
    return f"{rate:,.{decimals}f} {unit}".strip()


def span_text(least, greatest, unit):
    """Return two rates as the work order prints them; one where they are alike."""
    if least == greatest:
        return rate_text(least, unit)
    return f"{rate_text(least, unit).removesuffix(unit).strip()} to {rate_text(greatest, unit)}"


def _quantity(unit):
    try:
        return set_point_of(unit).quantity
    except InputProblem:
        return ""


def _area_text(area, unit):
    return f"{area:,.2f} {area_unit_of(unit)}"


def _total_text(rows, areas):
    """Rate times area in the rate's own count; "" where a rate is a depth or something else."""
    unit = rows[0].unit
    if not unit.endswith(("/ac", "/ha")):
        return ""
    total = sum(row.rate * area for row, area in zip(rows, areas))
    counted = unit.split("/")[0]
    return f"{total:,.{0 if counted == 'seeds' or total >= 1000 else 1}f} {counted}"


def _headline(rows, areas, nutrient):
    unit, whole = rows[0].unit, sum(areas)
    worked = [(row, area) for row, area in zip(rows, areas) if row.rate > 0]
    if not worked:
        return f"All {_area_text(whole, unit)} carry rate 0: nothing is to be done."
    area = sum(area for _, area in worked)
    rates = sorted({row.rate for row, _ in worked})
    span = span_text(rates[0], rates[-1], unit)
    total = _total_text(*map(list, zip(*worked)))
    verbs = {"depth": "Work", "count": "Plant"}
    said = f"{verbs.get(_quantity(unit), 'Apply')} on {_area_text(area, unit)} of " \
           f"{_area_text(whole, unit)}"
    if total:
        return f"{said}: {total}{f' of {nutrient}' if nutrient else ''}, at {span}."
    return f"{said}, {span} deep." if _quantity(unit) == "depth" else f"{said}, at {span}."


def _table(rows, areas):
    groups = {}
    for row, area in zip(rows, areas):
        groups.setdefault((row.rate, row.action), []).append((row, area))
    made = []
    for (rate, action), members in sorted(groups.items(), key=lambda item: (-item[0][0],
                                                                            item[0][1])):
        those, sizes = zip(*members)
        made.append(OrderRow(
            _zone_numbers([row.zone for row in those]), action, rate_text(rate, those[0].unit),
            _area_text(sum(sizes), those[0].unit), _total_text(those, sizes)))
    return tuple(made)


def _zone_numbers(zones, most=12):
    zones = sorted(set(zones))
    said = ", ".join(map(str, zones[:most]))
    return said if len(zones) <= most else f"{said} and {len(zones) - most} more"


def _facts(rows, areas):
    unit, whole = rows[0].unit, sum(areas)
    facts = [("Area of all zones", _area_text(whole, unit)),
             ("Area with a rate above 0", _area_text(sum(
                 area for row, area in zip(rows, areas) if row.rate > 0), unit))]
    total = _total_text(rows, areas)
    if total:
        facts.append(("Total", total))
    elif _quantity(unit) == "depth" and any(row.rate > 0 for row in rows):
        worked = sum(area for row, area in zip(rows, areas) if row.rate > 0)
        mean = sum(row.rate * area for row, area in zip(rows, areas)) / worked
        facts.append(("Mean depth where worked", rate_text(mean, unit)))
    return facts


def _behaviour(outside, lost, unit):
    if outside is None:
        return ()
    return (("Outside the field", rate_text(outside, unit)),
            ("Position lost, or no zone", rate_text(lost, unit)))


def _held(one, found, unit):
    """What a file holds, and, where its steps show, how far its rates are from the plan's."""
    pieces = "polygons" if one.kind in ("vector", "zones") else "cells in the field"
    span = span_text(found.least, found.greatest, unit)
    said = f"{one.name}: {found.polygons:,} {pieces}, {span}"
    if found.furthest > 0.005 * 10**-SHOWN_DECIMALS.get(unit, _OTHER_DECIMALS):
        said += (f", in steps of {rate_text(found.step, unit, 2)}: up to "
                 f"{rate_text(found.furthest, unit, 2)} off the plan")
    return said
