"""Causes that show to the eye: crusting or wet places, insects, disease, by scouting notes."""
from dataclasses import replace

import numpy as np

from ...problems import InputProblem
from .association import LEAST
from .case import Case, Trial
from .linked import linked_trial, no_stand, signed
from .noted import TEST, noted_shares, thin_stops
from .walk import nearby_stop

NO_HEIGHTS = "Heights of the ground, low places and drains are not in the record."
NEXT_WET = ("Break the crust and dig: shoots leafed out below ground, seeds drowned or rotted. "
            "Count again a few days after rain. Compare with a map of heights and drains.")
NEXT_INSECT = ("Dig along the row at good and thin places and look for larvae, hollow seeds and "
               "cut stems; note places where there are none, too.")
NEXT_DISEASE = ("Wash roots and stems of sick and sound plants and send both to a plant clinic; "
                "note places where there are none, too.")


def crust_or_wet(walk):
    """Return the Case of crusting or wet places: notes on water, and how evenly plants came up.

    Plants that fight a crust or wet ground come up unevenly; so do seeds at unequal depth.
    """
    uneven, why = None, "Evenness was not noted at the stops."
    if len(walk.unevenness):
        uneven, why = linked_trial(walk, walk.unevenness, "plants came up unevenly, as they do "
                                   "under a crust or in wet ground, and from unequal depths")
    noted = _noted(walk, "water", "Crust or water", "crust_or_wet", "Crusting or wet place",
                   NEXT_WET)
    return replace(noted, trials=((uneven,) if uneven else ()) + noted.trials,
                   not_looked_at=(*noted.not_looked_at, *((why,) if why else ()), NO_HEIGHTS))


def insects(walk):
    """Return the Case of insects."""
    return _noted(walk, "insect", "Insects", "insects", "Insects", NEXT_INSECT)


def disease(walk):
    """Return the Case of disease."""
    return _noted(walk, "disease", "Disease", "disease", "Disease", NEXT_DISEASE)


def _noted(walk, subject, what, cause, title, next_step):
    of_it = np.array([one == subject for one in walk.notes.subjects], bool)
    if not of_it.any():
        return Case(cause, title, next_step=next_step, not_looked_at=(
            "There is no scouting note on it, neither that it was there nor that it was not.",))
    present = of_it & walk.notes.present
    said = (f"{what} noted in {np.count_nonzero(present)} of {np.count_nonzero(of_it)} notes on "
            f"the subject.",)
    trial, why = _trial(walk, present, what)
    return Case(cause, title, (trial,) if trial else (), next_step=next_step,
                seen_for=said if present.any() else (),
                seen_against=() if present.any() else said,
                not_looked_at=(*((why,) if why else ()), *_unsearched(walk)))


def _unsearched(walk):
    near = nearby_stop(walk.stand, walk.notes.positions_m)
    without = len(walk.stand) - len(np.unique(near[near >= 0]))
    if not without:
        return ()
    return (f"{without} of {len(walk.stand)} stops have no note at all: whether they were searched "
            "is not known, and they are not counted.",)


def _trial(walk, present, what):
    """The Trial of stops with a note of it, among all stops with any note; or why there is none."""
    if not len(walk.stand):
        return None, no_stand(walk)
    near = nearby_stop(walk.stand, walk.notes.positions_m)
    looked_at = np.unique(near[near >= 0])
    noted = np.isin(looked_at, near[present & (near >= 0)])
    thin = thin_stops(walk.stand.values)[looked_at]
    try:
        found = noted_shares(thin, noted, walk.stand.values[looked_at],
                             walk.stand.positions_m[looked_at])
    except InputProblem as problem:
        return None, (f"{problem} At least {LEAST} are needed, thin and good, with and without a "
                      "note of it.")
    return Trial(
        test=TEST, p=found.p, toward=found.difference > 0,
        effect=f"{what} noted at {found.thin_noted} of {found.thin} thin stops and at "
               f"{found.others_noted} of {found.others} others that have a note: "
               f"{signed(100 * found.difference, 0)} percentage points (90 % interval, stops taken "
               f"as independent: {signed(100 * found.low, 0)} to {signed(100 * found.high, 0)}).",
        unsure="Who looks longer where the stand is thin finds more there."), ""
