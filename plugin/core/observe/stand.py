"""Plants per area at each stop, from row-length, wheel and hoop counts, with their error."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem

REPLICATE_ROWS_WANTED = 20  # degrees of freedom from which the spread between rows is trusted


@dataclass(frozen=True)
class StandAtStop:
    """Density (plants per m2) of each stop, its error variance, and what the error rests on.

    stops            (n,) the stop number of each
    density          (n,) plants per square metre
    error_variance   (n,) of the density, (plants per m2) squared
    plants, area_m2  (n,) counted plants and the area they stood on
    dispersion       variance of a count over its mean: 1 is Poisson, below 1 is more even
    error_source     "rows", "seeds dropped" or "Poisson"
    """
    stops: np.ndarray
    density: np.ndarray
    error_variance: np.ndarray
    plants: np.ndarray
    area_m2: np.ndarray
    dispersion: float
    error_source: str


def row_area_m2(length_m, row_width_m, rows=1):
    """Return the ground that `rows` rows of a length stand for, m2: length x row width x rows."""
    return np.asarray(length_m, float) * row_width_m * np.asarray(rows, float)


def hoop_area_m2(diameter_m, hoops=1):
    """Return the ground inside `hoops` throws of a hoop, m2: pi d2 / 4 each."""
    return np.pi * np.asarray(diameter_m, float) ** 2 / 4 * np.asarray(hoops, float)


def stand_at_stops(stops, plants, area_m2, *, row_stops=(), row_plants=(), row_area_m2=(),
                   seeds_per_m2=None):
    """Return the stand of each stop: all plants counted there over all the ground counted.

    Counts that carry the same stop number are added up, so a stop with several counts weighs
    by the ground it looked at. The error variance of a density on an area A is f D / A, D the mean
    density of all stops: taken from the stop's own count, a low count would pass for a sure one
    and pull the map down. The dispersion f comes from the spread between the rows of a stop
    where at least REPLICATE_ROWS_WANTED rows more than stops were counted; else it is
    1 - D / seeds (binomial: each seed dropped comes up or does not); else 1 (Poisson).

    Parameters
        stops                   (c,) stop number of each count
        plants                  (c,) whole plants counted, 0 or more
        area_m2                 (c,) ground counted, m2, above 0
        row_stops, row_plants, row_area_m2   (r,) the single rows of stops counted row by row
        seeds_per_m2            seeds dropped per m2, or None when not known
    Returns  StandAtStop, stops in ascending order
    Raises   InputProblem: no count, a negative count, or an area that is not above 0
    Source   dispersion: McCullagh and Nelder (1989), Generalized Linear Models, 2nd ed., 4.5 and
             6.2 (Pearson statistic over its degrees of freedom)
    """
    stops, plants = np.asarray(stops), np.asarray(plants, float)
    areas = np.asarray(area_m2, float)
    if not len(stops):
        raise InputProblem("There is no stand count to work with.")
    if not ((plants >= 0).all() and (areas > 0).all()):
        raise InputProblem(f"Of {len(stops)} stand counts, {np.count_nonzero(~(plants >= 0))} have "
                           f"no count of plants and {np.count_nonzero(~(areas > 0))} no area.")
    numbers, group = np.unique(stops, return_inverse=True)
    plants_at = np.bincount(group, plants)
    area_at = np.bincount(group, areas)
    density = plants_at / area_at
    mean_density = plants_at.sum() / area_at.sum()
    dispersion = row_dispersion(row_stops, row_plants, row_area_m2)
    source = "rows"
    if dispersion is None and seeds_per_m2 is not None and 0 < mean_density < seeds_per_m2:
        dispersion, source = 1 - mean_density / seeds_per_m2, "seeds dropped"
    if dispersion is None:
        dispersion, source = 1.0, "Poisson"
    error_variance = dispersion * mean_density / area_at
    return StandAtStop(numbers, density, error_variance, plants_at, area_at, dispersion, source)


def row_dispersion(row_stops, row_plants, row_area_m2):
    """Return the variance over the mean of single-row counts within stops, or None.

    None where fewer than REPLICATE_ROWS_WANTED degrees of freedom (rows less stops) are there:
    the spread would be too uncertain to use. Stops with one row or without plants say nothing.
    """
    if not len(row_stops):
        return None
    _, group = np.unique(np.asarray(row_stops), return_inverse=True)
    plants, areas = np.asarray(row_plants, float), np.asarray(row_area_m2, float)
    expected = (np.bincount(group, plants) / np.bincount(group, areas))[group] * areas
    rows_here = np.bincount(group)[group]
    telling = (expected > 0) & (rows_here > 1)
    freedom = np.count_nonzero(telling) - len(np.unique(group[telling]))
    if freedom < REPLICATE_ROWS_WANTED:
        return None
    pearson = ((plants[telling] - expected[telling]) ** 2 / expected[telling]).sum()
    return float(pearson / freedom)
