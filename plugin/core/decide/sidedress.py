"""The sidedress plan: nitrogen for each part of a corn field, by the nitrate in its top foot."""
import numpy as np

from ..units import convert
from .cautions import NITROGEN
from .nitrate_rules import nitrogen_needed
from .plan_zones import require_surface
from .rate_sensitivity import in_words
from .rate_zones import SoilTest, rate_plan
from .soil_mass import USUAL_BULK_DENSITY, mass_per_area

NITRATE_UNIT = "ppm"
DEPTH_M = float(convert(12, "in", "m"))  # that every rule is made for
TEST = SoilTest("nitrate", NITRATE_UNIT, np.arange(0, 601) / 10, 1.0)


def sidedress_plan(nitrate, draws, drawn_cells, rule, site, spread, *, area_unit, shape,
                   tick=None):
    """Return the nitrogen to sidedress in each zone.

    A nitrate content below 0, as an estimate or a draw may have it, counts as 0. The nitrogen
    that is there as nitrate is told beside, at a usual bulk density; no rule asks for it.

    Parameters
        nitrate       Surface of nitrate-N in the top 12 in (30 cm), ppm
        draws         (d, m) draws of it at m cells, jointly
        drawn_cells   (m,) their flat cell numbers, inside the field
        rule          NitrateRule
        site          NitrogenSite, its rate unit that of the spread
        spread        RateSettings
        area_unit, shape, tick   as for `rate_plan`
    Returns  Plan, its rate in the spread's unit of nitrogen (not of product)
    Raises   InputProblem: the surface is in another unit or has gaps, or as `nitrogen_needed`
    """
    require_surface(nitrate, NITRATE_UNIT)
    content = np.where(nitrate.inside > 0, np.maximum(nitrate.estimate, 0.0), 0.0)
    there = mass_per_area(content, depth_m=DEPTH_M, unit=spread.rate_unit)
    return rate_plan(
        "Sidedress plan", nitrate, nitrogen_needed(rule, site, content), draws, drawn_cells,
        spread, test=TEST, area_unit=area_unit, shape=shape,
        need_of_zones=lambda _, contents: nitrogen_needed(rule, site, np.maximum(contents, 0.0)),
        figures={"mean nitrate": (nitrate.estimate, NITRATE_UNIT),
                 "standard error of a cell": (nitrate.standard_error, NITRATE_UNIT),
                 "nitrate nitrogen in the soil": (there, spread.rate_unit)},
        settings={"nitrate_rule": (rule.title, ""), **_of_site(site),
                  "bulk_density": (USUAL_BULK_DENSITY, "g/cm3")},
        sources=(f"{rule.title} ({rule.year}). {rule.source}. Region: {rule.region}. "
                 f"Figures {rule.status_in_words}.",),
        cautions=(f"Rule used: {rule.title}. {rule.note}", *NITROGEN), tick=tick)


def _of_site(site):
    told = {"expected_yield": site.yield_unit, "previous_crop": "",
            "manure_since_harvest": "", "manure_earlier": "", "wet_spring": "",
            "mixed_cover_crop": ""}
    return {name: (_told(getattr(site, name)), unit) for name, unit in told.items()
            if getattr(site, name) is not None}


def _told(value):
    return in_words(value) if isinstance(value, (bool, str)) else value
