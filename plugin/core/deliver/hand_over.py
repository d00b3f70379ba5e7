"""The check before hand-over: what was meant to be written against what reads back."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem

_ROUNDING = 1e-6  # of an area or a rate: far more than double precision needs, far less than counts
_LEAST_M2 = 1e-3


@dataclass(frozen=True)
class HandedZone:
    """A zone as meant or as read back: its rate in the controller's unit, area and outline.

    outline_m   length of its rings: how much its area may move when points are rounded
    """
    name: str
    rate: float
    area_m2: float
    outline_m: float = 0.0


@dataclass(frozen=True)
class ReadBack:
    """What a file was found to hold, once compared: for the work order.

    format        name of the format
    polygons      polygons or cells in it
    area_m2       of its zones; of a grid, of the cells inside the field
    total         sum of rate times area (m2)
    least, greatest   rates in it
    step          in which it keeps rates, in the controller's unit
    furthest      largest difference of a rate from the plan's, in that unit
    """
    format: str
    polygons: int
    area_m2: float
    total: float
    least: float
    greatest: float
    step: float
    furthest: float


def compared(format_name, meant, found, *, polygons, step, shift_m):
    """Return the ReadBack of a file whose zones are those meant, in the same order.

    With the rate and the area of every zone their total agrees, too.

    Parameters
        meant, found   lists of HandedZone
        polygons       how many the file holds
        step           of rates in the file: each may differ by half of it
        shift_m        how far the rounding of places may move a point
    Raises   InputProblem: number, rate or area of zones differ
    """
    if len(meant) != len(found):
        raise _wrong(format_name, f"{len(found)} zones instead of {len(meant)}")
    for one, other in zip(meant, found):
        if not abs(one.rate - other.rate) <= _rate_slack(one.rate, step):  # NaN is none, too
            raise _wrong(format_name, f"a rate of {other.rate:.10g} in {one.name} instead of "
                                      f"{one.rate:.10g}")
        if not abs(one.area_m2 - other.area_m2) <= _area_slack(one, shift_m):
            raise _wrong(format_name, f"{other.area_m2:.6g} m2 in {one.name} instead of "
                                      f"{one.area_m2:.6g}")
    return _read_back(format_name, meant, found, polygons, step)


def compared_cells(format_name, meant, found, cells, *, step, cell_m2, outline_m, cell_m):
    """Return the ReadBack of a grid whose cells hold the rates of the places they lie at.

    Parameters
        meant      HandedZone of each zone
        found      (n,) rates read back of the cells whose middle lies inside the field
        cells      (n,) number of the zone that each of them lies in, found anew
        step       of rates in the file
        cell_m2    area of a cell
        outline_m  length of the field's rings
        cell_m     longest side of a cell
    Raises   InputProblem: a cell holds another rate, or the areas differ by more than the cells
             along all edges
    """
    rates = np.array([zone.rate for zone in meant])
    found, cells = np.asarray(found, float), np.asarray(cells)
    wrong = ~(np.abs(found - rates[cells]) <= _rate_slack(rates[cells], step))
    if wrong.any():
        first = int(np.flatnonzero(wrong)[0])
        raise _wrong(format_name, f"{found[first]:.10g} instead of {rates[cells[first]]:.10g} in "
                                  f"{np.count_nonzero(wrong)} of {len(found)} cells")
    area, wanted = len(found) * cell_m2, sum(zone.area_m2 for zone in meant)
    if abs(area - wanted) > outline_m * cell_m + cell_m2:
        raise _wrong(format_name, f"{area:.6g} m2 of cells instead of {wanted:.6g}")
    return ReadBack(format_name, len(found), area, float(found.sum() * cell_m2),
                    float(found.min()), float(found.max()), step,
                    float(np.abs(found - rates[cells]).max()))


def _rate_slack(rate, step):
    return step / 2 * (1 + _ROUNDING) + _ROUNDING * rate


def _area_slack(zone, shift_m):
    return zone.outline_m * shift_m + _ROUNDING * zone.area_m2 + _LEAST_M2


def _read_back(format_name, meant, found, polygons, step):
    rates = [zone.rate for zone in found]
    return ReadBack(
        format_name, polygons, sum(zone.area_m2 for zone in found),
        sum(zone.rate * zone.area_m2 for zone in found), min(rates), max(rates), step,
        max(abs(one.rate - other.rate) for one, other in zip(meant, found)))


def _wrong(format_name, what):
    return InputProblem(f"{format_name} read back with {what}. Nothing was handed over. Check the "
                        "disk, and tell who looks after this program.")
