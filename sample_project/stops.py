"""Where the invented field was visited: stops spread evenly, with jitter, and some on purpose."""
import numpy as np
from scipy.spatial import cKDTree

from . import boundary, truth

SPREAD_STOPS, HEADLAND_STOPS, LANE_STOPS = 39, 3, 3
EDGE_M = 7.0           # nobody counts closer to the edge than this
APART_M = 30.0         # from the stops of the regions to those on purpose
LATTICE_M = 5.0
SETTLING_ROUNDS = 40   # enough for regions of equal size on this field


def stops(rng):
    """Return the stops in walking order, (45, 2) m across and along the rows.

    The field is split into 39 compact regions of about the same area with one stop at random in
    the inner half of each; then come three more stops in the headland and three on the old lane,
    where a careful adviser would look for compaction. The walk goes up and down the field in
    bands.
    """
    places = _places()
    spread = _one_in_each_region(places, rng)
    true = truth.truth_at(boundary.to_map(places))
    lane = true["lane"] & ~true["headland"]
    far = cKDTree(spread).query(places)[0] >= APART_M
    on_purpose = [places[rng.choice(np.flatnonzero(part & far), count, replace=False)]
                  for part, count in ((true["headland"], HEADLAND_STOPS), (lane, LANE_STOPS))]
    return _walk(np.round(np.vstack([spread, *on_purpose]), 1))


def random_places(rng, count, edge_m=EDGE_M):
    """Return `count` places in as many equal regions of the field, (count, 2) m, local."""
    return np.round(_one_in_each_region(_places(edge_m), rng, count), 1)


def _places(edge_m=EDGE_M):
    across, along = np.meshgrid(np.arange(0, 640, LATTICE_M), np.arange(-10, 640, LATTICE_M))
    lattice = np.column_stack([across.ravel(), along.ravel()])
    lattice = lattice[boundary.inside(lattice)]
    return lattice[boundary.distance_to_edge_m(lattice) >= edge_m]


def _one_in_each_region(places, rng, count=SPREAD_STOPS):
    centres = places[rng.choice(len(places), count, replace=False)]
    for _ in range(SETTLING_ROUNDS):
        region = cKDTree(centres).query(places)[1]
        centres = np.array([places[region == number].mean(axis=0) for number in range(count)])
    apart_m, region = cKDTree(centres).query(places)
    chosen = []
    for number in range(count):
        members = np.flatnonzero(region == number)
        inner = members[apart_m[members] <= np.median(apart_m[members])]
        chosen.append(places[rng.choice(inner)])
    return np.array(chosen)


def _walk(local, bands=6):
    band = np.floor(local[:, 0] / (local[:, 0].max() + 1) * bands).astype(int)
    direction = np.where(band % 2 == 0, local[:, 1], -local[:, 1])
    return local[np.lexsort([direction, band])]
