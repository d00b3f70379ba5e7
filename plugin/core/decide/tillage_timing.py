"""What the moisture of the soil and the day of the visit mean for a plan of deep tillage."""
import numpy as np

DRY, WET = "dry", "wet"


def moisture_cautions(states):
    """Return what the soil's moisture at the insertions means; nothing where all were moist.

    Parameters
        states  (n,) of each insertion used: dry, moist, at_capacity or wet, None where not entered
    Source   dry and wet soil: Duiker, S.W., Penn State Extension (second-hand); when to probe:
             University of Kentucky ID-153 (second-hand)
    """
    states = np.asarray(states, object)
    total, said = len(states), []
    dry, wet, unknown = (np.count_nonzero(states == state) for state in (DRY, WET, None))
    if dry:
        said.append(f"{_share(dry, total)} were taken in dry soil, which reads harder than it is "
                    "for roots. Probe again when the soil is moist all through before you till on "
                    "their word.")
    if wet:
        said.append(f"{_share(wet, total)} were taken in wet soil, which reads softer than it is: "
                    "a layer may be missed. Do not till soil that wet: it smears and is packed "
                    "further.")
    if unknown:
        said.append(f"Of {_share(unknown, total)} the soil's moisture is not entered "
                    "(compaction_readings, moisture), so whether they read too hard or too soft "
                    "is not known.")
    return tuple(said)


def timing_cautions(visit_date, planting_date, season):
    """Return what the day of the visit means for the plan.

    Parameters
        visit_date, planting_date   datetime.date, or None
        season                      year of the harvest, or None
    Source   late summer or fall, when the profile is dry: Penn State Extension (second-hand)
    """
    when = ("Deep tillage is usually done after harvest, in late summer or fall, when the soil is "
            "dry at working depth")
    if visit_date is None:
        return (f"field, visit_date is empty, so in which state of the season was probed is not "
                f"known. {when}: enter the day, and look at the moisture again before the pass.",)
    if season is not None and visit_date.year not in (season - 1, season):
        return (f"The visit ({visit_date}) lies outside of season {season}. Check both; readings "
                "of another season do not tell today's soil.",)
    if planting_date is not None and visit_date >= planting_date:
        return (f"The field was probed on {visit_date}, {(visit_date - planting_date).days} days "
                f"after planting. {when}: this plan is for then. Traffic of the season may change "
                "the layer; look at depth and moisture again before the pass.",)
    return (f"The field was probed on {visit_date}. {when}; look at the moisture at that depth "
            "again before the pass.",)


def _share(count, total):
    return f"{count} of {total} insertions ({100 * count / total:.0f} %)"
