"""Readings without a place, and readings outside the field."""
import numpy as np

from .flag import Flag
from .reading_set import place_of


def check_places(layer, fids, positions_m, outside_m):
    """Return a flag for each row without a place and each that lies outside the field.

    Parameters
        layer        what messages call the layer
        fids         (n,) row numbers
        positions_m  (n, 2) metres, NaN where a row has no place
        outside_m    (n,) metres from the field's boundary, 0 inside
    """
    flags = []
    for fid, position, away_m in zip(fids, positions_m, outside_m):
        if not np.isfinite(position).all():
            flags.append(Flag(
                "no_place", layer, int(fid), "It has no point on the map.",
                "Without a place it counts for no map.",
                "Put a point where it was taken, or place it by row and paces."))
        elif away_m > 0:
            flags.append(Flag(
                "outside_field", layer, int(fid), f"It lies {away_m:,.0f} m outside the field.",
                "Readings outside the boundary are left out. Far off: a mistaken CRS, or longitude "
                "and latitude in the other's place. Near: an error of the receiver, or the "
                "boundary.", "Move the point to where it was taken, or mend the boundary.",
                place_of(position)))
    return flags
