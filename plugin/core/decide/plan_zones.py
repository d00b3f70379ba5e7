"""What plans ask of a surface, and sums over their zones."""
import numpy as np
from scipy.spatial import cKDTree

from ..problems import InputProblem
from ..units import UNIT_SYSTEMS, convert
from ..zone_map import OUTSIDE


def zone_means(labels, inside, values, count):
    """Return the mean of values in each of `count` zones, each cell weighing by its share inside.

    Parameters
        labels, inside, values  (rows, columns); every label from 0 to count - 1 has a cell
    Returns  (count,)
    """
    field = inside > 0
    weight = np.bincount(labels[field], inside[field], minlength=count)
    return np.bincount(labels[field], (inside * values)[field], minlength=count) / weight


def drawn_zone_means(zone_map, drawn, drawn_cells, expected=None):
    """Return (d, k) drawn means of the zones, centred on the means of what is expected, if given.

    A zone without a drawn cell takes the nearest one; drawn cells outside the field are not used.

    Parameters
        zone_map     ZoneMap of k zones
        drawn        (d, m) values of each draw at m cells
        drawn_cells  (m,) their flat cell numbers
        expected     (rows, columns) expected values, known wherever a cell is inside the field;
                     it makes good for cells that were not drawn. None centres nothing
    Raises   InputProblem: no drawn cell is inside the field
    """
    labels, share = zone_map.labels.ravel(), zone_map.inside.ravel()
    cells = np.asarray(drawn_cells)
    use = labels[cells] != OUTSIDE
    if not use.any():
        raise InputProblem(f"None of the {len(cells)} cells with draws lies inside the field.")
    cells, drawn = cells[use], np.asarray(drawn, float)[:, use]
    weight = np.zeros((len(cells), len(zone_map.zones)))
    weight[np.arange(len(cells)), labels[cells]] = share[cells]
    for zone in np.flatnonzero(weight.sum(axis=0) == 0):
        weight[_nearest(zone_map.grid, cells, np.flatnonzero(labels == zone)), zone] = 1.0
    weight /= weight.sum(axis=0)
    if expected is None:
        return drawn @ weight
    centre = zone_means(zone_map.labels, zone_map.inside, expected, len(zone_map.zones))
    return drawn @ weight + (centre - expected.ravel()[cells] @ weight)


def _nearest(grid, cells, zone_cells):
    """Return which of `cells` is nearest to any cell of the zone."""
    where = np.column_stack(np.divmod(cells, grid.columns))
    apart, which = cKDTree(where).query(np.column_stack(np.divmod(zone_cells, grid.columns)))
    return which[np.argmin(apart)]


def shape_settings(shape, area_unit):
    """Return what a WorkableShape asks for as settings of a Plan, in the units that go with it."""
    length = next(system.length for system in UNIT_SYSTEMS.values() if system.area == area_unit)
    told = {"machine_width": (float(convert(shape.machine_width_m, "m", length)), length),
            "smallest_zone": (float(convert(shape.smallest_area_m2, "m2", area_unit)), area_unit)}
    if shape.heading_deg is not None:
        told["row_heading"] = (shape.heading_deg, "degrees")
    return told


def require_surface(surface, unit):
    """Refuse a surface in another unit, or with a cell inside the field that has no figure."""
    if surface.unit != unit:
        raise InputProblem(f"{surface.name} is in {surface.unit or 'no unit'}; this plan needs "
                           f"{unit or 'a figure without unit'}.")
    field = surface.inside > 0
    usable = np.isfinite(surface.estimate[field]) & (surface.standard_error[field] >= 0)
    if not field.any() or not usable.all():
        raise InputProblem(f"{surface.name}: {np.count_nonzero(~usable)} of "
                           f"{np.count_nonzero(field)} cells inside the field have no estimate "
                           "or no standard error.")
