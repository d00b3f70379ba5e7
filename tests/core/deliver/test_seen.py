import numpy as np
import pytest

from plugin.core.deliver.seen import Note, Seen, seen_account


def note(where="stop 1", **changes):
    return Note(**{"where": where, "subject": "insect", "organism": "", "words": "",
                   "incidence": None, "severity": None, "checked": None, "affected": None,
                   "root_rating": None, "turn_at": None, **changes})


def seen(**changes):
    return Seen(**{"crop": "corn", "depth_unit": "in", "stages": (), "evenness": (),
                   "seed_stops": np.array([], int), "seed_depths": np.array([]),
                   "seed_emerged": (), "notes": (), "warnings": (), **changes})


SEEDS = {"seed_stops": np.array([1, 1, 2, 3, 3]),
         "seed_depths": np.array([1.5, 2.5, 2.5, 0.75, 2.25]),
         "seed_emerged": (True, True, None, False, True)}


def test_nothing_seen_makes_no_account():
    assert seen_account(seen(), []) is None
    assert seen_account(seen(), [{"file": "a.jpg", "caption": "", "found": False}])["photos"]


def test_seeds_are_told_with_depth_interval_and_share_emerged():
    found = seen_account(seen(**SEEDS), [])["seeds"]
    # Means of the stops 2.0, 2.5, 1.5: see test_clustered for the interval.
    assert (found["mean"]["text"], found["interval"]["text"]) == ("2.0 in", "1.2 in to 2.8 in")
    assert found["emerged"]["text"] == "75 %"  # 3 of the 4 told
    assert (found["seeds"]["text"], found["stops"]["text"]) == ("5", "3")
    assert found["too_shallow"]["limit"]["text"] == "1.0 in"
    assert found["too_shallow"]["seeds"]["text"] == "1"
    assert found["advised"]["text"] == "1.5 in to 2.0 in" and "too_deep" not in found
    # deviation of 1.5 2.5 2.5 0.75 2.25 is 0.7624, over the mean of 2: 38 %
    assert found["variation"]["text"] == "38 %"


def test_depths_in_cm_are_set_against_advice_in_cm_and_a_crop_without_advice_against_none():
    found = seen_account(seen(**SEEDS, depth_unit="cm"), [])["seeds"]
    assert found["advised"]["text"] == "3.8 cm to 5.1 cm"
    assert found["too_shallow"]["seeds"]["value"] == 5  # all are below 2.54 cm
    other = seen_account(seen(**SEEDS, crop="wheat"), [])["seeds"]
    assert "advised" not in other and "advice_source" not in other


def test_incidence_and_severity_are_averaged_over_notes_and_plants_are_pooled():
    notes = (note(incidence=0.10, severity=0.2, checked=20.0, affected=2.0),
             note("stop 2", incidence=0.30, checked=20.0, affected=6.0),
             note("stop 2", incidence=0.5), note(subject="disease", organism="rust"))
    disease, insect = seen_account(seen(notes=notes), [])["subjects"]
    assert (insect["notes"]["text"], insect["stops"]["text"]) == ("3", "2")
    assert (insect["incidence"]["text"], insect["incidence_range"]["text"]) == (
        "30 %", "10 % to 50 %")
    assert (insect["severity"]["text"], insect["severity_range"]) == ("20 %", None)
    assert (insect["plants"]["text"], insect["counted_incidence"]["text"]) == ("40", "20 %")
    assert (disease["organism"], disease["incidence"]) == ("rust", None)


def test_roots_are_counted_by_rating_with_the_depth_they_turn_at():
    notes = (note(subject="root", root_rating=3, turn_at=7.0),
             note(subject="root", root_rating=3, turn_at=10.0), note(root_rating=0))
    found = seen_account(seen(notes=notes), [])["roots"]
    assert [(one["title"], one["count"]["value"]) for one in found["ratings"]] == [
        ("0, sound", 1), ("3, severe", 2)]
    assert (found["turn_at"]["text"], found["turn_range"]["text"]) == (
        "8.5 in", "7.0 in to 10.0 in")
    assert "own scale" in found["scale"]


def test_stages_and_evenness_are_counted_and_the_memory_is_owned_up_to():
    found = seen_account(seen(stages=(("stop 1", 12, 2), ("stop 2", None, 2), ("stop 3", 11, None)),
                              evenness=("even", "uneven", "even")), [])
    assert [(one["title"], one["count"]["value"]) for one in found["growth"]] == [
        ("V1 (BBCH 11)", 1), ("V2 (BBCH 12)", 2)]
    assert [(one["title"], one["count"]["value"]) for one in found["evenness"]] == [
        ("even", 2), ("uneven", 1)]
    assert any("from memory" in sentence for sentence in found["said"])


@pytest.mark.parametrize("changes,words", [
    ({"notes": (note(),)}, "not of the field"), (SEEDS, "Of the seeds dug")])
def test_what_figures_are_of_is_said(changes, words):
    assert any(words in sentence for sentence in seen_account(seen(**changes), [])["said"])
