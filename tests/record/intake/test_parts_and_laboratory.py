"""Readings that belong to others: tapes of a stop, results of a sample, photos of a reading."""
import sqlite3
from contextlib import closing

import numpy as np
import pytest

from plugin.core.intake.mapping import ColumnUse, Mapping
from plugin.core.problems import InputProblem
from plugin.record.intake.importing import Wish, import_readings
from plugin.record.intake.photos import geotag
from plugin.record.read import open_record
from plugin.record.write import append_rows
from tests.record.intake.conftest import rows_of, sha
from tests.record.intake.good_files import A, B, P
from tests.record.intake.small_files import geotagged_jpeg


@pytest.fixture
def csv(tmp_path):
    """Return csv(text): a file of that text."""
    def made(text, name="a.csv"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path
    return made


def reasons(done):
    return {one.row: one.reason for one in done.set_aside}


def test_plants_along_a_tape_go_to_the_stand_count_of_their_stop(empty, csv):
    record = empty()
    stop, = append_rows(record, "stand_counts", [
        {"x": 500050.0, "y": 4400050.0, "stop": 7, "plants": 20}])
    tape = csv("Stop,Row,Position (in)\n7,4,3.5\n7,4,9\n8,4,2\n")
    done = import_readings(record, tape, Wish("plant_positions"))
    assert done.readings == {"plant_positions": 2} and list(reasons(done)) == [4]
    assert "the record has no place for stop 8" in reasons(done)[4]
    assert rows_of(record, "SELECT of_stop, row_unit, position FROM plant_positions") == [
        (stop, 4, 3.5), (stop, 4, 9.0)]
    before = sha(record)
    again = import_readings(record, tape, Wish("plant_positions"))
    assert again.imported == 0 and sha(record) == before
    longer = csv("Stop,Row,Position (in)\n7,4,3.5\n7,4,9\n7,4,15\n", "b.csv")
    assert import_readings(record, longer, Wish("plant_positions")).imported == 1


def test_a_tape_with_a_place_makes_its_own_stop_and_a_second_file_finds_it(empty, csv):
    record = empty()
    tape = csv(f"Stop,Lon,Lat,Plant 1 (in),Plant 2 (in)\n7,{A},3,9\n")
    done = import_readings(record, tape, Wish("plant_positions"))
    assert done.readings == {"stand_counts": 1, "plant_positions": 2}
    assert import_readings(record, tape, Wish("plant_positions")).imported == 0
    more = import_readings(record, csv("Stop,Position (in)\n7,20\n", "b.csv"),
                           Wish("plant_positions"))
    assert more.readings == {"plant_positions": 1}
    assert rows_of(record, "SELECT count(*) FROM stand_counts") == [(1,)]


def test_two_stand_counts_of_one_number_cannot_tell_whose_tape_it_is(empty, csv):
    record = empty()
    append_rows(record, "stand_counts", [{"x": 500050.0, "y": 4400050.0, "stop": 7}] * 2)
    done = import_readings(record, csv("Stop,Position (in)\n7,20\n"), Wish("plant_positions"))
    assert "2 stand counts of the record have the stop 7" in reasons(done)[2]


def test_readings_without_coordinates_lie_where_their_stop_is(empty, csv):
    record = empty()
    append_rows(record, "scout_notes", [{"x": 500060.0, "y": 4400070.0, "stop": 3}])
    import_readings(record, csv("Stop,Depth (in)\n3,2\n"), Wish("seed_depths"))
    table = open_record(record).table("seed_depths")
    assert (table["x"][0], table["y"][0]) == (500060.0, 4400070.0)


def test_a_bad_depth_takes_its_whole_profile_along_and_no_other(empty, csv):
    record = empty()
    done = import_readings(record, csv(
        f"Stop,Lon,Lat,Depth (in),psi\n1,{A},2,100\n1,{A},4,x\n2,{B},2,100\n"),
        Wish("compaction_readings"))
    assert done.imported == 1 and list(reasons(done)) == [2, 3]
    assert "same reading as row 3, which is set aside" in reasons(done)[2]
    assert rows_of(record, "SELECT stop FROM compaction_readings") == [(2,)]


@pytest.mark.parametrize("header", ["Length (m)", "Row length (m)", "Length of row, m"])
def test_the_length_of_row_of_a_stop_is_its_own_whatever_it_is_called(empty, csv, header):
    record = empty()
    import_readings(record, csv(f"Stop;Lon;Lat;Plants;{header}\n"
                                f"7;{A.replace(',', ';')};31;5.31\n"), Wish("stand_counts"))
    (plants, length), = rows_of(record, "SELECT plants, length FROM stand_counts")
    assert (plants, length) == (31, pytest.approx(5.31 / 0.3048))


def test_what_belongs_to_a_part_that_is_not_read_is_refused_before_it_is_lost(empty, csv):
    record = empty()
    before = sha(record)
    mapping = Mapping(tuple(ColumnUse(header, target) for header, target in (
        ("Stop", "stop"), ("Lon", "x"), ("Lat", "y"), ("Plants", "plants"),
        ("Length", "row_counts.length"))))
    with pytest.raises(InputProblem, match="reads Length as row_counts.length, but no column as "
                                           "row_counts.plants, without which it would be lost"):
        import_readings(record, csv(f"Stop,Lon,Lat,Plants,Length\n7,{A},31,17.4\n"),
                        Wish("stand_counts", mapping=mapping))
    assert sha(record) == before


def test_a_stand_given_as_plants_per_acre_is_counted_back(empty, csv):
    # 27 plants on 17.4 ft of a 30 in row: 27 / (17.4 * 2.5 / 43560) = 27,037 plants/ac
    record = empty()
    done = import_readings(record, csv(
        f"Stop,Lon,Lat,Plants/ac,Length (ft),Row width (in)\n1,{A},27037,17.4,30\n"
        f"2,{B},27500,17.4,30\n3,{B},27037,,30\n"), Wish("stand_counts"))
    assert rows_of(record, "SELECT stop, plants, length FROM stand_counts") == [(1, 27, 17.4)]
    assert "would be 27.46 plants on that length" in reasons(done)[3]
    assert "only with the length and the row width" in reasons(done)[4]


def test_values_of_the_mapping_go_to_every_reading_that_has_none(empty, csv):
    record = empty()
    columns = (ColumnUse("Lon", "x"), ColumnUse("Lat", "y"), ColumnUse("Cone", "cone"),
               ColumnUse("Pan top (in)", "felt_top", "in"))
    table = csv(f"Lon,Lat,Cone,Pan top (in)\n{A},large,7\n{B},,8\n")
    with pytest.raises(InputProblem, match="'mud' for moisture, which is not one of dry"):
        import_readings(record, table, Wish("compaction_readings", mapping=Mapping(
            columns, {"moisture": "mud"})))
    import_readings(record, table, Wish("compaction_readings", mapping=Mapping(
        columns, {"cone": "small", "moisture": "moist"})))
    assert rows_of(record, "SELECT cone, moisture FROM compaction_readings") == [
        ("large", "moist"), ("small", "moist")]


LABORATORY = "Sample,pH,Buffer pH,OM (%),P (ppm),K (ppm)\n"


def points(record):
    return append_rows(record, "probe_points", [
        {"x": 500050.0, "y": 4400050.0, "stop": 1, "sample_number": "A17", "ph": 6.0,
         "ph_method": "meter"},
        {"x": 500060.0, "y": 4400050.0, "stop": 2, "sample_number": "18"},
        {"x": 500070.0, "y": 4400050.0, "sample_number": "19"},
        {"x": 500080.0, "y": 4400050.0, "sample_number": "19"}])


def test_results_of_the_laboratory_fill_what_is_empty_and_change_nothing(empty, csv):
    record = empty()
    ids = points(record)
    results = csv(LABORATORY + "a17,,6.5,3.2,22,180\n18,5.9,6.4,3.0,20,170\n19,6,6,3,1,1\n"
                               "20,6,6,3,1,1\n,6,6,3,1,1\n18,7.9,6.4,3.0,20,170\n18,,,,,\n")
    done = import_readings(record, results, Wish("laboratory"))
    assert (done.rows, done.imported) == (7, 2)
    said = reasons(done)
    assert "2 probe points have the sample number '19'" in said[4]
    assert "no probe point has the sample number '20'" in said[5]
    assert "it is empty. Enter the number on the bag" in said[6]
    assert "ph: the probe point has 5.9 already, the result is 7.9" in said[7]
    assert "it holds no result" in said[8]
    found = rows_of(record, "SELECT reading_id, ph, ph_method, buffer_ph, phosphorus_ppm "
                            "FROM probe_points ORDER BY fid LIMIT 2")
    assert found == [(ids[0], 6.0, "meter", 6.5, 22.0), (ids[1], 5.9, "laboratory", 6.4, 20.0)]
    assert rows_of(record, "SELECT source_row, layer, reading_id FROM imported_rows") == [
        (2, "probe_points", ids[0]), (3, "probe_points", ids[1])]
    before = sha(record)
    assert import_readings(record, results, Wish("laboratory")).imported == 0
    assert sha(record) == before


@pytest.fixture
def photos(tmp_path):
    """A folder with a photo by name and two with geotags: 5 m from A, and 300 m away."""
    folder = tmp_path / "camera"
    folder.mkdir()
    longitude, latitude = map(float, P[0])
    geotagged_jpeg(folder / "IMG_1.JPG", longitude, latitude + 5 / 111_000)
    geotagged_jpeg(folder / "IMG_2.JPG", longitude, latitude + 300 / 111_000)
    geotagged_jpeg(folder / "stem.jpg", 0.0, 0.0)
    return folder


def test_a_geotag_is_read_as_it_was_written(photos):
    longitude, latitude = geotag(photos / "IMG_1.JPG")
    # a ten-thousandth of a second of arc is 3 mm
    assert (longitude, latitude) == pytest.approx(
        (float(P[0][0]), float(P[0][1]) + 5 / 111_000), abs=1e-7)


def test_photos_come_along_by_name_and_by_geotag(empty, csv, photos):
    record = empty()
    table = csv(f"Stop,Lon,Lat,Seen,Photo\n1,{A},yellow,\n2,{B},stem,sub\\STEM.jpg\n"
                f"3,{B},x,gone.jpg\n")
    done = import_readings(record, table, Wish("scout_notes", photos=str(photos)))
    assert rows_of(record, "SELECT stop, photo FROM scout_notes ORDER BY stop") == [
        (1, "us-photos/IMG_1.JPG"), (2, "us-photos/stem.jpg")]
    assert "there is no 'gone.jpg' in the folder of photos" in reasons(done)[4]
    assert any("IMG_2.JPG" in one for one in done.warnings)
    kept = record.parent / "us-photos"
    assert sorted(path.name for path in kept.iterdir()) == ["IMG_1.JPG", "stem.jpg"]
    assert (kept / "stem.jpg").read_bytes() == (photos / "stem.jpg").read_bytes()


def test_photos_of_an_import_that_fails_do_not_stay(empty, csv, photos):
    record = empty()

    def stop(fraction):
        if fraction > 0.6:
            raise KeyboardInterrupt
    with pytest.raises(KeyboardInterrupt):
        import_readings(record, csv(f"Stop,Lon,Lat,Seen\n1,{A},yellow\n"),
                        Wish("scout_notes", photos=str(photos)), stop)
    assert [path.name for path in record.parent.iterdir()] == [record.name]


def test_a_folder_of_photos_that_is_not_there_is_named(empty, csv, tmp_path):
    with pytest.raises(InputProblem, match="There is no folder .*nowhere of photos"):
        import_readings(empty(), csv(f"Stop,Lon,Lat,Seen,Photo\n1,{A},x,a.jpg\n"),
                        Wish("scout_notes", photos=str(tmp_path / "nowhere")))


def test_what_is_written_is_read_by_ogr_with_its_place_its_index_and_its_extent(empty, csv):
    from osgeo import ogr
    record = empty()
    import_readings(record, csv(f"Longitude,Latitude,Date,Flow (lb/s)\n{A},2025-10-05,20\n"
                                f"{B},2025-10-05,21\n"), Wish("yield_points"))
    data = ogr.Open(str(record))
    layer = data.GetLayer("yield_points")
    west, east, south, north = layer.GetExtent()
    places = np.array([[row.GetGeometryRef().GetX(), row.GetGeometryRef().GetY()]
                       for row in layer])
    assert (west, east) == tuple(places[[0, 1], 0]) and (south, north) == (
        places[:, 1].min(), places[:, 1].max())
    layer.SetSpatialFilterRect(west - 1, south - 1, west + 1, north + 1)
    assert layer.GetFeatureCount() == 1
    assert [data.GetLayer(name).GetFeatureCount() for name in ("imports", "imported_rows")] == [
        1, 2]
    data = layer = None
    assert rows_of(record, "SELECT count(*) FROM sqlite_master WHERE name IN "
                           "('rtree_yield_points_geom_insert', "
                           "'trigger_insert_feature_count_yield_points')") == [(2,)]
    with closing(sqlite3.connect(record)) as database:  # the count is kept once it is known
        database.execute("UPDATE gpkg_ogr_contents SET feature_count = 2 "
                         "WHERE table_name = 'yield_points'")
        database.commit()
    import_readings(record, csv(f"Longitude,Latitude,Date,Flow (lb/s)\n{A},2025-10-05,22\n",
                                "b.csv"), Wish("yield_points"))
    assert rows_of(record, "SELECT feature_count FROM gpkg_ogr_contents "
                           "WHERE table_name = 'yield_points'") == [(3,)]
    data = ogr.Open(str(record))
    assert data.GetLayer("yield_points").GetFeatureCount() == 3
