"""Nitrogen and pH: soil tests at thin stops and others, and against published figures."""
from pathlib import Path

import numpy as np

from ..data_table import read_data_table
from .case import Case
from .linked import linked_trial
from .walk import Spots

LOW_NITRATE = "sidedress_iowa_1997"  # its lower critical value, that of a wet spring
TABLES = Path(__file__).with_name("tables")
NEXT_NITROGEN = ("Sample the top 12 in (30 cm) in good and thin places when the corn is 6 to 12 in "
                 "tall; look at leaf colour, and compare with a strip that got enough nitrogen.")
NEXT_PH = ("Sample good and thin places apart, the top 2 to 3 in by themselves where little is "
           "tilled, and have the laboratory run pH and buffer pH.")


def nitrogen(walk):
    """Return the Case of nitrogen: a stand lower where nitrate is, and samples that are low."""
    if not len(walk.nitrate):
        return Case("nitrogen", "Nitrogen", next_step=NEXT_NITROGEN, not_looked_at=(
            walk.lack("nitrate_n_ppm", "No nitrate was sampled."),))
    values = walk.nitrate.values
    trial, why = linked_trial(walk, Spots(walk.nitrate.positions_m, -values), "nitrate is lower")
    table = read_data_table(LOW_NITRATE)
    critical = next(float(row[1]) for row in table.rows if row[0] == "critical_wet_spring")
    low = np.count_nonzero(values < critical)
    said = (f"{low} of {len(values)} samples hold less than {critical:g} ppm nitrate-N "
            f"({_source(table)}).",)
    levels = walk.crop == "corn"
    return Case("nitrogen", "Nitrogen", (trial,) if trial else (), next_step=NEXT_NITROGEN,
                seen_for=said if levels and low else (),
                seen_against=said if levels and not low else (),
                not_looked_at=(*((why,) if why else ()), "A lack of nitrogen pales and stunts "
                               "plants rather than thinning them: leaf colour and yields tell "
                               "more than the stand, and are not tested here."))


def soil_ph(walk):
    """Return the Case of pH: the strain is how far the pH lies outside the range to keep."""
    if not len(walk.ph):
        return Case("ph", "Soil pH", next_step=NEXT_PH, not_looked_at=(
            walk.lack("ph", "No pH was sampled."),))
    table = read_data_table("ph_range", TABLES)
    low, high = map(float, table.rows[0])
    values = walk.ph.values
    strain = np.maximum(np.maximum(low - values, values - high), 0.0)
    off = np.count_nonzero(strain)
    said = (f"{off} of {len(values)} samples lie outside pH {low:.1f} to {high:.1f} "
            f"({_source(table)}); lowest {values.min():.1f}, highest {values.max():.1f}.",)
    if not off:
        return Case("ph", "Soil pH", seen_against=said, next_step=NEXT_PH)
    trial, why = linked_trial(walk, Spots(walk.ph.positions_m, strain),
                              f"the pH lies further outside {low:.1f} to {high:.1f}")
    return Case("ph", "Soil pH", (trial,) if trial else (), seen_for=said, next_step=NEXT_PH,
                not_looked_at=(why,) if why else ())


def _source(table):
    return f"{table.head['source']}; {table.head['status_in_words']}"
