"""How deep seeds should lie, by crop."""
from dataclasses import dataclass

from ..decide.data_table import read_data_table
from ..units import convert
from .growth_stage import TABLES


@dataclass(frozen=True)
class SeedAdvice:
    """Depths advised for a crop, all in one unit; a limit that the source does not name is None.

    low, high   the depths advised
    too_shallow, too_deep   from which on trouble is to be expected
    source      where they come from
    """
    low: float
    high: float
    too_shallow: float
    too_deep: float
    source: str


def advised_depths(crop, unit):
    """Return the SeedAdvice of a crop in a unit of length; None where the table has none.

    Source   the head of tables/seed_depth.csv
    """
    table = read_data_table("seed_depth", TABLES)
    for of_crop, *depths_in in table.rows:
        if of_crop == crop:
            depths = [float(convert(float(text), "in", unit)) if text else None
                      for text in depths_in]
            status = table.head["status_in_words"]
            return SeedAdvice(*depths,
                              f"{table.head['source']}. {status[:1].upper()}{status[1:]}")
    return None
