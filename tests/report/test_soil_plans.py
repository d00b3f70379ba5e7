"""The pages of the sidedress and the lime plan, read back from the PDF."""
import pytest

from tests.report.field_call_folder import figure, span, summary
from tests.report.pdf_reading import pages_of, squeezed, words_of


def plan(title, headline, rate_unit, gain):
    money = figure(gain, "USD", f"USD {gain:,}")
    zones = [{"zone": str(number), "action": action, "rate": figure(rate, rate_unit, text),
              "area": figure(40.0, "ac", f"4{number}.5 ac"),
              "gain_per_area": figure(gain / 40, "USD/ac", f"USD {gain / 40:.2f}/ac"),
              "gain": money, "interval": span(gain, gain, "USD"),
              "chance": figure(97.0, "%", f"9{number} %"),
              "figures": {"need, low": figure(41.0, rate_unit, f"41 {rate_unit}"),
                          "more up to a nitrate of": figure(15.6, "ppm", "15.6 ppm")}}
             for number, action, rate, text in ((1, "none", 0.0, f"0 {rate_unit}"),
                                                (2, "apply", 70.0, f"70 {rate_unit}"))]
    return {"title": title, "headline": headline, "zones": zones,
            "totals": {"area_by_action": {"apply": figure(42.5, "ac", "42.5 ac")}, "gain": money,
                       "interval": span(gain, gain, "USD")},
            "settings": [], "sources": [f"The source of the {title.lower()}."],
            "break_even": None, "cautions": [f"The caution of the {title.lower()}."]}


@pytest.fixture
def said():
    """A summary with both plans, and the maps that the first rests on."""
    made = {"method": "Mean of 10 readings.", "detail": "Mean of 10 readings, all of one day.",
            "verdict": "The 10 readings do not support a map of nitrate."}
    soil = {"name": "nitrate_n_ppm", "title": "Nitrate nitrogen", "map": made, "warnings": []}
    return {**summary(), "soil": [soil],
            "sidedress": plan("Sidedress plan", "Sidedress 70 lb/ac on 42.5 ac.", "lb/ac", 2_379),
            "lime": plan("Lime plan", "Spread lime on 42.5 ac.", "ton/ac", 0)}


def test_both_plans_are_printed_with_headline_source_and_caution(said, printed):
    path = printed(said)
    first, words = pages_of(path)[0], squeezed(words_of(path))
    for key in ("sidedress", "lime"):
        assert said[key]["headline"] in first
        for text in (*said[key]["sources"], *said[key]["cautions"]):
            assert squeezed(text) in words
    assert "Chance that some is needed" in " ".join(words_of(path).split())
    assert squeezed(said["soil"][0]["map"]["detail"]) in words.split("Howitwasdone")[1]


def test_money_is_printed_only_where_there_is_something_to_set_it_against(said, printed):
    pages = {key: " ".join(page for page in pages_of(printed({**said, other: None}))[1:]
                           if said[key]["title"] in page)
             for key, other in (("sidedress", "lime"), ("lime", "sidedress"))}
    assert "Saving per area" in pages["sidedress"] and "USD 2,379" in pages["sidedress"]
    assert "Saving per area" not in pages["lime"] and "USD 0" not in pages["lime"]


def test_a_report_without_them_does_not_call_them_missing(printed):
    first = pages_of(printed(summary()))[0]
    assert "Sidedress" not in first and "Lime" not in first


def test_a_summary_whose_soil_plan_is_no_plan_is_refused():
    from plugin.report.summary_shape import faults_of
    assert faults_of({**summary(), "lime": {}}) == ["lime has no zones"]
    assert faults_of({**summary(), "sidedress": []}) == ["sidedress is not what it should be"]
