import numpy as np
import pytest
from osgeo import ogr

from plugin.core.grid import Grid
from plugin.core.problems import InputProblem
from plugin.core.surface import Surface
from plugin.layers.field_surface import surface_of_field
from plugin.layers.rasters import write_surface

GRID = Grid(0.0, 100.0, 10.0, 10, 10)


def boundary(east_m):
    shape = ogr.CreateGeometryFromWkt(f"POLYGON((5 5, {east_m} 5, {east_m} 95, 5 95, 5 5))")
    return bytes(shape.ExportToWkb())


@pytest.fixture
def surface(tmp_path):
    path = tmp_path / "stand.tif"
    values = np.full(GRID.shape, 7.0)
    write_surface(path, Surface("Stand", "plants/ha", GRID, np.ones(GRID.shape), values, values,
                                {}), {})
    return path


def test_a_surface_is_cut_to_the_field(surface):
    found = surface_of_field(surface, boundary(95))
    assert found.inside.sum() * 100 == pytest.approx(90 * 90, rel=1e-9)  # exact shares


def test_a_surface_that_leaves_a_part_of_the_field_out_is_refused(surface):
    # 95 of the 145 m from west to east lie on the grid: 66 %
    with pytest.raises(InputProblem, match="stand.tif covers 66% of the field. Make the surface"):
        surface_of_field(surface, boundary(150))
