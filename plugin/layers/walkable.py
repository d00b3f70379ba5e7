"""The ground on which stops may lie: the field less its headlands and what is kept out."""
import numpy as np
from osgeo import ogr

from ..core.grid import Grid
from ..core.problems import InputProblem
from .boundary import inside_mask
from .strict_ogr import strict_ogr

MOST_CELLS = 20_000  # of ground from which stops are chosen: k-means takes a second or two
CELLS_A_STOP = 200  # at least, so that stops lie close to where they are best
SMALLEST_CELL_M = 0.5


def walkable_ground(boundary_wkb, *, headland_m=0.0, keep_out_wkb=None):
    """Return the boundary less a strip along its lines and less polygons kept out, as WKB.

    Parameters
        boundary_wkb  the field, metres; strips run along holes too
        headland_m    width of the strip, 0 or more
        keep_out_wkb  polygons in the same CRS, or None
    Raises   InputProblem: nothing is left
    """
    with strict_ogr():
        ground = ogr.CreateGeometryFromWkb(boundary_wkb)
        if headland_m > 0:
            ground = ground.Buffer(-headland_m, 8)
        if not ground.Area() > 0:
            raise InputProblem(f"A headland of {headland_m:g} m leaves nothing of the field. Enter "
                               "a smaller one.")
        if keep_out_wkb is not None:
            ground = ground.Difference(ogr.CreateGeometryFromWkb(keep_out_wkb))
        if not ground.Area() > 0:
            raise InputProblem("The polygons to keep out cover all of the field. Choose others.")
        return bytes(ground.ExportToIsoWkb(ogr.wkbNDR))


def cells_of_ground(ground_wkb, stops):
    """Return the centres (n, 2) of square cells over the ground, and their side, metres.

    Cells have their centre on the ground; there are about MOST_CELLS, or fewer where the ground
    is small, and CELLS_A_STOP for each stop as long as MOST_CELLS allows.

    Raises   InputProblem: the ground is too small for so many stops
    """
    with strict_ogr():
        ground = ogr.CreateGeometryFromWkb(ground_wkb)
        area, (west, east, south, north) = ground.Area(), ground.GetEnvelope()
    cell_m = max(np.sqrt(area / min(MOST_CELLS, max(CELLS_A_STOP * stops, 2_000))),
                 SMALLEST_CELL_M)
    # In the middle of the cells of a grid laid from the corner: the same ground, the same cells.
    columns, rows = (int(np.ceil(reach / cell_m)) for reach in (east - west, north - south))
    if columns * rows > 50 * MOST_CELLS:
        raise InputProblem("The parts of the boundary lie so far apart that no grid covers them. "
                           "Plan the parts one by one.")
    centres = Grid(west, north, cell_m, rows, columns).centres()
    centres = centres[inside_mask(ground_wkb, centres)]
    if len(centres) < stops:
        raise InputProblem(f"The ground of {area:,.0f} m2 is too small for {stops} stops. Ask for "
                           "fewer.")
    return centres, float(cell_m)
