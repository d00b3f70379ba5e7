import json
from datetime import date

import pytest

from plugin.core.decide.cautions import DEEP_TILLAGE
from plugin.core.deliver.figures import figure
from plugin.core.deliver.summary import TITLES, summary_of
from plugin.core.units import METRIC, US

FIELD = {"name": "North", "grower": None, "crop": "corn", "season": 2026.0,
         "planting_date": date(2026, 4, 25), "visit_date": None, "target_stand": 32_000.0}
RECORD = {"file": "north.gpkg", "sha256": "ab12", "units": US, "field": FIELD,
          "counts": {"field": 1, "stand_counts": 24, "compaction_readings": 30, "scout_notes": 0,
                     "yield_points": 900, "probe_points": 4}}
MADE = {"program": "Spadework", "version": "1.0", "at": "2026-05-20T10:00:00+00:00"}


def surface(**parts):
    return {"method": "ordinary kriging", "observations": 1234, "deeper_or_more": 0,
            "shallower_or_less": 0, "verdict": "The map holds.", "mean": 27_804.0,
            "mean_error": 500.0, "places": 22, "validation": {"coverage_90": 0.913},
            "diagnostics": {"left_out": {"observed": [1.0, 0.0, 1.0],
                                         "predicted": [0.7, 0.6, 0.9]}},
            "model": {"family": "spherical", "nugget": 1.0, "partial_sill": 3.0, "range_m": 81.4},
            "fitted_by": "restricted maximum likelihood", **parts}


STAND = {"account": {"unit": "plants/ac", "stops": 22, "left_out": 2, "error_source": "rows",
                     "warnings": ["One.", "Two."]},
         "surface": surface(),
         "zones": [{"title": "below 16,000", "area": 12.0, "mean": 12_345.0, "deviation": 987.0}]}
PAN = {"account": {"limit": 300.0, "pressure_unit": "psi", "rating": {"text": "severe"},
                   "insertions": 30, "with_pan": 18, "none": 9, "refused": 3, "felt": 5,
                   "left_out": 1, "warnings": []},
       "chance": surface(verdict="The map holds: by so much."), "top": surface(mean=10.67),
       "bottom": surface(mean=15.75, deeper_or_more=3, shallower_or_less=1), "area_with_pan": 41.26}
YIELDS = [{"account": {"season": 2024, "unit": "bu/ac", "mean": 154.4, "kept": 700,
                       "left_out": {"no yield": 30, "narrow swath": 0, "outside the field": 20}},
           "surface": surface(method="mean of the readings", validation=None,
                              model={"family": "nugget", "nugget": 2.0, "partial_sill": 0.0})},
          {"account": {"season": 2025, "unit": "bu/ac", "mean": None, "kept": 148,
                       "left_out": {"no yield": 2, "narrow swath": 0, "outside the field": 0}},
           "surface": surface()}]
PLANS = {"replant": {"zones": [], "cautions": ["Dig first.", "Ask."]},
         "tillage": {"zones": [], "cautions": ["Ask.", "Wait till it is dry."]}}


def summary(**parts):
    return summary_of(RECORD, MADE, **{
        "area": 86.46, "stand": STAND, "pan": PAN, "yields": YIELDS, **PLANS,
        "lacking": ["No cost was given."], **parts})


def figures_in(part):
    if isinstance(part, dict):
        if "value" in part or {"low", "high"} <= set(part) and isinstance(part["low"], dict):
            yield part
        for value in part.values():
            yield from figures_in(value)
    elif isinstance(part, (list, tuple)):
        for value in part:
            yield from figures_in(value)


def test_the_summary_has_every_section_and_goes_to_json():
    found = summary()
    assert set(found) == {"made", "units", "field", "readings", "stand", "pan", "yields", "seen",
                          "soil", "findings", "replant", "tillage", "sidedress", "lime",
                          "cautions", "doubtful", "lacking"}
    assert json.loads(json.dumps(found, allow_nan=False)) == found
    texts = [each["text"] for each in figures_in(found)]
    assert len(texts) > 30
    assert all(isinstance(text, str) and text for text in texts)


def test_it_says_what_it_was_made_from():
    found = summary()
    assert found["made"] == {**MADE, "record": "north.gpkg", "sha256": "ab12"}
    assert found["field"] == {"name": "North", "grower": "", "crop": "corn", "season": "2026",
                              "planted": "2026-04-25", "visited": "", "area": figure(86.46, "ac")}
    assert found["units"] == "us"


def test_a_record_with_hardly_a_figure_still_has_its_summary():
    bare = dict.fromkeys(FIELD)
    found = summary_of({**RECORD, "units": METRIC, "field": bare, "counts": {"field": 1}}, MADE,
                       area=4.0)
    assert found["field"]["name"] == "Field without a name"
    assert (found["field"]["season"], found["field"]["area"]["text"]) == ("", "4.0 ha")
    assert (found["stand"], found["pan"], found["replant"], found["tillage"]) == (None,) * 4
    assert (found["readings"], found["yields"], found["cautions"], found["lacking"]) == ([],) * 4


def test_readings_are_counted_with_what_was_left_out_and_why():
    found = {each["layer"]: each for each in summary()["readings"]}
    assert set(found) == {"stand_counts", "compaction_readings", "yield_points", "probe_points"}
    assert {name: (each["count"]["value"], each["used"]["value"], each["note"])
            for name, each in found.items()} == {
        "stand_counts": (24, 22, "One. Two."), "compaction_readings": (30, 29, ""),
        "yield_points": (900, 848, "no yield 32; outside the field 20"), "probe_points": (4, 4, "")}
    assert all(each["title"] == TITLES[name] for name, each in found.items())


def test_the_stand_is_given_with_its_90_percent_interval():
    found = summary()["stand"]
    # Student's t of 21 degrees of freedom, 95 %: 1.7207; 27,804 -+ 1.7207 x 500
    assert found["interval"]["low"]["value"] == pytest.approx(26_943.6, abs=0.1)
    assert found["interval"]["text"] == "26,900 plants/ac to 28,700 plants/ac"


def test_the_interval_of_two_stops_is_as_wide_as_two_stops_are_unsure():
    found = summary(stand={**STAND, "surface": surface(places=2)})["stand"]
    # t of 1 degree of freedom, 95 %: 6.3138
    assert found["interval"]["low"]["value"] == pytest.approx(27_804 - 6.3138 * 500, abs=0.1)


def test_a_chance_map_is_judged_by_the_stops_it_has_right():
    # of the three left out, two lie on the right side of one half
    found = summary()["pan"]["maps"]["chance"]["verdict"]
    assert found == ("The map holds: of 3 stops, each left out in turn to check it, it was right "
                     "at 2.")


def test_the_stand_is_given_with_its_zones():
    found = summary()["stand"]
    assert (found["mean"]["text"], found["target"]["text"], found["stops"]["text"]) == (
        "27,800 plants/ac", "32,000 plants/ac", "22")
    assert found["error"] == ("The error of a count rests on the spread between rows counted side "
                              "by side.")
    assert found["zones"] == [{"title": "below 16,000", "area": figure(12.0, "ac"),
                               "mean": figure(12_345.0, "plants/ac"),
                               "standard_deviation": figure(987.0, "plants/ac")}]


def test_no_interval_of_a_stand_goes_below_no_plants():
    found = summary(stand={**STAND, "surface": surface(mean=300.0, mean_error=500.0)})["stand"]
    assert found["interval"]["low"]["value"] == 0.0


def test_a_mean_without_an_error_has_no_interval_and_no_target_none():
    made = summary_of({**RECORD, "field": {**FIELD, "target_stand": None}}, MADE, area=1.0,
                      stand={**STAND, "surface": surface(mean_error=None)})
    assert (made["stand"]["interval"], made["stand"]["target"]) == (None, None)


def test_the_pan_is_counted_and_mapped():
    found = summary()["pan"]
    assert {name: found[name]["text"] for name in
            ("limit", "insertions", "with_pan", "none", "refused", "felt", "top", "bottom",
             "area_with_pan")} == {
        "limit": "300 psi", "insertions": "30", "with_pan": "18", "none": "9", "refused": "3",
        "felt": "5", "top": "10.7 in", "bottom": "15.8 in", "area_with_pan": "41.3 ac"}
    assert found["rating"] == {"text": "severe"}


def test_a_pan_without_depths_says_so():
    found = summary(pan={**PAN, "top": None, "bottom": None})["pan"]
    assert (found["top"]["text"], found["bottom"]["text"]) == ("not known", "not known")


def test_a_map_is_said_how_it_was_made_and_how_it_held():
    text = json.dumps(summary()["stand"])
    # nugget 1 of a sill of 4
    for words in ("Ordinary kriging of 1,234 readings", "spherical model by restricted maximum",
                  "range parameter 81 m", "nugget 25 % of the sill",
                  "of readings left out, 91 % fell in their 90 % interval"):
        assert words in text
    assert "4 of them known only as limits" in json.dumps(summary()["pan"])
    mean = json.dumps(summary()["yields"][0])
    assert "Mean of 1,234 readings" in mean
    assert "range" not in mean


def test_what_the_mean_of_a_map_follows_is_said():
    followed = surface(method="universal kriging", drift=["easting", "northing", "elevation"])
    text = json.dumps(summary(stand={**STAND, "surface": followed})["stand"])
    for words in ("Universal kriging of 1,234 readings, about a mean that follows easting, "
                  "northing, elevation.", "elevation; spherical model by restricted maximum"):
        assert words in text


def test_a_season_is_counted():
    first, second = summary()["yields"]
    assert (first["season"], first["mean"]["text"], first["points"]["text"],
            first["removed"]["text"]) == ("2024", "154 bu/ac", "700", "50")
    assert (second["mean"]["text"], second["removed"]["text"]) == ("not known", "2")


def test_a_caution_of_both_plans_is_said_once():
    assert summary(pan=None)["cautions"] == ["Dig first.", "Ask.", "Wait till it is dry."]


def test_what_is_doubtful_is_counted_by_kind():
    found = summary(doubtful=[{"kind": "outlier", "title": "Unlike its neighbours", "count": 2}])
    assert found["doubtful"] == ["Unlike its neighbours: 2."]
    assert summary()["doubtful"] == []


def test_a_pan_without_a_plan_carries_the_cautions_of_tillage_all_the_same():
    assert summary(replant=None, tillage=None)["cautions"] == list(DEEP_TILLAGE)
