"""Compaction: the pan under thin stops and others, and the roots."""
import numpy as np

from .case import Case
from .linked import linked_trial
from .walk import Spots

TITLE = "Compaction"
ROOTS_FIRST = ("A pan hampers roots and yields before it thins a stand: yields against the pan "
               "tell more, and are not tested here.")
CLEAR = 2  # root rating from which roots are clearly bent; this program's own scale
NEXT = ("Dig across the rows in a thin and a good place and look how roots meet the layer; probe "
        "again when the soil is moist to working depth.")


def compaction(walk):
    """Return the Case of compaction.

    The strain is how shallow the pan lies; a stop without a pan strains least. Roots, which a pan
    hampers first, are told beside the test.
    """
    trial, why = None, walk.lack("compaction_readings", "No pan was probed for.")
    if len(walk.pan_top):
        trial, why = linked_trial(walk, Spots(walk.pan_top.positions_m, -walk.pan_top.values),
                                  "the pan lies shallower, or there is one at all")
    unseen = (why,) if why else (ROOTS_FIRST,)
    clear = np.count_nonzero(np.asarray(walk.root_ratings, float) >= CLEAR)
    count = len(walk.root_ratings)
    if not count:
        unseen += ("No roots were dug, washed and rated.",)
    roots = (f"Roots were clearly or severely bent, clubbed, pruned or rotted in {clear} of "
             f"{count} notes with a rating.",)
    return Case("compaction", TITLE, (trial,) if trial else (), next_step=NEXT,
                seen_for=roots if count and clear else (),
                seen_against=roots if count and not clear else (), not_looked_at=unseen)
