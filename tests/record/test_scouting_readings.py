import pytest

from plugin.core.deliver.seen import seen_account
from plugin.record.read import open_record
from plugin.record.scouting_readings import photo_path, scouting_readings
from plugin.record.write import append_rows
from tests.algorithms.small_calls import SOUTH, WEST, change_rows, make_call

PLACE = {"x": WEST + 50, "y": SOUTH + 50}


def read(path):
    return scouting_readings(open_record(path))


@pytest.fixture
def call(qgis_app, tmp_path):
    path = make_call(tmp_path / "a.gpkg", stands=[
        {**PLACE, "stop": 1, "plants": 20, "length": 17.4, "leaf_collars": 2,
         "growth_stage_bbch": 12, "evenness": "very_uneven"},
        {**PLACE, "stop": 2, "plants": 20, "length": 17.4}])
    append_rows(path, "seed_depths", [
        {**PLACE, "stop": 1, "depth": 2.0, "emerged": True}, {**PLACE, "stop": 2, "depth": 1.5},
        {**PLACE, "depth": 1.75, "emerged": False}])
    append_rows(path, "scout_notes", [
        {**PLACE, "stop": 2, "subject": "insect", "organism": "not caught", "plants_checked": 50,
         "plants_affected": 2, "incidence": 90.0, "severity": 5.0, "leaf_collars": 2,
         "growth_stage_bbch": 17, "photo": "photos/a.jpg"},
        {**PLACE, "subject": "root", "root_rating": 2, "roots_turn_at": 7.0, "seen": "Bent."}])
    return path


def test_what_was_entered_is_read_and_counted_plants_go_before_a_judged_share(call):
    seen, photos = read(call)
    assert seen.stages == (("stop 1", 12, 2), ("stop 2", 17, 2))
    assert seen.evenness == ("very uneven",) and seen.seed_emerged == (True, None, False)
    assert seen.seed_stops.tolist() == [1, 2, -3] and seen.seed_depths.tolist() == [2, 1.5, 1.75]
    insect, root = seen.notes
    assert (insect.incidence, insect.severity, insect.where) == (0.04, 0.05, "stop 2")
    assert (root.root_rating, root.turn_at, root.where, root.incidence) == (2, 7.0, "row 2", None)
    assert photos == [{"file": "photos/a.jpg", "caption": "stop 2, insect", "found": False}]
    assert seen.warnings == ("scout_notes, row 1: leaf collars and BBCH growth stage do not agree. "
                             "Check both. Counted by the leaves.",)


def test_what_cannot_be_is_named_and_not_counted(call):
    change_rows(call, "seed_depths", lambda feature: {"depth": -1.0}
                if feature.GetFID() == 1 else None)
    change_rows(call, "scout_notes", lambda feature: {
        1: {"plants_affected": 60, "severity": 101.0}, 2: {"root_rating": 9}}[feature.GetFID()])
    seen, photos = read(call)
    assert {warning.split(":")[0] for warning in seen.warnings} == {
        "seed_depths, row 1, depth", "scout_notes, row 1, severity", "scout_notes, row 1",
        "scout_notes, row 2, root_rating"}
    account = seen_account(seen, photos)
    assert account["seeds"]["mean"]["value"] == pytest.approx((1.5 + 1.75) / 2)
    insect = account["subjects"][0]
    assert insect["severity"] is None and insect["incidence"]["text"] == "90 %"


def test_an_empty_record_has_nothing_to_tell(qgis_app, tmp_path):
    assert seen_account(*read(make_call(tmp_path / "a.gpkg"))) is None


def test_only_pictures_below_the_records_folder_are_found(tmp_path):
    folder = tmp_path / "call"
    (folder / "photos").mkdir(parents=True)
    for place in (folder / "photos" / "a.JPG", tmp_path / "secret.png", folder / "notes.txt"):
        place.write_bytes(b"x")
    assert photo_path(folder, "photos/a.JPG") == (folder / "photos" / "a.JPG").resolve()
    for name in ("../secret.png", str(tmp_path / "secret.png"), "notes.txt", "photos", "b.jpg",
                 "https://example.org/a.jpg", "a\0.jpg", "x" * 5000 + ".jpg"):
        assert photo_path(folder, name) is None, name
