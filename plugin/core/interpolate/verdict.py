"""What a surface says of itself: map, hint or mean, why, and how many more readings may help."""
from .further_readings import SHARES

CLEAR_SKILL = 0.05  # share of the mean's squared error a map takes away, or it is but a hint
UNTOLD = object()   # of the further readings: not worked out


def verdict_of_map(validation, unit, more):
    """Return the verdict on a map that predicts readings better than their mean does.

    Parameters
        validation  of the map
        unit        of the readings
        more        how many further readings should show a clear map, None where the most that
                    are tried would not, or UNTOLD
    """
    of_map, of_mean = _apart(validation.rmse, validation.rmse_of_mean, unit)
    if validation.skill >= CLEAR_SKILL:
        return _MAP.format(map=of_map, mean=of_mean)
    return _HINT.format(map=of_map, mean=of_mean) + _further(more)


def _apart(one, other, unit):
    """Two figures with as many digits, from two to four, as it takes to tell them apart."""
    for digits in (2, 3, 4):
        told = [f"{float(f'{figure:.{digits}g}'):,.10g} {unit}".strip() for figure in (one, other)]
        if told[0] != told[1]:
            break
    return told


def verdict_of_mean(count, least, *, equal, structured, more):
    """Return the verdict on the mean of `count` readings.

    Parameters
        count       readings
        least       with fewer no map is tried
        equal       whether all readings are the same
        structured  whether a model with structure, or a drift, suits them best
        more        as in verdict_of_map
    """
    if equal:
        return _EQUAL.format(count=count)
    if count < least:
        return _FEW.format(count=count, least=least)
    return (_NOT_BETTER if structured else _NO_STRUCTURE).format(count=count) + _further(more)


def little_told(share):
    """Return what to add to the verdict on a map that says little more than the mean over a share
    of the field; "" where that is less than half of it."""
    return "" if share < 0.5 else _LITTLE.format(percent=f"{100 * share:.0f}")


def _further(more):
    if more is UNTOLD:
        return ""
    return _NO_NUMBER.format(times=1 + SHARES[-1]) if more is None else _MORE.format(more=more)


_MAP = ("The map holds: at readings left out to check it, it is off by {map} as a rule, and "
        "the plain mean by {mean}.")
_HINT = ("The map is a hint, no more: at readings left out to check it, it is off by {map} as a "
         "rule, and the plain mean by {mean}. Ground without any pattern can give such a map.")
_NOT_BETTER = ("The {count} readings do not support a map: predicting a reading from its "
               "neighbours is no better than the mean. Shown is the mean with its error.")
_NO_STRUCTURE = ("The {count} readings do not support a map: they do not show that near ones are "
                 "more alike than far ones. Shown is the mean with its error.")
_FEW = ("{count} readings are too few for a map; from {least} on one is tried. Shown is the mean "
        "with its error.")
_EQUAL = "All {count} readings are equal. Shown is their value with its error."
_MORE = (" If the ground has the faint pattern they hint at, {more} more in the gaps should show "
         "it clearly.")
_NO_NUMBER = " Even {times:g} times as many readings would hardly show a clear pattern."
_LITTLE = " Yet over {percent} % of the field, hatched on maps, it says little more than the mean."
