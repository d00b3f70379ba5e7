"""How much the stops of an earlier call differed: what the number of stops to come rests on."""
import numpy as np

from ..core.observations import EXACT
from ..core.problems import InputProblem
from ..core.walk.stops_needed import spread_percent
from .pan_readings import pan_readings
from .read import open_record
from .schema import layer_spec
from .stand_readings import stand_readings
from .stops import stop_numbers

STAND, PAN_TOP = "stand", "pan_top"
PROBED = ("organic_matter", "phosphorus_ppm", "potassium_ppm", "nitrate_n_ppm")
# What a spread can be taken of, and the layers it is read from. Not pH: a percentage of a
# logarithm means nothing.
QUANTITIES = {STAND: ("stand_counts", "row_counts"),
              PAN_TOP: ("compaction_readings", "compaction_profile"),
              **dict.fromkeys(PROBED, ("probe_points",))}


def title_of(quantity):
    """Return what users call a quantity."""
    own = {STAND: "Stand", PAN_TOP: "Top of the pan"}
    return own.get(quantity) or layer_spec("probe_points").column(quantity).title


def earlier_spread_percent(path, quantity):
    """Return the spread (CV) of a quantity between the stops of a record, percent of the mean.

    Tops of a pan known only as limits are left out.

    Raises   InputProblem: the record cannot be read, or has too few such readings
    """
    record = open_record(path, only=QUANTITIES[quantity])
    if quantity == STAND:
        return spread_percent(stand_readings(record).observations.values)
    if quantity == PAN_TOP:
        return spread_percent([stop.top_m for stop in pan_readings(record).stops
                               if stop.found and stop.top_censoring == EXACT])
    return spread_percent(_means(record.table("probe_points"), quantity))


def _means(table, column):
    """The mean of a column at each stop."""
    known = np.isfinite(table[column])
    if not known.any():
        raise InputProblem(f"probe_points, {column}: the earlier record has none. Choose another "
                           "record, or enter CV.")
    _, group = np.unique(stop_numbers(table, known), return_inverse=True)
    return np.bincount(group, table[column][known]) / np.bincount(group)
