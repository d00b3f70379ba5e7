"""Records to test with: made once a module, then copied, because making one takes half a second."""
import datetime
import shutil

import pytest

# 400 m by 400 m less a triangle of 50 by 50 / 2: 160,000 - 1,250 m2.
SQUARE_WITH_HOLE = (
    "POLYGON ((500000 4400000, 500400 4400000, 500400 4400400, 500000 4400400, 500000 4400000), "
    "(500100 4400100, 500100 4400150, 500150 4400150, 500100 4400100))")


@pytest.fixture(scope="session")
def boundary_wkb():
    """The boundary of the field of these tests."""
    from osgeo import ogr
    return bytes(ogr.CreateGeometryFromWkt(SQUARE_WITH_HOLE).ExportToWkb())


@pytest.fixture(scope="module", params=["us", "metric"])
def untouched(request, tmp_path_factory, boundary_wkb):
    """A fresh record in each unit system, which no test may write to."""
    from plugin.record.create import create_record
    path = tmp_path_factory.mktemp("record") / f"{request.param}.gpkg"
    create_record(path, boundary_wkb, "EPSG:32615", units=request.param,
                  field={"name": "Long piece", "crop": "corn", "season": 2026,
                         "planting_date": datetime.date(2026, 4, 25), "seeds_planted": 34000.5})
    return path


@pytest.fixture(scope="module")
def template(tmp_path_factory, boundary_wkb):
    """A fresh US record to copy from."""
    from plugin.record.create import create_record
    path = tmp_path_factory.mktemp("template") / "call.gpkg"
    create_record(path, boundary_wkb, "EPSG:32615", units="us", field={"name": "Long piece"})
    return path


@pytest.fixture
def record(template, tmp_path):
    """A record in a folder of its own, which a test may change."""
    return shutil.copy(template, tmp_path / "call.gpkg")
