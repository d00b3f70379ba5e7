"""Zones and plans as polygon layers, cut exactly to the field."""
import numpy as np

from ..core.zone.outlines import outlines
from .vectors import REAL, TEXT, WHOLE, Column, VectorLayer, polygon_wkb


def zone_layer(name, zone_map, boundary_wkb, *, title="", tick=None):
    """Return the zones of a zone map as a VectorLayer; neighbours share their edges.

    Parameters
        zone_map      ZoneMap
        boundary_wkb  cut to this boundary, or None
        tick          called with the fraction done; may raise Stopped
    """
    tick = tick or (lambda fraction: None)
    shapes = outlines(zone_map.labels, zone_map.grid, tick=lambda part: tick(0.5 * part))
    columns = (Column("zone", WHOLE), Column("title", TEXT), Column("area_m2", REAL),
               Column("mean", REAL), Column("deviation", REAL), Column("unit", TEXT))
    rows = [[zone.label, zone.title, zone.area_m2, zone.mean, zone.standard_deviation,
             zone_map.unit] for zone in zone_map.zones]
    geometries = _cut(shapes, zone_map.zones, boundary_wkb, tick)
    return VectorLayer(name, zone_map.grid.crs_wkt, columns, geometries, rows, title)


def mask_layer(name, mask, grid, boundary_wkb, *, title="", tick=None):
    """Return the cells of a mask (rows, columns) as one polygon feature, or none."""
    tick = tick or (lambda fraction: None)
    shapes = outlines(mask.astype(np.int8) - np.int8(1), grid, tick=lambda part: tick(0.5 * part))
    geometries = [polygon_wkb(shapes[0], boundary_wkb, tick=lambda part: tick(0.5 + 0.5 * part))
                  ] if 0 in shapes else []
    return VectorLayer(name, grid.crs_wkt, (Column("about", TEXT),),
                       [wkb for wkb in geometries if wkb], [[title] for wkb in geometries if wkb],
                       title)


def plan_layer(plan, boundary_wkb, *, tick=None):
    """Return a plan as a VectorLayer: action, rate, area, money and chance of each zone.

    Further figures of the zones become columns of their own, named by the figure; their units are
    those of the plan. `tick` is called with the fraction done; it may raise Stopped.
    """
    tick = tick or (lambda fraction: None)
    shapes = outlines(plan.zone_map.labels, plan.zone_map.grid,
                      tick=lambda part: tick(0.5 * part))
    further = sorted({name for zone in plan.zones for name in zone.figures})
    columns = [Column("zone", WHOLE), Column("action", TEXT), Column("rate", REAL),
               Column("rate_unit", TEXT), Column("area", REAL), Column("area_unit", TEXT),
               Column("gain_area", REAL), Column("gain", REAL), Column("gain_low", REAL),
               Column("gain_high", REAL), Column("chance", REAL), Column("currency", TEXT)]
    columns += [Column(_column_name(name), REAL) for name in further]
    rows = [[zone.label + 1, zone.action, zone.rate, plan.rate_unit, zone.area, plan.area_unit,
             zone.gain_per_area, zone.gain, zone.gain_low, zone.gain_high, zone.chance,
             plan.currency] + [zone.figures.get(name, (None,))[0] for name in further]
            for zone in plan.zones]
    geometries = _cut(shapes, plan.zones, boundary_wkb, tick)
    return VectorLayer(plan.name, plan.zone_map.grid.crs_wkt, tuple(columns), geometries, rows)


def _cut(shapes, zones, boundary_wkb, tick):
    """The WKB of each zone, cut to the boundary; the second half of a tick."""
    return [polygon_wkb(shapes[zone.label], boundary_wkb, tick=lambda part, done=done: tick(
        0.5 + 0.5 * (done + part) / len(zones))) for done, zone in enumerate(zones)]


def _column_name(figure):
    words = "".join(letter if letter.isalnum() else " " for letter in figure.lower())
    return "_".join(words.split())
