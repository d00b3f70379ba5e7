"""What a record's insertions say beside the maps of the pan: rating, moisture and timing."""
from dataclasses import dataclass

from ..core.decide.compaction_rating import CompactionRating, rate_compaction
from ..core.decide.tillage_timing import moisture_cautions, timing_cautions
from ..core.deliver.observed import LEAST_TO_RATE
from ..core.problems import InputProblem
from .pan_readings import LAYER, pan_readings


@dataclass(frozen=True)
class TillageEvidence:
    """The rating, None where there is none, and sentences to go before those of the plan."""
    rating: CompactionRating
    cautions: tuple


def tillage_evidence(record):
    """Return the TillageEvidence of a record; where its insertions cannot be used, why.

    Parameters
        record  Record, opened with the rows of compaction readings and their profiles
    """
    field = record.field
    timing = timing_cautions(field["visit_date"], field["planting_date"], field["season"])
    if not record.counts[LAYER]:
        return TillageEvidence(None, ("The record holds no insertions, so the field is not rated "
                                      "and the soil's moisture is not known.", *timing))
    try:
        found = pan_readings(record, units_checked=True)  # the maps are made, the units looked at
    except InputProblem as problem:
        return TillageEvidence(None, (f"The field is not rated: {problem}", *timing))
    rated = len(found.over_table_limit) >= LEAST_TO_RATE
    rating = rate_compaction(found.over_table_limit, excluded=found.refused) if rated else None
    few = () if rated else (
        f"Only {len(found.over_table_limit)} insertions by gauge could be rated, too few to rate "
        f"the field: take {LEAST_TO_RATE} or more.",)
    return TillageEvidence(rating, (*few, *moisture_cautions(found.moisture), *timing))
