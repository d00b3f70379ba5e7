"""The sidedress plan: nitrogen for each part of a corn field, by the nitrate in its top foot."""
import numpy as np

from .cautions import NITROGEN
from .nitrate_rules import nitrogen_needed
from .plan_zones import require_surface
from .rate_zones import rate_plan

NITRATE_UNIT = "ppm"


def sidedress_plan(nitrate, draws, drawn_cells, rule, site, spread, *, area_unit,
                   smallest_area_m2, smooth_radius_cells):
    """Return the nitrogen to sidedress in each zone.

    A nitrate content below 0, as an estimate or a draw may have it, counts as 0.

    Parameters
        nitrate       Surface of nitrate-N in the top 12 in (30 cm), ppm
        draws         (d, m) draws of it at m cells, jointly
        drawn_cells   (m,) their flat cell numbers, inside the field
        rule          NitrateRule
        site          NitrogenSite, its rate unit that of the spread
        spread        RateSettings
        area_unit, smallest_area_m2, smooth_radius_cells   as for `rate_plan`
    Returns  Plan, its rate in the spread's unit of nitrogen (not of product)
    Raises   InputProblem: the surface is in another unit or has gaps, or as `nitrogen_needed`
    """
    require_surface(nitrate, NITRATE_UNIT)
    field = nitrate.inside > 0
    content = np.where(field, np.maximum(nitrate.estimate, 0.0), 0.0)
    needed = nitrogen_needed(rule, site, content)
    drawn = nitrogen_needed(rule, site, np.maximum(draws, 0.0))
    return rate_plan(
        "Sidedress plan", nitrate, needed, drawn, drawn_cells, spread, area_unit=area_unit,
        smallest_area_m2=smallest_area_m2, smooth_radius_cells=smooth_radius_cells,
        figures={"mean nitrate": (nitrate.estimate, NITRATE_UNIT),
                 "standard error of a cell": (nitrate.standard_error, NITRATE_UNIT)},
        settings={"nitrate_rule": (rule.name, ""), **_of_site(site)},
        sources=(f"{rule.title} ({rule.year}). {rule.source}. Region: {rule.region}. "
                 f"Figures {rule.status_in_words}.",),
        cautions=(f"Rule used: {rule.title}. {rule.note}", *NITROGEN))


def _of_site(site):
    told = {"expected_yield": site.yield_unit, "usual_rate": site.rate_unit, "previous_crop": "",
            "manure_since_harvest": "", "manure_earlier": "", "wet_spring": "",
            "mixed_cover_crop": ""}
    return {name: (_in_words(getattr(site, name)), unit) for name, unit in told.items()
            if getattr(site, name) is not None}


def _in_words(value):
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else value
