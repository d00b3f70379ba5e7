"""The lime plan: how much of a lime to spread in each part of the field."""
import numpy as np

from ..problems import InputProblem
from ..units import convert
from .cautions import LIME
from .checks import require_number
from .lime_methods import BUFFER_TITLES, CLAMP, REFUSE, lime_needed
from .plan_zones import require_surface, zone_means
from .rate_zones import SoilTest, rate_plan

TEST = SoilTest("buffer pH", "", np.arange(400, 801) / 100, 0.1)


def lime_plan(ph, buffer_ph, draws, drawn_cells, method, spread, *, target_ph, depth_m,
              depth_unit, effective_percent, area_unit, shape, outside=REFUSE, tick=None):
    """Return the lime to spread in each zone.

    The need of each cell comes from its pH and buffer pH; the draws are of the buffer pH, which
    sets the rate, with the pH as estimated, which says whether any is needed and, by the method of
    the acidity, what share of it.

    Parameters
        ph, buffer_ph      Surfaces without unit, on one grid
        draws              (d, m) draws of the buffer pH at m cells, jointly
        drawn_cells        (m,) their flat cell numbers, inside the field
        method             LimeMethod, of the buffer that the laboratory used
        spread             RateSettings, its rates of the lime as it is bought
        target_ph, depth_m, outside   as for `lime_needed`
        depth_unit         in which the depth is told
        effective_percent  of the lime as it is bought
        area_unit, shape, tick   as for `rate_plan`
    Returns  Plan
    Raises   InputProblem: surfaces in another unit, on different grids or with gaps, no quality,
             or as `lime_needed`
    """
    require_surface(ph, "")
    require_surface(buffer_ph, "")
    if ph.grid != buffer_ph.grid:
        raise InputProblem(f"{ph.name} and {buffer_ph.name} are not on the same grid. Make both "
                           "with the same boundary and the same cell.")
    require_number("lime_quality", effective_percent, "% effective", above=0, at_most=200)
    field = ph.inside > 0
    needed, beyond = np.zeros(ph.grid.shape), np.zeros(ph.grid.shape, bool)

    def need(soil, buffer, outside):
        found = lime_needed(method, soil, buffer, target_ph=target_ph, depth_m=depth_m,
                            unit=spread.rate_unit, outside=outside)
        return found.rates / (effective_percent / 100), found.outside

    def need_of_zones(zone_map, buffer):
        soil = zone_means(zone_map.labels, zone_map.inside, np.where(field, ph.estimate, 0.0),
                          len(zone_map.zones))
        return need(np.broadcast_to(soil, buffer.shape), np.clip(buffer, 0, 14), CLAMP)[0]

    needed[field], beyond[field] = need(ph.estimate[field], buffer_ph.estimate[field], outside)
    return rate_plan(
        "Lime plan", buffer_ph, needed, draws, drawn_cells, spread, test=TEST,
        need_of_zones=need_of_zones, area_unit=area_unit, shape=shape,
        figures={"mean pH": (ph.estimate, ""), "mean buffer pH": (buffer_ph.estimate, "")},
        settings={"lime_method": (method.title, ""), "target_ph": (target_ph, ""),
                  "lime_depth": (float(convert(depth_m, "m", depth_unit)), depth_unit),
                  "lime_quality": (effective_percent, "% effective")},
        sources=(f"{method.title} ({method.year}). {method.source}. Region: {method.region}. "
                 f"Figures {method.status_in_words}.",),
        cautions=_cautions(method, ph.inside, beyond), tick=tick)


def _cautions(method, inside, beyond):
    said = [f"Method used: {method.title}, for the {BUFFER_TITLES[method.buffer]} buffer alone. "
            f"{method.note}"]
    percent = 100 * inside[beyond].sum() / inside.sum()
    if percent >= 0.05:  # less would print as nothing
        said.append(f"On {percent:.1f} % of the area the buffer pH lies outside the method's "
                    "table and counts as the nearest of it: there the rate is not from the "
                    "publication.")
    return (*said, *LIME)
