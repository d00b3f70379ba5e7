"""Insertions that are asked about: a limit in another unit, depths that do not go together."""
import numpy as np

from ..core.problems import InputProblem
from ..core.units import convert
from .stops import rows_named

LAYER = "compaction_readings"
# Limits in use lie between 1,500 and 3,000 kPa. psi entered as kPa fall below these, kPa entered
# as psi lie above: our own choice.
LEAST_LIMIT_KPA, GREATEST_LIMIT_KPA = 700.0, 7_000.0
APART = 1.5  # deepest over the last depth of the profile, or the other way round: our own choice


def require_pan_limit(limit, unit):
    """Refuse a resistance that no field calls a pan.

    Parameters
        limit  resistance from which a layer counts as a pan
        unit   its pressure unit, such as psi
    Raises   InputProblem: it is not a number from LEAST_LIMIT_KPA to GREATEST_LIMIT_KPA
    """
    if not LEAST_LIMIT_KPA <= float(convert(limit, unit, "kPa")) <= GREATEST_LIMIT_KPA:
        least, greatest = (float(convert(one, "kPa", unit))
                           for one in (LEAST_LIMIT_KPA, GREATEST_LIMIT_KPA))
        raise InputProblem(f"pan_limit: the limit of a pan is {limit:,g} {unit}, and limits lie "
                           f"between {least:,.0f} and {greatest:,.0f} {unit}. Enter it in {unit}; "
                           "2,000 kPa are 290 psi.")


def unlike_depths(record, profiles_m, used):
    """Return a warning that names the rows whose `deepest` and profile end far apart, or none.

    A row without `deepest` or without a profile is not asked about.

    Parameters
        record      Record
        profiles_m  reading_id -> (depths in m, resistances)
        used        (n,) truth: which rows of compaction_readings to look at
    Returns  list of one sentence, or of none
    """
    table = record.table(LAYER)
    deepest_m = convert(table["deepest"], record.units.depth, "m")
    last_m = np.array([_last(profiles_m.get(reading)) for reading in table["reading_id"]], float)
    with np.errstate(invalid="ignore"):
        apart = used & (np.maximum(deepest_m, last_m) > APART * np.minimum(deepest_m, last_m))
    if not apart.any():
        return []
    return [f"{LAYER}, {rows_named(table['fid'][apart])}: deepest and the last depth of the "
            f"profile differ by more than {APART:g} times. Check both; they are in "
            f"{record.units.depth}. The profile is used as it is."]


def _last(profile):
    depths_m = [] if profile is None else [depth for depth in profile[0] if np.isfinite(depth)]
    return max(depths_m, default=np.nan)
