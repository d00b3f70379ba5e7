"""What is true of the invented field: stand, pan and yield as functions of position.

Nothing here is random. Positions are eastings and northings in metres (EPSG:32615); depths are
inches, populations plants per acre, resistances psi and yields bu/ac, as in the record.
"""
import numpy as np

from . import boundary

SEEDS_PLANTED = 34_000.0        # seeds/ac, all rows
SOUND_POPULATION = 31_500.0     # plants/ac where nothing is wrong
WEAK_ROW_UNIT, ROW_UNITS = 6, 16
WEAK_ROW_LOSS = 0.35            # share of its plants that the weak row unit loses

HEADLAND_WIDTH_M = 36.6         # three passes of a 40-ft planter
HEADLAND_STAND_LOSS = 0.06
LANE, LANE_HALF_WIDTH_M = [(0, 535), (640, 345)], 15.0  # an old lane, from west to east
CRUST_CENTRE, CRUST_REACH = (122.0, 285.0), (94.0, 184.0)  # low, crusted part, m across and along

PAN_LIMIT = 300.0               # psi
GREATEST_DEPTH = 18             # in, the last reading of an insertion
RAMP = 1.5                      # in, over which resistance climbs from the limit to the peak

DRY_YIELD = {2024: 208.0, 2025: 193.0}     # bu/ac where nothing is wrong
LOW_PART_LOSS = {2024: 0.24, 2025: 0.10}   # share; 2024 is the wet year of the story
LANE_LOSS, HEADLAND_LOSS, PLOUGH_PAN_LOSS = 0.16, 0.11, 0.03


def truth_at(positions_m):
    """Return what is true at positions, as a dict of (n,) arrays.

    Outside the field the same functions run on; where there is no pan its depths are NaN.

    Parameters
        positions_m  (n, 2) easting and northing, metres
    Returns  crust (0..1), headland, lane, pan (bool), pan_top, pan_bottom (in), peak (psi),
             population_sound (plants/ac in a row with a good row unit), population (plants/ac
             over all 16 rows, the weak row unit included)
    """
    local = boundary.to_local(positions_m)
    across, along = local.T
    crust = _crust(across, along)
    headland = _headland(local)
    lane = boundary.distance_to_line_m(local, LANE) <= LANE_HALF_WIDTH_M
    sound = _population_sound(across, along, crust, headland)
    strong, plough = headland | lane, across < _pan_edge(along)
    pan = strong | plough
    top = np.where(strong, 7.0 + 0.7 * _wave(across, along, 310, 250, 0.6),
                   10.4 + 1.1 * _wave(across, along, 420, 520, 2.2))
    bottom = np.where(strong, 12.0 + 0.7 * _wave(across, along, 270, 330, 1.4),
                      top + 3.2 + 0.15 * _wave(across, along, 350, 300, 0.3))
    peak = np.where(strong, 465.0 + 45.0 * _wave(across, along, 260, 300, 2.9),
                    np.where(plough, 385.0 + 20.0 * _wave(across, along, 330, 280, 1.1),
                             _background(across, along, GREATEST_DEPTH)))
    return {"crust": crust, "headland": headland, "lane": lane, "pan": pan,
            "pan_top": np.where(pan, top, np.nan), "pan_bottom": np.where(pan, bottom, np.nan),
            "peak": peak, "population_sound": sound,
            "population": sound * (1 - WEAK_ROW_LOSS / ROW_UNITS)}


def resistance_at(positions_m, depths):
    """Return the true resistance, (n, d) psi, at n positions and d depths (in).

    A pan climbs straight from the limit at its top to its peak within RAMP (or to its middle),
    stays there, and falls the same way to the limit at its bottom, so that a straight line
    between readings 1 in apart finds both depths again.
    """
    true = truth_at(positions_m)
    across, along = boundary.to_local(positions_m).T
    depths = np.asarray(depths, float)
    background = _background(across[:, None], along[:, None], depths[None, :])
    top, bottom, peak = (true[name][:, None] for name in ("pan_top", "pan_bottom", "peak"))
    ramp = np.minimum(RAMP, (bottom - top) / 2)
    inward = np.minimum(depths - top, bottom - depths)  # in from the nearer edge, below 0 outside
    layer = PAN_LIMIT + (peak - PAN_LIMIT) * np.minimum(inward / ramp, 1.0)
    return np.where(true["pan"][:, None], np.fmax(background, layer), background)


def dry_yield_at(positions_m, season):
    """Return the true dry yield, (n,) bu/ac, of an earlier season (2024 or 2025)."""
    true = truth_at(positions_m)
    across, along = boundary.to_local(positions_m).T
    kept = 1 - LOW_PART_LOSS[season] * true["crust"]
    kept *= 1 - np.where(true["lane"], LANE_LOSS, np.where(
        true["headland"], HEADLAND_LOSS, np.where(true["pan"], PLOUGH_PAN_LOSS, 0.0)))
    return DRY_YIELD[season] * kept * (1 + 0.05 * _wave(across, along, 380, 460, season % 10))


def _wave(across, along, across_m, along_m, phase):
    """A smooth, fixed pattern between -1 and 1 with the given wave lengths."""
    return (np.sin(2 * np.pi * across / across_m + phase)
            + np.cos(2 * np.pi * along / along_m - 2 * phase)) / 2


def _crust(across, along):
    radius = np.hypot((across - CRUST_CENTRE[0]) / CRUST_REACH[0],
                      (along - CRUST_CENTRE[1]) / CRUST_REACH[1])
    return 1 / (1 + np.exp((radius - 1.06) / 0.04))


def _headland(local):
    return np.min([boundary.distance_to_line_m(local, edge)
                   for edge in boundary.HEADLAND_EDGES], axis=0) <= HEADLAND_WIDTH_M


def _population_sound(across, along, crust, headland):
    sound = SOUND_POPULATION + 700.0 * _wave(across, along, 400, 340, 0.9)
    lost = crust * (0.60 + 0.07 * _wave(across, along, 180, 240, 0.2))
    return sound * (1 - lost) * np.where(headland, 1 - HEADLAND_STAND_LOSS, 1.0)


def _pan_edge(along):
    """Metres across the rows up to which the plough pan reaches."""
    return 335.0 + 40.0 * np.sin(2 * np.pi * along / 520.0)


def _background(across, along, depth):
    """Resistance without a pan, psi: at most 267 at 18 in."""
    return 75.0 + 10.0 * depth + 12.0 * _wave(across, along, 290, 360, 1.9)
