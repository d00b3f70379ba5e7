"""Cones of a penetrometer: mixed ones, unknown ones, and a dial read on the other's scale."""
from itertools import combinations
from math import log

import numpy as np

from .flag import Flag
from .reading_set import figure, place_of

# Base diameters of the two cones of ASABE S313.3, mm: USDA Forest Service, Technology and
# Development 0524-2837 (2005), which quotes the standard.
LARGE_MM, SMALL_MM = 20.27, 12.83
AREA_RATIO = (LARGE_MM / SMALL_MM) ** 2  # 2.50: a dial read on the other cone's scale is off by it
FEWEST = 5  # insertions of a set that is judged: this program's own choice
NEAR = 2.0  # standard errors within which a ratio counts as that of the cones, and at least ...
SLACK = log(1.15)  # ... this much, as sets differ by soil and day: own choice
# Middle peak of a set beyond which the other scale is asked about, kPa: common practice (soils are
# called limiting from 2,000 kPa, and hand gauges end at 7,000).
USUAL_KPA = (1_000.0, 4_500.0)


def check_cone_scales(sets):
    """Return flags of sets of insertions that are off by the ratio of the two cone areas.

    Dials carry a scale for each cone. Read on the wrong one, a whole set is AREA_RATIO too high
    or too low. Two signs are looked for: a set whose middle peak is that much above or below that
    of another set of the field (the ratio of medians within NEAR standard errors, and clear of
    1 by as many), and a set of which the middle peak is unusual and would not be on the other
    scale. Another soil moisture or place can look the same; so it is asked, not said.

    Parameters
        sets  list of (name, layer, peaks in kPa (n,)), such as one a day and cone
    Source    the ratio: see LARGE_MM; standard error of a median by its absolute deviations:
              Rousseeuw and Croux (1993), JASA 88:1273-1283; the rule is this program's own
    """
    judged = [(name, layer, np.log(peaks[peaks > 0])) for name, layer, peaks in sets]
    judged = [one for one in judged if len(one[2]) >= FEWEST]
    flags = []
    for (name, layer, low), (other, _, high) in combinations(
            sorted(judged, key=lambda one: np.median(one[2])), 2):
        ratio = float(np.median(high) - np.median(low))
        error = float(np.hypot(_error(low), _error(high)))
        if abs(ratio - log(AREA_RATIO)) <= max(NEAR * error, SLACK) and ratio > NEAR * error:
            flags.append(Flag(
                "cone_scale", layer, None,
                f"Insertions {other} peak {np.exp(ratio):.1f} times as high as those {name}.",
                f"The scales of the two standard cones differ by {AREA_RATIO:.1f}: one set may "
                "have been read on the scale of the other cone. Drier soil can do the same.",
                "Ask which cone was on the rod and which scale was read; probe one place again."))
    if flags:
        return flags
    return [flag for name, layer, peaks in judged for flag in _unusual(name, layer, peaks)]


def _error(logs):
    spread = 1.4826 * np.median(np.abs(logs - np.median(logs)))
    return 1.2533 * spread / np.sqrt(len(logs))  # the median of normal values


def _unusual(name, layer, logs):
    middle = float(np.exp(np.median(logs)))
    least, most = USUAL_KPA
    for factor, words in ((1 / AREA_RATIO, "high"), (AREA_RATIO, "low")):
        off = middle > most if factor < 1 else middle < least
        if off and least <= middle * factor <= most:
            yield Flag(
                "cone_scale", layer, None,
                f"Insertions {name} peak at {figure(middle)} kPa in the middle.",
                f"That is {words} for a field. On the scale of the other cone it would be "
                f"{figure(middle * factor)} kPa, a usual figure.",
                "Ask which cone was on the rod and which scale was read; probe one place again.")


def check_mixed_cones(layer, fids, positions_m, cones):
    """Return flags of insertions by gauge with another cone than most, or with none named.

    Parameters
        layer        what messages call the layer
        fids         (n,) row numbers of the insertions by gauge
        positions_m  (n, 2) metres
        cones        (n,) "small", "large", or anything else for not known
    """
    counts = {cone: sum(one == cone for one in cones) for cone in ("large", "small")}
    usual = max(counts, key=counts.get)
    flags = []
    for fid, position, cone in zip(fids, positions_m, cones):
        if cone not in counts:
            what, why = "Its cone is not named.", "Pressures of different cones do not compare."
            remedy = "Enter the cone that was on the rod."
        elif cone != usual:
            what = (f"It was taken with the {cone} cone, {counts[usual]} of {len(cones)} with the "
                    f"{usual} one.")
            why = "The two sizes do not compare, and there is no sure way to convert them."
            remedy = "Correct the cone if it is wrong; else probe again with the usual one."
        else:
            continue
        flags.append(Flag("mixed_cones", layer, int(fid), what, why, remedy, place_of(position)))
    return flags
