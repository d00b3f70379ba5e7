"""Zones shaped so that a machine can run them."""
from .smallest_area import merge_small
from .smooth import mode_filter
from .statistics import zone_map_of


def radius_of_width(machine_width_m, cell_m):
    """Return the smoothing radius, cells, whose disk is as wide as the machine; 0 for none.

    A machine no wider than a cell needs no smoothing.
    """
    radius = machine_width_m / cell_m / 2
    return radius if radius > 0.5 else 0.0


def workable_classes(classes, inside, *, cell_area_m2, smallest_area_m2, smooth_radius_cells,
                     tick=None):
    """Return classes smoothed, and then cleared of patches below the smallest area.

    Parameters
        classes              (rows, columns) integers, OUTSIDE where `inside` is 0
        inside               (rows, columns) share of each cell in the field
        smooth_radius_cells  of `mode_filter`; 0 smooths nothing
        tick                 called with the fraction done; may raise Stopped
    Returns  (rows, columns) classes
    Raises   InputProblem: as `mode_filter` and `merge_small`
    """
    tick = tick or (lambda fraction: None)
    smooth = mode_filter(classes, inside, radius_cells=smooth_radius_cells,
                         tick=lambda part: tick(0.6 * part))
    return merge_small(smooth, inside, cell_area_m2=cell_area_m2,
                       smallest_area_m2=smallest_area_m2,
                       tick=lambda part: tick(0.6 + 0.4 * part))


def workable_zones(zone_map, values, *, smooth_radius_cells, smallest_area_m2, tick=None):
    """Return a zone map with smoothed edges and no patch below the smallest area.

    Parameters
        zone_map             ZoneMap
        values               (rows, columns) that the zones' mean and deviation are taken from
        smooth_radius_cells  of `mode_filter`
        smallest_area_m2     of `merge_small`
        tick                 called with the fraction done; may raise Stopped
    Returns  ZoneMap, its zones numbered anew
    Raises   InputProblem: as `mode_filter` and `merge_small`
    """
    tick = tick or (lambda fraction: None)
    labels = workable_classes(zone_map.labels, zone_map.inside,
                              cell_area_m2=zone_map.grid.cell_area_m2,
                              smallest_area_m2=smallest_area_m2,
                              smooth_radius_cells=smooth_radius_cells,
                              tick=lambda part: tick(0.9 * part))
    return zone_map_of(zone_map.name, zone_map.unit, zone_map.grid, zone_map.inside, labels, values,
                       [zone.title for zone in zone_map.zones],
                       tick=lambda part: tick(0.9 + 0.1 * part))
