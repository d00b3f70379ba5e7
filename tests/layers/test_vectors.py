import sqlite3
from contextlib import closing
from dataclasses import replace

import numpy as np
import pytest
import shapely
from osgeo import ogr

from plugin.core.problems import InputProblem, Stopped
from plugin.layers import vectors
from plugin.layers.vectors import (
    REAL,
    TEXT,
    WHOLE,
    Column,
    VectorLayer,
    area_of,
    points_wkb,
    polygon_wkb,
    read_vector,
    write_vector,
)

COLUMNS = (Column("stop", WHOLE), Column("population", REAL), Column("words", TEXT))
PLACES = [(500_000.25, 4_400_000.5), (500_010.0, 4_400_020.0)]
ROWS = [[1, 31_234.567, "é; \"x\""], [None, float("nan"), None]]


def layer(name="stand", crs="EPSG:32615", **changes):
    given = dict(columns=COLUMNS, geometries=points_wkb(PLACES), rows=ROWS, title="Stand")
    return VectorLayer(name, crs, **{**given, **changes})


@pytest.mark.parametrize("driver,name", [("GPKG", "a.gpkg"), ("ESRI Shapefile", "a.shp"),
                                         ("GeoJSON", "a.geojson")])
def test_points_read_back_with_ogr_alone(tmp_path, driver, name):
    write_vector(tmp_path / name, driver, [layer()])
    data = ogr.Open(str(tmp_path / name))
    found = data.GetLayer(0)
    assert found.GetFeatureCount() == 2
    assert found.GetSpatialRef().GetAuthorityCode(None) == "32615"
    first, second = list(found)
    point = first.GetGeometryRef()
    assert (point.GetX(), point.GetY()) == PLACES[0]
    assert [first.GetField(column.name) for column in COLUMNS] == ROWS[0]
    # What is missing is empty in the file, no number.
    assert [second.IsFieldSetAndNotNull(column.name) for column in COLUMNS] == [False] * 3


def test_a_geopackage_holds_several_layers_with_their_titles(tmp_path):
    write_vector(tmp_path / "a.gpkg", "GPKG", [layer("one"), layer("two", rows=ROWS[::-1])])
    data = ogr.Open(str(tmp_path / "a.gpkg"))
    assert [data.GetLayer(n).GetName() for n in range(data.GetLayerCount())] == ["one", "two"]
    assert data.GetLayer(0).GetMetadataItem("DESCRIPTION") == "Stand"
    assert [row["stop"] for row in read_vector(tmp_path / "a.gpkg", "two")[1]] == [None, 1]


def test_a_layer_reads_back_as_it_was(tmp_path):
    write_vector(tmp_path / "a.gpkg", "GPKG", [layer()])
    read, rows = read_vector(tmp_path / "a.gpkg")
    assert read.name == "stand" and read.geometries == points_wkb(PLACES)
    assert [(column.name, column.kind) for column in read.columns] == [
        (column.name, column.kind) for column in COLUMNS]
    assert rows == [{"stop": 1, "population": 31_234.567, "words": "é; \"x\""},
                    {"stop": None, "population": None, "words": None}]


def test_a_second_file_replaces_the_first(tmp_path):
    for rows in (ROWS, ROWS[:1]):
        write_vector(tmp_path / "a.gpkg", "GPKG", [layer(rows=rows, geometries=points_wkb(
            PLACES[:len(rows)]))])
    assert [path.name for path in tmp_path.iterdir()] == ["a.gpkg"]
    assert len(read_vector(tmp_path / "a.gpkg")[1]) == 1


def test_a_layer_without_rows_keeps_its_columns(tmp_path):
    write_vector(tmp_path / "a.gpkg", "GPKG", [layer(geometries=[], rows=[])])
    read, rows = read_vector(tmp_path / "a.gpkg")
    assert rows == [] and [column.name for column in read.columns] == [
        "stop", "population", "words"]


def many(count=12):
    generator = np.random.default_rng(2)
    return layer(geometries=points_wkb(generator.uniform(0, 1000, (count, 2))),
                 rows=[[number, number / 8, f"n{number}"] for number in range(count)])


def test_a_spatial_index_filled_on_the_way_holds_every_row(tmp_path, monkeypatch):
    write_vector(tmp_path / "at_the_end.gpkg", "GPKG", [many()])
    monkeypatch.setattr(vectors, "AT_ONCE", 5)
    write_vector(tmp_path / "on_the_way.gpkg", "GPKG", [many()])
    found = []
    for name in ("at_the_end", "on_the_way"):
        with closing(sqlite3.connect(tmp_path / f"{name}.gpkg")) as database:
            found.append([database.execute(asked).fetchall() for asked in (
                "SELECT type, name, sql FROM sqlite_master ORDER BY name",
                "SELECT * FROM rtree_stand_geom ORDER BY id", "SELECT * FROM stand",
                "SELECT * FROM gpkg_extensions", "SELECT * FROM gpkg_ogr_contents",
                "SELECT min_x, min_y, max_x, max_y FROM gpkg_contents")])
    assert found[0] == found[1] and len(found[0][1]) == 12


@pytest.mark.parametrize("driver,name", [("GPKG", "a.gpkg"), ("ESRI Shapefile", "a.shp"),
                                         ("GeoJSON", "a.geojson")])
def test_a_stop_between_any_rows_leaves_no_file(tmp_path, monkeypatch, driver, name):
    monkeypatch.setattr(vectors, "ROWS", 2)
    monkeypatch.setattr(vectors, "AT_ONCE", 5)
    for last in range(6):
        left = [last]

        def stop(_fraction, left=left):
            if left[0] == 0:
                raise Stopped
            left[0] -= 1

        with pytest.raises(Stopped):
            write_vector(tmp_path / name, driver, [many()], tick=stop)
        assert list(tmp_path.iterdir()) == []


def test_rows_of_all_layers_are_told_of_in_order_and_so_are_rows_read(tmp_path, monkeypatch):
    monkeypatch.setattr(vectors, "ROWS", 2)
    told = []
    write_vector(tmp_path / "a.gpkg", "GPKG", [many(), replace(many(4), name="more")],
                 tick=told.append)
    assert told == [two / 16 for two in range(0, 16, 2)]
    told.clear()
    read_vector(tmp_path / "a.gpkg", tick=told.append)
    assert told == [two / 12 for two in range(0, 12, 2)]


def test_points_are_written_as_ogr_writes_them():
    point = ogr.Geometry(ogr.wkbPoint)
    point.AddPoint_2D(*PLACES[1])
    assert points_wkb(PLACES)[1] == bytes(point.ExportToWkb(ogr.wkbNDR))
    assert points_wkb([]) == []


def test_what_cannot_be_written_or_read_is_refused_by_name(tmp_path):
    with pytest.raises(InputProblem, match=r"a\.gpkg could not be written"):
        write_vector(tmp_path / "a.gpkg", "GPKG", [layer(crs="no CRS at all")])
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(InputProblem, match=r"a\.gpkg cannot be read"):
        read_vector(tmp_path / "a.gpkg")
    write_vector(tmp_path / "a.gpkg", "GPKG", [layer()])
    with pytest.raises(InputProblem, match=r"a\.gpkg has no layer zones"):
        read_vector(tmp_path / "a.gpkg", "zones")


def test_polygons_are_cut_to_the_boundary_and_only_areas_stay():
    square = [np.array([(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)], float)]
    other = [np.array([(20, 0), (30, 0), (30, 10), (20, 10), (20, 0)], float)]
    # The boundary takes the right half of the first and touches the second along its side only.
    made = shapely.from_wkb(polygon_wkb([square, other], shapely.to_wkb(shapely.box(5, 0, 20, 10))))
    assert made.geom_type == "MultiPolygon" and made.equals(shapely.box(5, 0, 10, 10))
    assert polygon_wkb([square], shapely.to_wkb(shapely.box(10, 0, 20, 10))) is None
    assert polygon_wkb([square], shapely.to_wkb(shapely.box(50, 0, 60, 10))) is None
    assert area_of(polygon_wkb([square, other])) == 200  # whole numbers: exact


def test_a_polygon_keeps_its_holes():
    rings = [np.array(ring, float) for ring in (
        [(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)], [(4, 4), (4, 6), (6, 6), (6, 4), (4, 4)])]
    assert area_of(polygon_wkb([rings])) == 96
    assert area_of(polygon_wkb([rings], shapely.to_wkb(shapely.box(0, 0, 5, 10)))) == 48
