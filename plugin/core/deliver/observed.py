"""Accounts of what was observed: readings used and left out, as plain numbers and words."""
import numpy as np

from ..decide.compaction_rating import rate_compaction
from ..observe.yield_points import KEPT, REASONS

LEAST_TO_RATE = 10  # insertions, University of Kentucky ID-153 (second-hand): 10 to 20 a field


def stand_account(stand, observations, warnings, left_out):
    """Return the account of stand counts: a StandAtStop and its Observations."""
    return {"stops": len(observations), "plants": float(stand.plants.sum()),
            "dispersion": stand.dispersion, "error_source": stand.error_source,
            "unit": observations.unit, "left_out": left_out, "warnings": list(warnings)}


def pan_account(pans, stops, over_table_limit, *, limit, reach_m, pressure_unit, warnings,
                left_out):
    """Return the account of insertions: the Pan of each, the pan at each stop, and the rating.

    Parameters
        over_table_limit   of each insertion by gauge, whether it passes the rating table's limit
        reach_m            how deep the tool goes; stops looked at less deep are not known
    """
    stones = sum(pan.kind == "stone" for pan in pans)
    told = [pan.found for pan in pans if pan.kind != "stone"]
    met = [stop for stop in stops if stop.found]
    rated = len(over_table_limit) >= LEAST_TO_RATE
    rating = rate_compaction(over_table_limit, excluded=stones) if rated else None
    return {"insertions": len(pans), "stops": len(stops), "with_pan": sum(told),
            "none": len(told) - sum(told), "refused": stones,
            "felt": sum(pan.kind == "felt" for pan in pans),
            "stops_with_pan": len(met),
            "stops_without": sum(stop.pan_within(reach_m) == 0 for stop in stops),
            "limit": float(limit), "pressure_unit": pressure_unit,
            "rating": None if rating is None else {
                "share": rating.share, "low": rating.low, "high": rating.high,
                "rating": rating.rating, "text": rating.text, "from_memory": True},
            "left_out": left_out, "warnings": list(warnings)}


def looked_deep_enough(account):
    """Tell whether at least half of the stops without a pan were looked at as deep as the tool."""
    return 2 * account["stops_without"] >= account["stops"]


def nothing_met(account):
    """Return the sentence for a pan account in which no stop met a pan."""
    said = (f"none of {account['stops']} stops met a pan at {account['limit']:g} "
            f"{account['pressure_unit']}")
    if looked_deep_enough(account):
        return (f"{said}, {account['stops_without']} of them looked at as deep as the tool goes; "
                "there is nothing to loosen.")
    return (f"{said}, but only {account['stops_without']} were looked at as deep as the tool goes. "
            "Whether there is one is not known; probe deeper.")


def yield_account(season, unit, yields, reasons):
    """Return the account of a season's cleaning: records by reason, and what it changed."""
    kept = np.asarray(yields)[np.asarray(reasons) == REASONS.index(KEPT)]
    known = np.asarray(yields)[np.isfinite(yields)]
    return {"season": int(season), "unit": unit, "records": len(yields), "kept": len(kept),
            "left_out": {reason: int(np.count_nonzero(reasons == number))
                         for number, reason in enumerate(REASONS) if reason != KEPT},
            "mean_before": float(known.mean()), "deviation_before": float(known.std()),
            "mean": float(kept.mean()) if len(kept) else None,
            "deviation": float(kept.std()) if len(kept) else None}
