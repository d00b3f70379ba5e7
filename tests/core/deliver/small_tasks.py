"""Small task files to test with: a field of 5 by 4 cells, two zones, one with a hole."""
import numpy as np

from plugin.core.deliver.degree_grid import DegreeGrid
from plugin.core.deliver.iso_task import Names
from plugin.core.deliver.task_of_rates import RateJob

NAMES = Names("Hollis", "Home", "Quarry Flat", "Replant seed", "Spadework", "0.1")
EXTENT = (-93.5, 42.0, -93.49865, 42.0008)
PLACE = DegreeGrid(42.0, -93.5, 0.0002, 0.00027, 4, 5)
CELLS = np.array([[0, 0, 0, 1, 1], [0, 0, 0, 1, 1], [0, 0, 0, 1, -1], [1, 1, 1, 1, -1]])


def box(west, south, east, north):
    return np.array([[west, south], [east, south], [east, north], [west, north], [west, south]])


FIELD = ((box(-93.5, 42.0, -93.49865, 42.0008),),)
HOLE = box(-93.49973, 42.0002, -93.49946, 42.0004)[::-1]
WEST = (box(-93.5, 42.0, -93.49919, 42.0008), HOLE)
EAST, FILLING = (box(-93.49919, 42.0, -93.49865, 42.0008),), (HOLE[::-1],)


def job(version="4.3", *, zones=None, unit="seeds/ha", names=NAMES, **options):
    zones = zones or (("West", 80_000.0, (WEST,)), ("East", 68_000.0, (EAST, FILLING)))
    return RateJob(version, names, unit, options.get("outside", 0.0), options.get("lost", 74_000.0),
                   options.get("area_m2", 9937.3), options.get("boundary", FIELD), zones)
