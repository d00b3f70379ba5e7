"""Insertions into dry soil."""
from .flag import Flag
from .reading_set import place_of


def check_dry_soil(layer, fids, positions_m, moisture):
    """Return a flag for each insertion made in dry soil, and one where no moisture was noted.

    Parameters
        layer        what messages call the layer
        fids         (n,) row numbers
        positions_m  (n, 2) metres
        moisture     (n,) the words of the record, None where empty
    Source   probe at field capacity: Cornell and Kentucky extension sheets; dry soil reads harder
             than it is for roots: common practice
    """
    flags = [Flag("dry_soil", layer, int(fid), "It was probed in dry soil.",
                  "Dry soil reads harder than it is for roots, with or without a pan.",
                  "Probe again when the soil is at field capacity, a day or two after soaking.",
                  place_of(position))
             for fid, position, state in zip(fids, positions_m, moisture) if state == "dry"]
    unknown = sum(state in (None, "") for state in moisture)
    if unknown:
        flags.append(Flag("dry_soil", layer, None,
                          f"{unknown} of {len(moisture)} insertions say nothing of the moisture.",
                          "Whether resistance means a pan or dryness cannot be told without it.",
                          "Enter the state of the soil on the day."))
    return flags
