"""Zones to write task files of: turned, in several parts, with a filled hole, on any hemisphere."""
import shapely
from shapely.affinity import rotate

from plugin.core.deliver.iso_task import Names
from plugin.core.deliver.rate_table import RateRow
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


def settings(version="4.3", **options):
    """Settings whose rates outside and without a position differ from each other."""
    return TaskSettings(version=version, names=NAMES, outside=options.pop("outside", 0.0),
                        lost=options.pop("lost", 10.0), **options)
