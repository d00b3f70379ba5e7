"""Yield records of a record, one season at a time: metres and the record's yield unit."""
from dataclasses import dataclass

import numpy as np

from ..core.observe.yield_points import dry_yield_kg_per_m2
from ..core.problems import InputProblem
from ..core.units import bushel_kg, convert


@dataclass(frozen=True)
class YieldReadings:
    """The yield records of one season, in order of harvest.

    yields is in `unit`; distances and swaths in metres; moisture in percent; NaN where missing
    """
    season: int
    crop: str
    unit: str
    positions_m: np.ndarray
    yields: np.ndarray
    passes: np.ndarray
    interval_s: np.ndarray
    distance_m: np.ndarray
    swath_m: np.ndarray
    moisture: np.ndarray


def yield_readings(record, season):
    """Return the yield records of a season; dry yield as entered, else worked out from the flow.

    Raises   InputProblem: there are none, or a dry yield needs a crop that is not known
    """
    table = record.table("yield_points")
    mine = table["season"] == season
    if not mine.any():
        raise InputProblem(f"yield_points holds no record of {season}; it holds "
                           f"{', '.join(map(str, record.seasons)) or 'none at all'}.")
    column = {name: table[name][mine] for name in
              ("dry_yield", "flow", "moisture", "interval_s", "distance", "swath", "pass_number")}
    crops = {crop for crop in table["crop"][mine] if crop}
    if len(crops) > 1:
        raise InputProblem(f"yield_points: {season} holds {' and '.join(sorted(crops))}. Keep one "
                           "crop a season.")
    crop = crops.pop() if crops else record.field["crop"]
    units = record.units
    distance_m = convert(column["distance"], units.length, "m")
    swath_m = convert(column["swath"], units.length, "m")
    yields = column["dry_yield"]
    if not np.isfinite(yields).any():
        yields = _from_flow(column, distance_m, swath_m, crop, units)
    return YieldReadings(
        season, crop, units.grain_yield, np.column_stack([table["x"], table["y"]])[mine], yields,
        column["pass_number"], column["interval_s"], distance_m, swath_m, column["moisture"])


def _from_flow(column, distance_m, swath_m, crop, units):
    per_m2 = dry_yield_kg_per_m2(convert(column["flow"], units.flow, "kg/s"),
                                 column["interval_s"], distance_m, swath_m, column["moisture"],
                                 crop)
    if units.grain == "bu":
        return convert(per_m2, "kg/m2", "kg/ac") / bushel_kg(crop)
    return convert(per_m2, "kg/m2", "t/ha")
