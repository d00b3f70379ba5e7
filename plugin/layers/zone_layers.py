"""Zones and plans as polygon layers, cut exactly to the field."""
from functools import partial

import numpy as np

from ..core.units import UNIT_SYSTEMS
from ..core.zone.outlines import outlines
from ..core.zone.workable import HEADLAND
from .cut_pieces import pieces_joined
from .vectors import REAL, TEXT, WHOLE, Column, VectorLayer, area_of, is_sound, polygon_wkb


def zone_layer(name, zone_map, boundary_wkb, *, title="", shape=None, deviation_m=0.0,
               figures=None, tick=None):
    """Return the zones of a zone map as a VectorLayer; neighbours share their edges.

    The area is that of the polygon, which is not quite that of the cells where borders are
    straightened, or where the boundary cuts off a piece smaller than the smallest zone: that joins
    a neighbour, as `pieces_joined` says. A zone of which nothing is left has no polygon.

    Parameters
        zone_map      ZoneMap
        boundary_wkb  cut to this boundary, or None
        shape         WorkableShape that the zones have; None asks for no smallest area
        deviation_m   largest distance by which borders inside the field are straightened
        figures       further columns: name to one number per zone
        tick          called with the fraction done; may raise Stopped
    """
    tick = tick or (lambda fraction: None)
    shapes = outlines(zone_map.labels, zone_map.grid, deviation_m=deviation_m, sound=is_sound,
                      tick=lambda part: tick(0.5 * part))
    geometries = _cut(shapes, zone_map.zones, boundary_wkb, tick)
    if shape is not None and shape.smallest_area_m2:
        geometries = pieces_joined(geometries, shape.smallest_area_m2, tick=lambda part: tick(1.0),
                                   takes=partial(_takes, zone_map.zones, shape.ordered))
    further = {column: np.asarray(values) for column, values in (figures or {}).items()}
    columns = (Column("zone", WHOLE), Column("title", TEXT), Column("area_m2", REAL),
               Column("mean", REAL), Column("deviation", REAL), Column("unit", TEXT),
               *(Column(column, WHOLE if values.dtype.kind in "iu" else REAL)
                 for column, values in further.items()))
    rows = [[zone.label, zone.title, area_of(geometry), zone.mean, zone.standard_deviation,
             zone_map.unit, *(values[zone.label].item() for values in further.values())]
            for zone, geometry in zip(zone_map.zones, geometries) if geometry is not None]
    return VectorLayer(name, zone_map.grid.crs_wkt, columns, list(filter(None, geometries)), rows,
                       title)


def figure_columns(figures, prefix=""):
    """Return what LayerFigures hold as columns: name to one number per zone.

    Without a prefix, mean and deviation are left to the zones' own columns; else the prefix, such
    as a layer's name, is made fit for a column.
    """
    prefix = _column_name(prefix)
    columns = {} if not prefix else {"mean": figures.mean, "dev": figures.deviation}
    if figures.error is not None:
        columns["error"] = figures.error
    if figures.readings is not None:
        columns["readings"] = figures.readings
    columns["explained"] = np.full(len(figures.mean), figures.explained)
    return {f"{prefix}_{name}" if prefix else name: values for name, values in columns.items()}


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

    Where a smallest zone was asked for, pieces smaller than a cell that the boundary cuts off join
    a neighbour, as `pieces_joined` says, of depths one that is no shallower: a controller has no
    use for them, and areas and money, which are those of the cells, hardly show it.

    Further figures of the zones become columns of their own, named by the figure; their units are
    those of the plan. `tick` is called with the fraction done; it may raise Stopped.
    """
    tick = tick or (lambda fraction: None)
    shapes = outlines(plan.zone_map.labels, plan.zone_map.grid,
                      tick=lambda part: tick(0.5 * part))
    further = sorted({name for zone in plan.zones for name in zone.figures})
    columns = [Column("zone", WHOLE), Column("action", TEXT), Column("rate", REAL),
               Column("rate_unit", TEXT), Column("rate_of", TEXT), Column("area", REAL),
               Column("area_unit", TEXT), Column("gain_area", REAL), Column("gain", REAL),
               Column("gain_low", REAL), Column("gain_high", REAL), Column("chance", REAL),
               Column("currency", TEXT)]
    columns += [Column(_column_name(name), REAL) for name in further]
    rows = [[zone.label + 1, zone.action, zone.rate, plan.rate_unit, plan.rate_of, zone.area,
             plan.area_unit, zone.gain_per_area, zone.gain, zone.gain_low, zone.gain_high,
             zone.chance, plan.currency] + [zone.figures.get(name, (None,))[0] for name in further]
            for zone in plan.zones]
    geometries = _cut(shapes, plan.zones, boundary_wkb, tick)
    if plan.settings.get("smallest_zone", (0.0, ""))[0]:
        geometries = pieces_joined(geometries, plan.zone_map.grid.cell_area_m2,
                                   takes=partial(_takes_in_plan, plan), tick=lambda part: tick(1.0))
    return VectorLayer(plan.name, plan.zone_map.grid.crs_wkt, tuple(columns), geometries, rows)


def _cut(shapes, zones, boundary_wkb, tick):
    """The WKB of each zone, cut to the boundary; the second half of a tick."""
    return [polygon_wkb(shapes[zone.label], boundary_wkb, tick=lambda part, done=done: tick(
        0.5 + 0.5 * (done + part) / len(zones))) for done, zone in enumerate(zones)]


def _takes(zones, ordered, taker, piece):
    """Whether a zone may take a piece of another: headlands stay, and ranks never fall."""
    return (HEADLAND not in (zones[taker].title, zones[piece].title)
            and (not ordered or taker > piece))


def _takes_in_plan(plan, taker, piece):
    depths = plan.rate_unit in {system.depth for system in UNIT_SYSTEMS.values()}
    return not depths or plan.zones[taker].rate >= plan.zones[piece].rate


def _column_name(figure):
    words = "".join(letter if letter.isalnum() else " " for letter in figure.lower())
    return "_".join(words.split())
