"""A record to import into, and the door that imports."""
import hashlib
import sqlite3
from contextlib import closing

import pytest
from osgeo import gdal

gdal.UseExceptions()  # for the files that the tests write; the plugin sees to its own


@pytest.fixture(scope="session")
def empty_records(tmp_path_factory, boundary_wkb, qgis_app):
    """An empty record in each unit system, which no test may write to."""
    from plugin.record.create import create_record
    folder, made = tmp_path_factory.mktemp("empty"), {}
    for units in ("us", "metric"):
        made[units] = folder / f"{units}.gpkg"
        create_record(made[units], boundary_wkb, "EPSG:32615", units=units,
                      field={"name": "Long piece", "crop": "corn", "season": 2026})
    return made


@pytest.fixture
def empty(empty_records, tmp_path):
    """Return empty(units): a record in a folder of its own, which a test may change."""
    def made(units="us"):
        folder = tmp_path / "record"
        folder.mkdir(exist_ok=True)
        path = folder / f"{units}.gpkg"
        path.write_bytes(empty_records[units].read_bytes())
        return path
    return made


def sha(path):
    """Return the SHA-256 of a file."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def rows_of(path, sql, *values):
    """Return the rows of a query."""
    with closing(sqlite3.connect(path)) as database:
        return database.execute(sql, values).fetchall()
