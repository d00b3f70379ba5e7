"""Zones to write task files of: turned, in several parts, with a filled hole, on any hemisphere."""
import numpy as np
import shapely
from scipy import ndimage
from shapely.affinity import rotate, translate

from plugin.core.deliver.iso_task import Names
from plugin.core.deliver.rate_table import RateRow
from plugin.core.zone.statistics import zone_map_of
from plugin.core.zone.workable import HEADLAND, workable_classes
from plugin.layers.boundary import grid_over, inside_shares
from plugin.layers.rate_zones import rate_zones
from plugin.layers.task_files import TaskSettings

PLACES = {"north west": ("EPSG:32615", 700_000, 4_650_000),
          "south west": ("EPSG:32721", 300_000, 6_200_000),
          "south east": ("EPSG:32755", 620_000, 5_900_000),
          "north east": ("EPSG:32633", 320_000, 5_900_000)}
RATES = {"seeds/ac": (32_000.0, 0.0, 27_500.0), "cm": (35.5, 0.0, 25.0),
         "lb/ac": (100.0, 0.0, 62.5), "gal/ac": (20.0, 12.5, 0.0), "kg/ha": (150.0, 0.0, 75.25),
         "in": (14.0, 0.0, 12.0)}
NAMES = Names('Hof "Süd" & Söhne <Nord>', "Ferme de l'Étang", "Quarry & <Flat> “ü”" + "x" * 30,
              "Replant", "Spadework", "0.1")


def zones_at_place(place="north west", unit="seeds/ac", turned=25):
    """Zone 1 with a hole, zone 2 in two parts, one of which fills the hole, and zone 3."""
    crs, east, north = PLACES[place]
    whole = shapely.box(east, north, east + 400, north + 300)
    hole = shapely.Point(east + 100, north + 100).buffer(40, 4)
    left = shapely.difference(shapely.box(east, north, east + 250, north + 300), hole)
    parts = shapely.MultiPolygon([hole, shapely.box(east + 250, north + 200, east + 400,
                                                    north + 300)])
    right = shapely.box(east + 250, north, east + 400, north + 200)
    shapes = [rotate(shape, turned, origin=whole.centroid) for shape in (left, parts, right)]
    rows = [RateRow(number, "work", rate, unit)
            for number, rate in enumerate(RATES[unit], start=1)]
    return rate_zones(crs, [shapely.to_wkb(shape) for shape in shapes], rows)


def any_field(seed, shape=None, place="north west"):
    """A boundary of two parts with a hole and a ditch narrower than a cell, and its zones.

    Returns  WKB of the boundary, and the ZoneMap, of the WorkableShape if one is given
    """
    crs, east, north = PLACES[place]
    generator = np.random.default_rng(seed)
    corners = generator.uniform(0, 120, (7, 2))
    field = shapely.convex_hull(shapely.MultiPoint(corners)).buffer(8, quad_segs=2)
    hole = shapely.Point(generator.uniform(30, 90, 2)).buffer(generator.uniform(2, 15), quad_segs=3)
    ditch = rotate(shapely.box(50, -20, 50 + generator.uniform(0.1, 4), 90),
                   generator.uniform(0, 360))
    field = field.difference(hole).difference(ditch)
    field = field.union(shapely.Point(175, 60).buffer(20, quad_segs=2))
    wkb = shapely.to_wkb(translate(field, east + 0.17, north + 0.71))
    grid = grid_over(wkb, 6.0, crs)
    inside = inside_shares(wkb, grid)
    rough = ndimage.gaussian_filter(generator.normal(size=grid.shape), 1.5)
    labels = np.where(inside > 0, np.digitize(rough, np.quantile(rough, [0.4, 0.7])), -1)
    titles = ["a", "b", "c"]
    if shape is not None:
        present, number = np.unique(labels[inside > 0], return_inverse=True)
        labels[inside > 0] = number
        labels = workable_classes(labels, inside, cell_m=6.0, shape=shape)
        titles = [*(titles[one] for one in present), HEADLAND]
    return wkb, zone_map_of("z", "", grid, inside, labels, rough, titles)


def settings(version="4.3", **options):
    """Settings whose rates outside and without a position differ from each other."""
    return TaskSettings(version=version, names=NAMES, outside=options.pop("outside", 0.0),
                        lost=options.pop("lost", 10.0), **options)
