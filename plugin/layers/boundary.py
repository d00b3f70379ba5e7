"""The field's boundary: the grid over it, and the exact share of every cell inside it."""
import numpy as np
from osgeo import gdal, ogr

from ..core.grid import Grid
from ..core.problems import InputProblem
from .strict_ogr import strict_ogr

CUT_BYTES = 2_000_000  # of the boundary, times cells cut with it between two ticks: some 20 ms
POSITIONS = 10_000  # looked up between two ticks: some 50 ms
ROUNDING = 1e-9  # of a cell: a share this near to the whole is the whole


def grid_over(boundary_wkb, cell_m, crs_wkt):
    """Return the Grid over a boundary given as WKB in metres."""
    with strict_ogr():
        west, east, south, north = ogr.CreateGeometryFromWkb(boundary_wkb).GetEnvelope()
    return Grid.covering(west, south, east, north, cell_m=cell_m, crs_wkt=crs_wkt)


def inside_shares(boundary_wkb, grid, *, tick=None):
    """Return the exact share (rows, columns), 0 to 1, of each cell that lies inside the boundary.

    Only cells near the boundary's line are cut with it; time grows with its length. Memory: eight
    bytes a cell for the shares, and some four on the way.

    `tick` is called with the fraction done; it may raise Stopped.

    Raises   InputProblem: nothing of the boundary lies on the grid
    """
    tick = tick or (lambda fraction: None)
    with strict_ogr():
        boundary = ogr.CreateGeometryFromWkb(boundary_wkb)
        burnt = _burnt(boundary, grid)
        tick(0.1)
        inside = burnt.astype(float)
        tick(0.2)
        edge = _with_neighbours(_crossed(boundary, grid), grid)
        at_once = 1 + CUT_BYTES // len(boundary.ExportToWkb())
        for number, (row, column) in enumerate(edge):
            inside[row, column] = _share(boundary, grid, row, column)
            if number % at_once == 0:
                tick(0.2 + 0.8 * number / len(edge))
    if not inside.any():
        raise InputProblem("The boundary and the grid do not meet. Choose a surface and a "
                           "boundary of the same field, in the same CRS.")
    return inside


def inside_mask(boundary_wkb, positions_m, *, tick=None):
    """Return the mask (n,) of positions inside the boundary or within a millimetre of it.

    `tick` is called with the fraction done; it may raise Stopped.
    """
    positions = np.asarray(positions_m, float).reshape(-1, 2)
    with strict_ogr():
        boundary = ogr.CreateGeometryFromWkb(boundary_wkb).Buffer(0.001)
        west, east, south, north = boundary.GetEnvelope()
        mask = ((positions >= (west, south)) & (positions <= (east, north))).all(axis=1)
        prepared = boundary.CreatePreparedGeometry()
        point = ogr.Geometry(ogr.wkbPoint)
        near = np.flatnonzero(mask)
        for done, number in enumerate(near):
            if tick is not None and done % POSITIONS == 0:
                tick(done / len(near))
            point.SetPoint_2D(0, *positions[number].tolist())
            mask[number] = prepared.Intersects(point)
    return mask


def outside_m(boundary_wkb, positions_m):
    """Return how far each of (n, 2) positions lies outside the boundary, metres; 0 inside it.

    Within a millimetre counts as inside; a position that is no place gets NaN.
    """
    positions = np.asarray(positions_m, float).reshape(-1, 2)
    away_m = np.where(np.isfinite(positions).all(axis=1), 0.0, np.nan)
    with strict_ogr():
        boundary, point = ogr.CreateGeometryFromWkb(boundary_wkb), ogr.Geometry(ogr.wkbPoint)
        for number in np.flatnonzero(~inside_mask(boundary_wkb, positions) & (away_m == 0)):
            point.SetPoint_2D(0, *positions[number].tolist())
            away_m[number] = boundary.Distance(point)
    return away_m


def perimeter_m(boundary_wkb):
    """Return the length of a boundary's lines, holes too, metres."""
    with strict_ogr():
        return ogr.CreateGeometryFromWkb(boundary_wkb).Boundary().Length()


def near_row_ends(boundary_wkb, positions_m, width_m, heading_degrees=None):
    """Return the mask (n,) of positions from which the row ends within a width, either way.

    Without a heading of the rows: of positions within that width of the boundary's line. Holes
    end a row as edges do.

    Parameters
        boundary_wkb     the field, metres
        positions_m      (n, 2) metres
        width_m          of the headland
        heading_degrees  of the rows, clockwise from north
    """
    positions = np.asarray(positions_m, float).reshape(-1, 2)
    ahead = None if heading_degrees is None else width_m * np.array(
        [np.sin(np.radians(heading_degrees)), np.cos(np.radians(heading_degrees))])
    mask = np.zeros(len(positions), bool)
    with strict_ogr():
        boundary = ogr.CreateGeometryFromWkb(boundary_wkb)
        line = boundary.Boundary()
        for number, place in enumerate(positions):
            if ahead is None:
                point = ogr.Geometry(ogr.wkbPoint)
                point.AddPoint_2D(*place.tolist())
                mask[number] = line.Distance(point) <= width_m
            else:
                row = ogr.Geometry(ogr.wkbLineString)
                for end in (place - ahead, place + ahead):
                    row.AddPoint_2D(*end.tolist())
                mask[number] = not boundary.Contains(row)
    return mask


def area_m2(boundary_wkb):
    """Return the area a boundary encloses, m2."""
    with strict_ogr():
        return ogr.CreateGeometryFromWkb(boundary_wkb).Area()


def _crossed(boundary, grid):
    """Rows and columns (k, 2) of points on the boundary's line, half a cell apart.

    All cells that the line touches are beside one of them.

    GDAL's own burning of touched cells misses some that a nearly level line just enters.
    """
    line = boundary.Boundary()
    line.Segmentize(grid.cell_m / 2)
    parts = ([line] if line.GetGeometryName() == "LINESTRING"
             else [line.GetGeometryRef(number) for number in range(line.GetGeometryCount())])
    points = np.concatenate([np.array(part.GetPoints(), float)[:, :2] for part in parts])
    columns = np.floor((points[:, 0] - grid.west_m) / grid.cell_m).astype(int)
    rows = np.floor((grid.north_m - points[:, 1]) / grid.cell_m).astype(int)
    near = ((rows >= -1) & (rows <= grid.rows) & (columns >= -1) & (columns <= grid.columns))
    return np.column_stack([rows[near], columns[near]])


def _with_neighbours(cells, grid):
    """Rows and columns (k, 2), each once, of cells and the eight around each, on the grid."""
    around = np.stack(np.meshgrid([-1, 0, 1], [-1, 0, 1]), axis=-1).reshape(-1, 2)
    rows, columns = (np.unique(cells, axis=0)[:, None] + around).reshape(-1, 2).T
    there = (rows >= 0) & (rows < grid.rows) & (columns >= 0) & (columns < grid.columns)
    flat = np.unique(rows[there] * grid.columns + columns[there])
    return np.column_stack(np.divmod(flat, grid.columns))


def _burnt(geometry, grid):
    raster = gdal.GetDriverByName("MEM").Create("", grid.columns, grid.rows, 1, gdal.GDT_Byte)
    raster.SetGeoTransform((grid.west_m, grid.cell_m, 0, grid.north_m, 0, -grid.cell_m))
    in_memory = gdal.GetDriverByName("MEM")  # for vectors too, from GDAL 3.11 on
    if in_memory.GetMetadataItem(gdal.DCAP_VECTOR) is None:
        in_memory = gdal.GetDriverByName("Memory")
    shapes = in_memory.Create("", 0, 0, 0, gdal.GDT_Unknown)
    layer = shapes.CreateLayer("shape")
    feature = ogr.Feature(layer.GetLayerDefn())
    feature.SetGeometry(geometry)
    layer.CreateFeature(feature)
    gdal.RasterizeLayer(raster, [1], layer, burn_values=[1])
    return raster.ReadAsArray()


def _share(boundary, grid, row, column):
    west = grid.west_m + column * grid.cell_m
    north = grid.north_m - row * grid.cell_m
    ring = ogr.Geometry(ogr.wkbLinearRing)
    for easting, northing in ((0, 0), (0, -1), (1, -1), (1, 0), (0, 0)):
        ring.AddPoint_2D(float(west + easting * grid.cell_m),
                         float(north + northing * grid.cell_m))
    cell = ogr.Geometry(ogr.wkbPolygon)
    cell.AddGeometry(ring)
    share = boundary.Intersection(cell).Area() / grid.cell_area_m2
    if share < 1.0 - ROUNDING:
        return share
    # A cell said to be whole is asked for what it lacks: GEOS 3.15.0 takes a cell that just fills a
    # hole of the boundary for common to both.
    return max(0.0, 1.0 - cell.Difference(boundary).Area() / grid.cell_area_m2)
