"""Whether the stand is lower where something is worse: one trial by rank correlation."""
import numpy as np

from ...problems import InputProblem
from .association import LEAST, RANK_TEST, rank_association
from .case import LEVEL, Trial
from .walk import at_stops

NOTABLE = 0.3  # a rank correlation worth speaking of: this program's own choice


def linked_trial(walk, strain, where):
    """Return (Trial, "") of the stand against a strain, or (None, why there is none).

    Parameters
        walk    Walk
        strain  Spots, larger where it is worse for the crop
        where   the places where it is worse, in words that follow "where", such as "nitrate is
                lower"
    """
    if not len(walk.stand):
        return None, no_stand(walk)
    numbers, values = at_stops(walk.stand, strain)
    if len(numbers) < LEAST:
        return None, (f"It is known near {len(numbers)} of {len(walk.stand)} stops of the stand; "
                      f"at least {LEAST} are needed to compare.")
    try:
        found = rank_association(walk.stand.values[numbers], values,
                                 walk.stand.positions_m[numbers])
    except InputProblem as problem:
        return None, str(problem)
    way = "lower" if found.correlation < 0 else "higher"
    worth = f", worth {found.effective:.0f} independent ones" \
        if found.effective < len(numbers) - 0.5 else ""
    return Trial(
        test=RANK_TEST, p=found.p, toward=found.correlation < 0,
        effect=f"The stand is {way} where {where}: rank correlation "
               f"{signed(-found.correlation)} (90 % interval {signed(-found.high)} to "
               f"{signed(-found.low)}) at {len(numbers)} stops{worth}.",
        unsure=_open(found)), ""


def no_stand(walk):
    """Return the sentence on a walk without a stand to compare with."""
    return f"There is no stand to compare with. {walk.lack('stand_counts', 'No stop was counted.')}"


def signed(number, decimals=2):
    """Return a number with its sign, minus as people print it."""
    return f"{number:+.{decimals}f}".replace("-", "\N{MINUS SIGN}")


def interval_words(low, high, unit, decimals=0):
    """Return a 90 % interval in words; one without bounds is not known."""
    if not np.isfinite(high - low):
        return "90 % interval not known"
    return f"90 % interval {signed(low, decimals)} to {signed(high, decimals)} {unit}"


def _open(found):
    """What an association that is not shown leaves open, a sentence."""
    if found.p <= LEVEL:
        return ""
    if found.low > -NOTABLE:
        return f"A link of {NOTABLE:.2f} or stronger is ruled out."
    return f"A link as strong as {-found.low:.2f} is not ruled out."
