import hashlib
import math
import os
import shutil
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from osgeo import gdal, ogr, osr
from qgis.core import QgsGeometry, QgsPointXY, QgsVectorLayer, QgsVectorLayerUtils

from plugin.core.problems import InputProblem, Stopped
from plugin.core.units import METRIC, US
from plugin.record import at_rest, read
from plugin.record.read import open_record
from plugin.record.schema import LAYERS, layer_spec
from plugin.record.write import append_rows


def changed(record, change):
    """Change a record through OGR, as a person could in any GIS."""
    dataset = gdal.OpenEx(str(record), gdal.OF_VECTOR | gdal.OF_UPDATE)
    change(dataset)
    dataset.FlushCache()
    return record


def boundary_set(record, wkt):
    def change(dataset):
        layer = dataset.GetLayerByName("field")
        feature = layer.GetNextFeature()
        feature.SetGeometry(None if wkt is None else ogr.CreateGeometryFromWkt(wkt))
        layer.SetFeature(feature)
    return changed(record, change)


def seed_depths_moved(record, authority):
    """Make seed_depths anew in another CRS."""
    def change(dataset):
        dataset.DeleteLayer("seed_depths")
        reference = osr.SpatialReference()
        reference.ImportFromEPSG(authority)
        layer = dataset.CreateLayer("seed_depths", reference, ogr.wkbPoint)
        for column in layer_spec("seed_depths").columns:
            layer.CreateField(ogr.FieldDefn(column.name, ogr.OFTString))
    return changed(record, change)


def test_a_record_says_what_it_is(untouched):
    record = open_record(str(untouched))
    assert record.units == {"us": US, "metric": METRIC}[untouched.stem]
    assert record.currency == "USD" and record.path == str(untouched)
    reference = osr.SpatialReference(record.crs_wkt)
    assert reference.GetAuthorityCode(None) == "32615"
    assert record.counts == {layer.name: int(layer.name == "field") for layer in LAYERS}
    # 400 x 400 less half of 50 x 50.
    assert ogr.CreateGeometryFromWkb(record.boundary_wkb).Area() == pytest.approx(158_750)
    assert isinstance(record.boundary_wkb, bytes)
    assert isinstance(record.field["season"], int)


def test_the_sum_is_that_of_the_files_content(untouched):
    # hashlib over the file itself is what sha256sum prints.
    assert open_record(untouched).sha256 == hashlib.sha256(untouched.read_bytes()).hexdigest()


def test_reading_changes_no_byte_no_date_and_leaves_nothing_beside(record):
    append_rows(record, "stand_counts", [{"x": 500010.0, "y": 4400020.0}])
    before = record.read_bytes(), record.stat().st_mtime_ns
    open_record(record)
    assert (record.read_bytes(), record.stat().st_mtime_ns) == before
    assert [entry.name for entry in record.parent.iterdir()] == ["call.gpkg"]


def test_a_record_in_a_folder_nobody_may_write_to_is_read(record):
    os.chmod(record, 0o444)
    os.chmod(record.parent, 0o555)
    try:
        assert open_record(record).counts["field"] == 1
    finally:
        os.chmod(record.parent, 0o755)


def test_what_was_saved_but_not_yet_brought_into_the_file_is_read_too(record):
    with closing(sqlite3.connect(record)) as database:
        database.execute("PRAGMA journal_mode = wal")
        database.execute("INSERT INTO row_counts (reading_id, of_stop, plants) "
                         "VALUES ('a', 'b', 7)")
        database.commit()
        files = {entry: entry.read_bytes() for entry in record.parent.iterdir()}
        assert b"MEDIUMINT" not in files[record.parent / "call.gpkg-wal"]  # it holds the row alone
        found = open_record(record)
        assert {entry: entry.read_bytes() for entry in record.parent.iterdir()} == files
    assert found.table("row_counts")["plants"].tolist() == [7]
    assert found.sha256 != hashlib.sha256(files[record]).hexdigest()  # the row counts in it


def test_a_record_that_qgis_is_editing_is_read_as_it_was_last_saved(record):
    layer = QgsVectorLayer(f"{record}|layername=seed_depths", "open", "ogr")
    assert layer.startEditing()
    for depth, saved in ((1.75, True), (9.0, False)):
        feature = QgsVectorLayerUtils.createFeature(
            layer, QgsGeometry.fromPointXY(QgsPointXY(500010, 4400020)))
        feature.setAttribute("depth", depth)
        assert layer.addFeature(feature)
        assert not saved or layer.commitChanges(stopEditing=False)
    files = {entry: entry.read_bytes() for entry in record.parent.iterdir()}
    assert open_record(record).table("seed_depths")["depth"].tolist() == [1.75]
    assert {entry: entry.read_bytes() for entry in record.parent.iterdir()} == files
    assert layer.rollBack()


def test_a_write_that_was_cut_off_is_seen_as_it_was_before(record, tmp_path):
    """A program that died half way leaves its journal; the reader undoes the half on its copy."""
    append_rows(record, "seed_depths", [{"x": 1.0, "y": 1.0}])
    dead = tmp_path / "dead.gpkg"
    with closing(sqlite3.connect(record)) as database:
        database.execute("PRAGMA cache_size = 1")
        database.execute("PRAGMA cache_spill = 1")
        database.execute("BEGIN IMMEDIATE")
        database.executemany(
            "INSERT INTO row_counts (reading_id, of_stop) VALUES (?, ?)",
            ((f"{number:0200d}", "x") for number in range(5000)))
        shutil.copy(record, dead)
        shutil.copy(f"{record}-journal", f"{dead}-journal")
        database.rollback()
    before = dead.read_bytes()
    found = open_record(dead)
    assert found.counts["row_counts"] == 0 and found.counts["seed_depths"] == 1
    assert dead.read_bytes() == before


def test_a_record_that_changes_while_it_is_read_is_refused(record, monkeypatch):
    chunks_of = at_rest.chunks_of

    def read_while_another_writes(path):
        yield from chunks_of(path)
        os.utime(path, ns=(0, record.stat().st_mtime_ns + 1_000_000_000))

    monkeypatch.setattr(at_rest, "chunks_of", read_while_another_writes)
    with pytest.raises(InputProblem, match="call.gpkg is being written to just now. Try again"):
        open_record(record)


def stopping(after):
    """A tick that raises Stopped when it is called once more than `after` times."""
    left = [after]

    def tick(_fraction):
        if left[0] == 0:
            raise Stopped
        left[0] -= 1
    return tick


def test_reading_ticks_block_by_block_and_blocks_change_nothing(record, monkeypatch):
    append_rows(record, "seed_depths", [
        {"x": 500010.0 + number, "y": 4400020.0, "depth": 1.0 + number / 8, "note": f"n{number}"}
        for number in range(7)])
    whole = open_record(record)
    told = []
    monkeypatch.setattr(read, "ROWS", 2)
    monkeypatch.setattr(at_rest, "CHUNK", 4096)
    found = open_record(record, tick=told.append)
    assert len(told) >= 2 * (record.stat().st_size // 4096) + 4  # copy and digest, blocks of rows
    assert told == sorted(told) and told[-1] == 1.0
    assert found.sha256 == whole.sha256
    for name, column in whole.table("seed_depths").items():
        np.testing.assert_array_equal(found.table("seed_depths")[name], column)


def test_a_stop_anywhere_leaves_no_copy(record, monkeypatch, tmp_path):
    append_rows(record, "seed_depths", [{"x": 500010.0, "y": 4400020.0}] * 3)
    copies = tmp_path / "copies"
    copies.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(copies))
    told = []
    open_record(record, tick=told.append)
    for after in range(len(told)):
        with pytest.raises(Stopped):
            open_record(record, tick=stopping(after))
        assert list(copies.iterdir()) == []


def test_a_layer_comes_as_arrays_of_one_length_in_the_order_of_the_rows(record):
    append_rows(record, "seed_depths", [
        {"x": 500010.0, "y": 4400020.0, "depth": 1.5, "emerged": True, "note": "a", "stop": 4},
        {"x": 500011.0, "y": 4400021.0}])
    table = open_record(record).table("seed_depths")
    assert {name: len(values) for name, values in table.items()} == dict.fromkeys(
        ["fid", "reading_id", "stop", "taken_at", "row_unit", "depth", "emerged", "note",
         "x", "y"], 2)
    assert table["fid"].tolist() == [1, 2] and table["fid"].dtype == np.int64
    assert table["stop"].dtype == table["depth"].dtype == float
    assert table["stop"][0] == 4 and math.isnan(table["stop"][1])
    assert table["emerged"].tolist() == [True, None] and table["note"].tolist() == ["a", None]


def test_an_empty_layer_comes_as_empty_arrays_of_the_same_kinds(untouched):
    table = open_record(untouched).table("seed_depths")
    assert all(len(values) == 0 for values in table.values())
    assert table["depth"].dtype == float and table["note"].dtype == object
    with pytest.raises(InputProblem, match="no layer roots"):
        open_record(untouched).table("roots")


def test_a_row_whose_point_was_taken_away_has_no_position(record):
    append_rows(record, "seed_depths", [{"x": 500010.0, "y": 4400020.0}])

    def change(dataset):
        layer = dataset.GetLayerByName("seed_depths")
        feature = layer.GetNextFeature()
        feature.SetGeometry(None)
        layer.SetFeature(feature)

    table = open_record(changed(record, change)).table("seed_depths")
    assert math.isnan(table["x"][0]) and math.isnan(table["y"][0])


def test_a_column_of_the_users_own_does_no_harm(record):
    changed(record, lambda dataset: dataset.GetLayerByName("seed_depths").CreateField(
        ogr.FieldDefn("colour", ogr.OFTString)))
    assert "colour" not in open_record(record).table("seed_depths")


def test_an_empty_field_value_is_asked_for_in_words(untouched):
    record = open_record(untouched)
    assert record.field_value("season") == 2026
    with pytest.raises(InputProblem, match="^field, crop_price: Crop price is empty. Enter it in "
                                           "the record.$"):
        record.field_value("crop_price")
    with pytest.raises(InputProblem, match="^field: these are empty: Crop price, Replant date. "
                                           "Enter them in the record.$"):
        record.field_values(("crop_price", "season", "replant_date"))
    assert record.field_values(("season", "currency")) == {"season": 2026, "currency": "USD"}
    with pytest.raises(InputProblem, match="field has no column price"):
        record.field_value("price")


def test_a_file_that_is_no_record_is_refused(tmp_path):
    with pytest.raises(InputProblem, match="There is no record at .*none.gpkg"):
        open_record(tmp_path / "none.gpkg")
    text = tmp_path / "text.gpkg"
    text.write_text("not a database")
    with pytest.raises(InputProblem, match="text.gpkg is not a GeoPackage that can be read"):
        open_record(text)
    (tmp_path / "text.gpkg-wal").write_text("nor is this a log")
    with pytest.raises(InputProblem, match="text.gpkg is not a GeoPackage that can be read"):
        open_record(text)
    other = tmp_path / "other.gpkg"
    gdal.GetDriverByName("GPKG").Create(str(other), 0, 0, 0, gdal.GDT_Unknown).CreateLayer("roads")
    with pytest.raises(InputProblem, match="other.gpkg is no record: it has no layer field"):
        open_record(other)


@pytest.mark.parametrize("name", [layer.name for layer in LAYERS])
def test_a_layer_that_was_taken_out_is_named(record, name):
    changed(record, lambda dataset: dataset.DeleteLayer(name))
    with pytest.raises(InputProblem, match=f"it has no layer {name}"):
        open_record(record)


def test_a_column_that_was_taken_out_is_named(record):
    def change(dataset):
        layer = dataset.GetLayerByName("stand_counts")
        layer.DeleteField(layer.GetLayerDefn().GetFieldIndex("plants"))
    with pytest.raises(InputProblem, match=r"stand_counts has lost its column plants. Add it again"
                                           r" \(int\)"):
        open_record(changed(record, change))


def test_results_taken_for_a_record_are_told_apart_from_one_that_lost_a_column(tmp_path):
    path = tmp_path / "zones.gpkg"
    dataset = gdal.GetDriverByName("GPKG").Create(str(path), 0, 0, 0, gdal.GDT_Unknown)
    layer = dataset.CreateLayer("field")
    for name in ("name", "area", "area_unit"):
        layer.CreateField(ogr.FieldDefn(name, ogr.OFTString))
    layer = dataset = None
    with pytest.raises(InputProblem, match="zones.gpkg is no record: its layer field is another "
                                           "one that has the same name. Choose the GeoPackage that "
                                           "New field record made"):
        open_record(path)


@pytest.mark.parametrize("statement,words", [
    ("UPDATE field SET row_width = '75,5'",
     "field, row 1, row_width: '75,5' is no number. Enter one"),
    ("UPDATE field SET planter_rows = x'00'", r"field, row 1, planter_rows: b'\\x00' is no number"),
    ("INSERT INTO row_counts (reading_id, of_stop, plants) "
     "VALUES ('a', 'b', 7), ('c', 'b', 'viele'), ('d', 'b', '9 or so')",
     r"row_counts, row 2, plants: 'viele' is no number. Enter one, with a decimal point. The "
     r"same goes for 1 more\."),
    ("INSERT INTO yield_points (reading_id, flow) VALUES ('a', 1.5), ('b', '2,5')",
     "yield_points, row 2, flow: '2,5' is no number"),
])
def test_text_in_a_column_of_numbers_is_named_and_not_read_as_0(record, statement, words):
    with closing(sqlite3.connect(record)) as database:
        for name in ("yield_points", "field"):  # their spatial index needs functions of OGR
            for (trigger,) in database.execute(
                    "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?",
                    (name,)).fetchall():
                database.execute(f'DROP TRIGGER "{trigger}"')
        database.execute(statement)
        database.commit()
    with pytest.raises(InputProblem, match=words):
        open_record(record)


def test_a_season_that_is_no_number_is_refused_with_the_rows_alone(record):
    with closing(sqlite3.connect(record)) as database:
        for (trigger,) in database.execute(
                "SELECT name FROM sqlite_master WHERE type = 'trigger' "
                "AND tbl_name = 'yield_points'").fetchall():
            database.execute(f'DROP TRIGGER "{trigger}"')
        database.execute("DELETE FROM yield_points")
        database.execute("INSERT INTO yield_points (reading_id, season) "
                         "VALUES ('a', 2024), ('b', 'fall'), ('c', 2023), ('d', 2024)")
        database.commit()
    assert open_record(record, only=()).seasons == (2023, 2024)
    with pytest.raises(InputProblem, match="yield_points, row 2, season: 'fall' is no number"):
        open_record(record)


@pytest.mark.parametrize("layer,where", [("scout_notes", "scout_notes: the row after 1 is damaged"),
                                         ("field", "field: its first row is damaged")])
def test_a_damaged_geometry_is_refused_by_its_layer_and_row(record, layer, where):
    if layer == "scout_notes":
        append_rows(record, layer, [{"x": 500_100.0, "y": 4_400_100.0, "subject": "disease"}] * 2)
    with closing(sqlite3.connect(record)) as database:
        for (trigger,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger' "
                                           "AND tbl_name = ?", (layer,)).fetchall():
            database.execute(f'DROP TRIGGER "{trigger}"')
        database.execute(f"UPDATE {layer} SET geom = 'xxxxxxxxxxxxxxxxxxxx' "
                         f"WHERE fid = (SELECT max(fid) FROM {layer})")
        database.commit()
    with pytest.raises(InputProblem, match=where):
        open_record(record)


def test_a_number_that_was_entered_as_text_is_the_number(record):
    with closing(sqlite3.connect(record)) as database:
        database.execute("INSERT INTO row_counts (reading_id, of_stop, plants, length) "
                         "VALUES ('1', '2', '7', '17.5')")
        database.commit()
    table = open_record(record).table("row_counts")
    assert table["plants"].tolist() == [7] and table["length"].tolist() == [17.5]


def test_every_column_of_numbers_of_the_yield_points_is_looked_at():
    from plugin.record.read import NUMBERS, ROWS_OF
    assert set(ROWS_OF) == {layer.name for layer in LAYERS}
    for column in layer_spec("yield_points").columns:
        assert (f"typeof({column.name})" in ROWS_OF["yield_points"]) == (column.kind in NUMBERS)


@pytest.mark.parametrize("rows", [0, 2])
def test_a_record_has_one_field(record, rows):
    def change(dataset):
        layer = dataset.GetLayerByName("field")
        feature = layer.GetNextFeature()
        if rows == 0:
            layer.DeleteFeature(feature.GetFID())
        else:
            feature.SetFID(-1)
            feature.SetField("reading_id", "other")
            layer.CreateFeature(feature)
    with pytest.raises(InputProblem, match=f"field has {rows} rows; it must have one"):
        open_record(changed(record, change))


@pytest.mark.parametrize("wkt,words", [
    (None, "field has no boundary. Draw the outline"),
    ("MULTIPOLYGON EMPTY", "field has no boundary. Draw the outline"),
    ("MULTIPOLYGON (((0 0, 100 100, 100 0, 0 100, 0 0)))", "the boundary in field crosses itself"),
])
def test_a_boundary_that_cannot_be_used_is_refused(record, wkt, words):
    with pytest.raises(InputProblem, match=words):
        open_record(boundary_set(record, wkt))


def test_parts_that_meet_are_made_one(record):
    # Two squares side by side, 100 x 100 each.
    boundary_set(record, "MULTIPOLYGON (((0 0, 100 0, 100 100, 0 100, 0 0)), "
                         "((200 0, 300 0, 300 100, 200 100, 200 0)))")
    shape = ogr.CreateGeometryFromWkb(open_record(record).boundary_wkb)
    assert shape.GetGeometryName() == "MULTIPOLYGON" and shape.Area() == 20_000


@pytest.mark.parametrize("authority,called", [(4326, "WGS 84"), (2236, "Florida East")])
def test_a_record_not_in_metres_is_refused(record, authority, called):
    with pytest.raises(InputProblem, match=f"seed_depths is in .*{called}.*, which does not count "
                                           "in metres"):
        open_record(seed_depths_moved(record, authority))


def test_a_layer_in_another_zone_than_the_field_is_refused(record):
    with pytest.raises(InputProblem, match="seed_depths is in WGS 84 / UTM zone 16N, but field is "
                                           "in WGS 84 / UTM zone 15N. Reproject seed_depths"):
        open_record(seed_depths_moved(record, 32616))


def test_units_that_are_unknown_are_refused(record):
    def change(dataset):
        layer = dataset.GetLayerByName("field")
        feature = layer.GetNextFeature()
        feature.SetField("units", "imperial")
        layer.SetFeature(feature)
    with pytest.raises(InputProblem, match="field, units: 'imperial' is not one of us, metric"):
        open_record(changed(record, change))


def test_a_refused_record_leaves_no_copy_open(record):
    # Elsewhere than on Linux an open copy cannot be deleted. The error is held while we look.
    with pytest.raises(InputProblem, match="field has no boundary") as caught:
        open_record(boundary_set(record, None))
    opened = [os.readlink(file) for file in Path("/proc/self/fd").iterdir() if file.is_symlink()]
    assert opened and caught.value
    assert not [path for path in opened if "record.gpkg" in path]
