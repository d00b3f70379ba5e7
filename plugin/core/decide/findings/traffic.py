"""Wheel tracks and headland: ground in tracks against beside them, stand at row ends and inside."""
import numpy as np

from ...problems import InputProblem
from .association import LEAST, TEST, mean_difference
from .case import Case, Trial
from .linked import interval_words, no_stand
from .paired import TEST as PAIRED_TEST
from .paired import enough_pairs, paired_difference

NEXT = ("Probe and count in a wheel track and beside it at the same stops, and on the headland "
        "against inside; follow the tracks to see whether thin rows run with them.")


def traffic(walk, tick=None):
    """Return the Case of wheel tracks and headland."""
    trials, unseen = [], []
    for trial, why in (_headland(walk), _tracks(walk, tick)):
        trials += [trial] if trial else []
        unseen += [why] if why else []
    return Case("traffic", "Wheel tracks and headland", tuple(trials), next_step=NEXT,
                not_looked_at=tuple(unseen))


def _headland(walk):
    if not len(walk.stand):
        return None, no_stand(walk)
    inside = ~walk.at_row_end
    ends = np.count_nonzero(walk.at_row_end)
    if min(ends, len(inside) - ends) < 2 or len(inside) < LEAST:
        return None, (f"{ends} of {len(inside)} stops of the stand "
                      f"lie {walk.headland}; at least 2 there and 2 inside, {LEAST} in all, are "
                      "needed to compare.")
    stand = walk.stand.values
    try:
        found = mean_difference(stand, walk.at_row_end, walk.stand.positions_m)
    except InputProblem as problem:
        return None, f"Headland: {problem}"
    if not stand[inside].any():
        return None, "No plant stands inside, so there is nothing to set the headland against."
    to_percent = 100 / stand[inside].mean()
    way = "lower" if found.difference < 0 else "higher"
    worth = f", worth {found.effective:.0f} independent ones" \
        if found.effective < len(stand) - 0.5 else ""
    reach = interval_words(found.low * to_percent, found.high * to_percent, "%")
    return Trial(
        test=f"difference of means, {TEST}", p=found.p, toward=found.difference < 0,
        effect=f"The {ends} stops {walk.headland} stand {abs(found.difference * to_percent):.0f} % "
               f"{way} than the others ({reach}); {len(stand)} stops{worth}."), ""


def _tracks(walk, tick):
    tracks = walk.tracks
    if not tracks.kinds.any():
        return None, "No wheel track was probed beside untracked ground."
    if not enough_pairs(tracks.stops, tracks.kinds):
        return None, ("Too few stops were probed both in a wheel track and beside it to compare "
                      "them; six or more are needed with one insertion each.")
    found = paired_difference(tracks.stops, tracks.kinds, tracks.values, tick=tick)
    unit, way = walk.pressure_unit, "harder" if found.difference > 0 else "softer"
    return Trial(
        test=PAIRED_TEST, p=found.p, toward=found.difference > 0,
        effect=f"The ground in wheel tracks is {abs(found.difference):,.0f} {unit} {way} on "
               f"average than beside them at the same {found.stops} stops "
               f"({interval_words(found.low, found.high, unit)}).",
        unsure="Harder ground in tracks does not show that the stand suffers there."), ""
