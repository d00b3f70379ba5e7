"""Sets with too few readings for a map."""
import numpy as np

from ..decide.enough_readings import LEAST_PLACES
from ..interpolate.estimate import LEAST_FOR_MAP


def check_few_readings(readings):
    """Return one flag where a set has readings, but at fewer places than a map is drawn from."""
    used = np.isfinite(readings.values) & np.isfinite(readings.positions_m).all(axis=1)
    places = len(np.unique(readings.positions_m[used], axis=0))
    if not 0 < places < LEAST_FOR_MAP:
        return []
    plan = (f" and no area is planned from fewer than {LEAST_PLACES}"
            if places < LEAST_PLACES else "")
    return [readings.flag_of_all(
        "few_readings", what=f"{readings.title} was read at {places} "
                             f"{'place' if places == 1 else 'places'}.",
        why=f"A map is tried from {LEAST_FOR_MAP} places on{plan}; below, the field gets its mean.",
        remedy="Take readings at more places; planstops says where.")]
