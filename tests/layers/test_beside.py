import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from plugin.core.problems import InputProblem, Stopped
from plugin.layers.beside import all_beside, beside
from plugin.layers.json_files import read_json, write_json
from plugin.layers.vectors import TEXT, Column, VectorLayer, read_vector, write_vector


def test_files_made_together_arrive_together_and_nothing_else_stays(tmp_path):
    with beside(tmp_path / "plan.shp") as unfinished:
        assert unfinished.name == "plan.shp" and unfinished.parent.parent == tmp_path
        for end in ("shp", "shx"):
            unfinished.with_suffix(f".{end}").write_text(end)
        assert not (tmp_path / "plan.shp").exists()
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {
        "plan.shp": "shp", "plan.shx": "shx"}


@pytest.mark.parametrize("error", [ValueError, KeyboardInterrupt, SystemExit])
def test_after_an_exception_the_old_file_is_there_and_nothing_beside_it(tmp_path, error):
    (tmp_path / "a.txt").write_text("old")
    with pytest.raises(error):
        with beside(tmp_path / "a.txt") as unfinished:
            unfinished.write_text("half")
            raise error
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]
    assert (tmp_path / "a.txt").read_text() == "old"


def test_a_folder_that_is_not_there_is_refused_in_words(tmp_path):
    with pytest.raises(InputProblem, match=r"a\.txt cannot be written to .*gone: No such.*Choose"):
        with beside(tmp_path / "gone" / "a.txt"):
            pass


def test_a_place_taken_by_a_folder_is_refused_in_words_and_nothing_stays(tmp_path):
    (tmp_path / "a.txt").mkdir()
    with pytest.raises(InputProblem, match=r"a\.txt could not be put in its place: .*Close it"):
        with beside(tmp_path / "a.txt") as unfinished:
            unfinished.write_text("new")
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]


def test_a_record_is_never_overwritten_and_another_geopackage_is(tmp_path):
    record, other = tmp_path / "call.gpkg", tmp_path / "zones.gpkg"
    for path, tables in ((record, ("field", "stand_counts", "compaction_profile")),
                         (other, ("field", "zones"))):
        with closing(sqlite3.connect(path)) as database:
            for table in tables:
                database.execute(f"CREATE TABLE {table} (a)")
    before = record.read_bytes()
    with pytest.raises(InputProblem, match=r"call\.gpkg is a field record.*never overwritten"):
        with beside(record) as unfinished:
            unfinished.write_text("new")
    assert record.read_bytes() == before
    with beside(other) as unfinished:
        unfinished.write_text("new")
    assert other.read_text() == "new"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["call.gpkg", "zones.gpkg"]


def test_a_new_geopackage_is_not_mixed_with_the_log_of_the_old_one(tmp_path):
    path = tmp_path / "zones.gpkg"

    def write(words):
        write_vector(path, "GPKG", [VectorLayer("zones", "EPSG:32615", (Column("words", TEXT),),
                                                [], [])] if words is None else [
            VectorLayer("zones", "EPSG:32615", (Column("words", TEXT),), [POINT], [[words]])])

    write("old")
    # A program that has the old one open keeps its changes in a log beside it.
    with closing(sqlite3.connect(path)) as database:
        database.execute("PRAGMA journal_mode = wal")
        database.execute("CREATE TABLE mine (a)")
        database.executemany("INSERT INTO mine VALUES (?)", [("x" * 2000,)] * 50)
        database.commit()
        assert (tmp_path / "zones.gpkg-wal").stat().st_size > 0
        write("new")
        assert [path.name for path in tmp_path.iterdir()] == ["zones.gpkg"]
        assert read_vector(path)[1] == [{"words": "new"}]
        with closing(sqlite3.connect(path)) as fresh:
            assert fresh.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            assert fresh.execute("SELECT name FROM sqlite_master WHERE name = 'mine'").fetchall() \
                == []


def test_the_search_tree_of_an_old_shapefile_goes_with_it(tmp_path):
    for name in ("plan.qix", "plan.sbn", "plan.sbx", "other.qix", "plan.shp.aux.xml"):
        (tmp_path / name).write_text("old")
    layer = VectorLayer("plan", "EPSG:32615", (Column("words", TEXT),), [POINT], [["new"]])
    write_vector(tmp_path / "plan.shp", "ESRI Shapefile", [layer])
    names = {path.name for path in tmp_path.iterdir()}
    assert names == {"plan.shp", "plan.shx", "plan.dbf", "plan.prj", "other.qix"}


@pytest.mark.parametrize("driver,name", [("GPKG", "a.gpkg"), ("ESRI Shapefile", "a.shp"),
                                         ("GeoJSON", "a.geojson"), ("GTiff", "a.tif"),
                                         ("JSON", "a.json")])
def test_a_full_disk_is_told_and_leaves_nothing(tmp_path, driver, name):
    # A child process that may write no file above 20 kB; each of these needs more.
    child = f'''
import resource, signal, sys
import numpy as np
from plugin.core.grid import Grid
from plugin.core.problems import InputProblem
from plugin.core.surface import Surface
from plugin.layers.json_files import write_json
from plugin.layers.rasters import write_surface
from plugin.layers.vectors import TEXT, Column, VectorLayer, points_wkb, write_vector
from plugin.layers.strict_ogr import spatial_reference
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))
try:
    if {driver!r} == "GTiff":
        values = np.random.default_rng(1).normal(size=(100, 100))
        wkt = spatial_reference("EPSG:32615").ExportToWkt()
        write_surface({str(tmp_path / name)!r}, Surface(
            "a", "", Grid(0.0, 100.0, 1.0, 100, 100, wkt), np.ones((100, 100)), values, values,
            {{}}), {{}})
    elif {driver!r} == "JSON":
        write_json({str(tmp_path / name)!r}, ["x" * 100] * 1000)
    else:
        write_vector({str(tmp_path / name)!r}, {driver!r}, [VectorLayer(
            "a", "EPSG:32615", (Column("words", TEXT, width=200),),
            points_wkb(np.zeros((2000, 2))), [["x" * 200]] * 2000)])
except (InputProblem, OSError) as problem:
    sys.exit(f"told: {{problem}}")
'''
    done = subprocess.run([sys.executable, "-c", child], capture_output=True, text=True,
                          env={**os.environ, "PYTHONPATH": os.getcwd()}, timeout=60)
    assert "told: " in done.stderr and done.returncode == 1, done.stderr
    assert list(tmp_path.iterdir()) == []


def test_json_keeps_numbers_words_and_nothing_that_json_lacks(tmp_path):
    import numpy as np
    write_json(tmp_path / "a.json", {
        "whole": np.int64(3), "real": np.float64(0.1), "nan": float("nan"), "inf": np.inf,
        "list": (1, np.float32(0.5)), "words": "é", 7: None, "true": True})
    text = (tmp_path / "a.json").read_text(encoding="utf-8")
    assert "NaN" not in text and "Infinity" not in text and "é" in text
    assert read_json(tmp_path / "a.json") == {
        "whole": 3, "real": 0.1, "nan": None, "inf": None, "list": [1, 0.5], "words": "é",
        "7": None, "true": True}


POINT = bytes.fromhex("0101000000" + "0000000000000000" * 2)


def test_several_files_are_put_in_their_places_together_or_not_at_all(tmp_path):
    one, other = tmp_path / "one.json", tmp_path / "other.json"
    with pytest.raises(Stopped), all_beside([one, "", other]) as (first, none, second):
        Path(first).write_text("1")
        assert none == "" and not one.exists()
        raise Stopped
    assert list(tmp_path.iterdir()) == []
    with all_beside([one, "", other]) as (first, _, second):
        Path(first).write_text("1")
        Path(second).write_text("2")
    assert [path.name for path in sorted(tmp_path.iterdir())] == ["one.json", "other.json"]
    assert (one.read_text(), other.read_text()) == ("1", "2")


def refused(*_, **__):
    raise OSError("no second names on this drive")


@pytest.mark.parametrize("second_names", [True, False])
def test_where_one_cannot_be_moved_the_others_are_as_they_were(tmp_path, monkeypatch, second_names):
    if not second_names:
        monkeypatch.setattr(os, "link", refused)
    one, fresh, taken = tmp_path / "one.shp", tmp_path / "fresh.json", tmp_path / "taken.json"
    one.write_text("old")
    one.with_suffix(".qix").write_text("old tree")
    taken.mkdir()
    with pytest.raises(InputProblem, match=r"taken\.json could not be put in its place"):
        with all_beside([one, fresh, taken]) as written:
            for path in written:
                Path(path).write_text("new")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["one.qix", "one.shp", "taken.json"]
    assert (one.read_text(), one.with_suffix(".qix").read_text()) == ("old", "old tree")


@pytest.mark.parametrize("second_names", [True, False])
def test_what_is_replaced_goes_with_or_without_second_names(tmp_path, monkeypatch, second_names):
    if not second_names:
        monkeypatch.setattr(os, "link", refused)
    one = tmp_path / "one.shp"
    one.write_text("old")
    one.with_suffix(".qix").write_text("old tree")
    with all_beside([one]) as (written,):
        Path(written).write_text("new")
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {"one.shp": "new"}
