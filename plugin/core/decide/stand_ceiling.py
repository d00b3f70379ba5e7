"""The stand beyond which a count is taken for a mistake, where seeds planted are not known."""
from .data_table import read_data_table

TABLE = "stand_ceiling"


def stand_ceiling_per_m2(crop):
    """Return the plants per m2 beyond which a count of the crop is asked about, or None.

    None where the table lacks the crop, or `crop` is None.
    """
    for name, plants_per_ha in read_data_table(TABLE).rows:
        if name == crop:
            return float(plants_per_ha) / 10_000
    return None
