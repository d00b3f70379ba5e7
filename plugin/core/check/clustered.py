"""Stops that lie in clusters and leave the rest of the field unseen."""
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree
from scipy.special import ndtr

from ..problems import InputProblem

FEWEST = 8  # places; Donnelly's correction was found for more than 7
RARE = 0.01  # chance below which places at random would lie so close


@dataclass(frozen=True)
class NearestNeighbours:
    """Mean distance to the nearest neighbour against that of places at random.

    places      number of places
    mean_m      their mean distance to the nearest other
    expected_m  that of as many places at random in the same field
    ratio       mean over expected: below 1 clustered, 1 random, above 1 regular
    score       standard errors by which the mean lies above the expected
    """
    places: int
    mean_m: float
    expected_m: float
    ratio: float
    score: float


def nearest_neighbours(positions_m, area_m2, perimeter_m):
    """Return how near each place lies to the next, against places at random.

    Places near the edge have their neighbours on one side only; Donnelly's terms in the perimeter
    allow for that. They were found for fields that are not long and narrow. Equal places count
    once.

    Parameters
        positions_m  (n, 2) metres, inside the field, at least FEWEST different ones
        area_m2      of the field
        perimeter_m  of the field, holes too
    Raises   InputProblem: fewer places
    Source   Clark and Evans (1954), Ecology 35:445-453; correction of the edge: Donnelly (1978),
             in Hodder (ed.), Simulation Studies in Archaeology, 91-95 (its terms from memory)
    """
    places = np.unique(np.asarray(positions_m, float), axis=0)
    count = len(places)
    if count < FEWEST:
        raise InputProblem(f"{count} places are too few to tell clusters from chance; "
                           f"{FEWEST} are needed.")
    apart_m, _ = cKDTree(places).query(places, k=2)
    mean_m = float(apart_m[:, 1].mean())
    expected_m = float(0.5 * np.sqrt(area_m2 / count)
                       + (0.0514 + 0.041 / np.sqrt(count)) * perimeter_m / count)
    error_m = float(np.sqrt(0.070 * area_m2 + 0.037 * perimeter_m * np.sqrt(area_m2 / count))
                    / count)
    return NearestNeighbours(count, mean_m, expected_m, mean_m / expected_m,
                             (mean_m - expected_m) / error_m)


def check_clustered(readings, area_m2, perimeter_m):
    """Return one flag where the places of a set lie closer than chance would have them.

    Parameters
        readings     ReadingSet, places inside the field
        area_m2, perimeter_m   of the field
    """
    used = np.isfinite(readings.values) & np.isfinite(readings.positions_m).all(axis=1)
    places = np.unique(readings.positions_m[used], axis=0)
    if len(places) < FEWEST:
        return []
    found = nearest_neighbours(places, area_m2, perimeter_m)
    if ndtr(found.score) >= RARE:
        return []
    return [readings.flag_of_all(
        "clustered_stops",
        what=f"The {found.places} places of {readings.title.lower()} lie {found.mean_m:.0f} m from "
             f"the next; at random it would be {found.expected_m:.0f} m.",
        why="Clusters say much of a few spots and nothing of the rest: the plain mean leans to "
            "them, and between them the map is a guess.",
        remedy="Take stops in the gaps; planstops spreads them. A map weighs clustered readings "
               "less, a plain mean does not.")]
