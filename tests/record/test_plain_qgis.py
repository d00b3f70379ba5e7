"""A record is filled in a QGIS of its own profile that has never heard of the plugin."""
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from plugin.record.probe_readings import nitrate_readings
from plugin.record.read import open_record


@pytest.fixture(scope="module")
def filled(tmp_path_factory, boundary_wkb):
    """Return what plain QGIS saw while it filled a record, and the record."""
    from plugin.record.create import create_record
    folder = tmp_path_factory.mktemp("plain")
    path = folder / "call.gpkg"
    create_record(path, boundary_wkb, "EPSG:32615", units="us",
                  field={"crop": "corn", "row_width": 30.0})
    kept = {name: value for name, value in os.environ.items()
            if name not in ("PYTHONPATH", "QGIS_PLUGINPATH")}
    done = subprocess.run(
        [sys.executable, str(Path(__file__).with_name("plain_qgis.py")), str(path)], cwd=folder,
        capture_output=True, text=True, timeout=120,
        env={**kept, "QT_QPA_PLATFORM": "offscreen",
             "QGIS_CUSTOM_CONFIG_PATH": str(folder / "profile")})
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout.splitlines()[-1]), path


def test_the_plugin_was_not_there(filled):
    assert filled[0]["plugin"] == []


def test_all_rows_were_saved_but_for_those_that_cannot_be(filled):
    seen, _ = filled
    assert {name: value for name, value in seen.items()
            if name.endswith(("saved", "committed"))} == {
        "negative saved": False, "wrong note saved": False, "stop saved": True,
        "stop committed": True, "rows committed": True, "second stop saved": True,
        "second sample saved": True,
        "second stop committed": True, "sample saved": True, "sample committed": True,
        "note saved": True, "note committed": True}


def test_the_form_has_its_tabs_and_the_key_visits_its_columns_in_their_order(filled):
    seen, _ = filled
    assert seen["tabs"] == ["Count", "Single rows", "Tape", "Crop and notes", "Identity"]
    wanted = ["stop", "taken_at", "method", "plants", "length", "rows", "row_width"]
    assert [name for name in seen["order"] if name in wanted] == wanted


def test_the_rows_of_a_stop_are_found_by_their_relation_and_have_their_editors(filled):
    seen, _ = filled
    assert seen["children"] == [74, 76]
    assert len(seen["relation editors"]) >= 2


def test_a_new_row_starts_with_what_is_known(filled):
    record = open_record(filled[1])
    stops, notes = record.table("stand_counts"), record.table("scout_notes")
    assert stops["stop"].tolist() == [1, 2]
    assert stops["method"].tolist() == ["wheel", "wheel"]  # that of the stop before
    assert stops["row_width"].tolist() == [30.0, 30.0] and None not in stops["taken_at"]
    assert len(set(stops["reading_id"])) == 2
    assert notes["stop"].tolist() == [1]  # the stop 2 m beside it, not the one 88 m away
    assert notes["photo"].tolist() == ["a.jpg"] and filled[0]["photo relative to the project"]


def test_a_nitrate_core_after_another_starts_with_its_kind_and_depth_and_counts(filled):
    record = open_record(filled[1])
    samples = record.table("probe_points")
    assert samples["core_type"].tolist() == ["nitrate", "nitrate"]
    assert samples["bottom_depth"].tolist() == [12.0, 12.0]
    assert samples["stop"].tolist() == [1, 2] and samples["top_depth"].tolist() == [0.0, 0.0]
    assert nitrate_readings(record).observations.values.tolist() == [14.0, 18.0]


def test_what_is_asked_is_shown_and_the_rest_is_not(filled):
    usual, odd = (filled[0][f"asked of {which} stop"] for which in ("a usual", "an odd"))
    assert "Row or wheel" in usual and "Hoop" not in usual
    assert set(odd) - set(usual) == {"Enter plants and length, or count the rows one by one.",
                                     "Length (ft): above 1,000 is unlikely. Check it."}
