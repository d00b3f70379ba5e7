"""checkrecord through the door: flags beside an untouched record."""
import datetime
import json

import pytest
from osgeo import ogr
from qgis.core import QgsProcessingException, QgsProcessingFeedback

from tests.algorithms.small_calls import make_call, sha256, stand_rows


@pytest.fixture
def doubtful(qgis_app, tmp_path):
    """A record with one count far outside and one typed per acre."""
    rows = [{**row, "taken_at": datetime.datetime(2026, 5, 12, 9, number)}
            for number, row in enumerate(stand_rows())]
    rows[11]["x"] += 900
    rows[4]["plants"] = 28_000
    return make_call(tmp_path / "call.gpkg", stands=rows)


def test_flags_say_what_why_and_what_to_do_and_the_record_stays(run, doubtful, out):
    before = sha256(doubtful)
    made = run("checkrecord", RECORD=doubtful, FLAGS=out / "flags.gpkg",
               ACCOUNT=out / "flags.json")
    assert sha256(doubtful) == before
    assert made["OUTSIDE_FIELD"] == 1 and made["COUNT_BASIS"] == 1 and made["DRY_SOIL"] == 0
    source = ogr.Open(str(out / "flags.gpkg"))  # kept: its features die with it
    flags = list(source.GetLayer(0))
    assert len(flags) == made["FOUND"]
    assert all(flag["what"] and flag["why"] and flag["remedy"] and flag["title"] for flag in flags)
    outside = next(flag for flag in flags if flag["kind"] == "outside_field")
    assert (outside["layer"], outside["row"]) == ("stand_counts", 12)
    assert outside.GetGeometryRef().GetX() == pytest.approx(stand_rows()[11]["x"] + 900)
    whole = next(flag for flag in flags if flag["kind"] == "missing_setting")
    assert whole.GetGeometryRef() is None
    account = json.loads((out / "flags.json").read_text())
    assert account["flags"] == made["FOUND"]
    assert {kind["kind"]: kind["count"] for kind in account["kinds"]}["outside_field"] == 1


def test_no_flag_leaves_an_empty_layer_of_points(run, doubtful, out, tmp_path):
    rows = [{**row, "taken_at": datetime.datetime(2026, 5, 12, 9, number)}
            for number, row in enumerate(stand_rows())]
    sound = make_call(tmp_path / "sound.gpkg", stands=rows,
                      field={"visit_date": datetime.date(2026, 5, 12)})
    assert run("checkrecord", RECORD=sound, FLAGS=out / "flags.gpkg")["FOUND"] == 0
    source = ogr.Open(str(out / "flags.gpkg"))
    layer = source.GetLayer(0)
    assert layer.GetFeatureCount() == 0 and layer.GetGeomType() == ogr.wkbPoint


def test_what_is_no_record_is_refused_and_nothing_is_written(run, out, tmp_path):
    wrong = tmp_path / "wrong.gpkg"
    wrong.write_bytes(b"no database")
    with pytest.raises(QgsProcessingException, match="wrong.gpkg is not a GeoPackage"):
        run("checkrecord", RECORD=wrong, FLAGS=out / "flags.gpkg")
    assert not list(out.iterdir())


def test_a_cancelled_check_writes_nothing(run, doubtful, out):
    feedback = QgsProcessingFeedback()
    feedback.cancel()
    assert run("checkrecord", feedback, RECORD=doubtful, FLAGS=out / "flags.gpkg") == {}
    assert not list(out.iterdir())
