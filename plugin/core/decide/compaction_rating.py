"""Compaction rating of a field by the share of its insertions that meet too hard a layer."""
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from ..problems import InputProblem
from ..units import convert
from .data_table import read_data_table

TABLE = "compaction_rating_2002"
CONFIDENCE = 0.95


@dataclass(frozen=True)
class CompactionRating:
    """How compacted the field is by a table from memory, and how sure the share is.

    share, low, high   of the insertions over the limit and its 95 % interval, 0 to 1
    rating             the table's word
    subsoiling         whether the table advises it
    borderline         the interval holds shares of both advices
    over, used, excluded   insertions over the limit, those counted, those left out as stones
    text               all of it in one paragraph for the user, with its source and standing
    """
    share: float
    low: float
    high: float
    rating: str
    subsoiling: bool
    borderline: bool
    over: int
    used: int
    excluded: int
    source: str
    status: str
    text: str


def rate_compaction(over_limit, *, excluded=0):
    """Return the rating of the field from the insertions over the limit.

    A share on the edge of two classes gets the higher one. The limit is the caller's: the text
    names the limit and reach that the table is meant for, whatever was counted.

    Parameters
        over_limit  (n,) of each insertion, whether it passed the limit; see `passes_limit`
        excluded    insertions stopped by a stone, which are not among them
    Returns  CompactionRating
    Raises   InputProblem: there is no insertion
    Source   the head of the table file, whose rows are from memory
    """
    over_limit = np.asarray(over_limit, bool)
    if not over_limit.size:
        raise InputProblem(f"No insertion can be rated; {excluded} were stopped by a stone.")
    over, used = int(np.count_nonzero(over_limit)), over_limit.size
    table = read_data_table(TABLE)
    edges = np.array([float(row[0]) for row in table.rows]) / 100
    advised = [row[2] == "yes" for row in table.rows]
    low, high = wilson_interval(over, used)
    row, lowest, highest = (_row_of(edges, share) for share in (over / used, low, high))
    borderline = advised[lowest] != advised[highest]
    rating, source = table.rows[row][1], table.head["source"]
    text = (f"{over} of {used} insertions ({100 * over / used:.0f} %, 95 % interval "
            f"{100 * low:.0f} to {100 * high:.0f} %) pass the limit: {rating}, by a table meant "
            f"for {_limit_in_words(table.head)}. "
            + _advice_in_words(advised[row], borderline)
            + (f" Left out, as stopped by a stone: {excluded}." if excluded else "")
            + f" Table {table.head['status_in_words']}: {source}.")
    return CompactionRating(
        share=over / used, low=low, high=high, rating=rating, subsoiling=advised[row],
        borderline=borderline, over=over, used=used, excluded=int(excluded), source=source,
        status=table.head["status"], text=text)


def passes_limit(depths, resistances, *, depth_unit, pressure_unit, limit=None, reach=None):
    """Return whether a profile has a reading above the limit within reach.

    A reading of just the limit does not pass it. Readings without a value are not looked at.

    Parameters
        depths, resistances  (n,) of one insertion
        limit, reach         in these units; the table's own when None
    """
    head = read_data_table(TABLE).head
    if limit is None:
        limit = convert(float(head["limit_psi"]), "psi", pressure_unit)
    if reach is None:
        reach = convert(float(head["reach_in"]), "in", depth_unit)
    resistances = np.asarray(resistances, float)
    return bool((resistances[np.asarray(depths, float) <= reach] > limit).any())


def wilson_interval(count, total, *, confidence=CONFIDENCE):
    """Return the lower and upper bound of a share, by Wilson's score interval.

    Raises   InputProblem: the total is not positive, or the count is not from 0 to the total
    Source   Wilson, E.B. (1927), Journal of the American Statistical Association 22:209-212
    """
    if total <= 0 or not 0 <= count <= total:
        raise InputProblem(f"{count} of {total} is no share.")
    z2 = ndtri(0.5 + confidence / 2)**2
    share = count / total
    centre = (share + z2 / (2 * total)) / (1 + z2 / total)
    half = np.sqrt(z2 * (share * (1 - share) / total + z2 / (4 * total**2))) / (1 + z2 / total)
    return max(0.0, float(centre - half)), min(1.0, float(centre + half))


def _limit_in_words(head):
    psi, inches = float(head["limit_psi"]), float(head["reach_in"])
    return (f"{psi:g} psi ({float(convert(psi, 'psi', 'kPa')):,.0f} kPa) in the top "
            f"{inches:g} in ({float(convert(inches, 'in', 'cm')):.0f} cm)")


def _row_of(edges, share):
    return int(np.searchsorted(edges, share, side="right")) - 1


def _advice_in_words(subsoiling, borderline):
    if borderline:
        return "Borderline: take more readings or dig before deciding on subsoiling."
    if subsoiling:
        return "At that share the table advises subsoiling."
    return "At that share the table does not advise subsoiling."
