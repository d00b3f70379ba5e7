import datetime

import pytest

from plugin.record.read import open_record
from plugin.record.tillage_evidence import tillage_evidence
from tests.algorithms.small_calls import insertion_rows, make_call, pan_in_the_north, stops

LAYERS = ("compaction_readings", "compaction_profile")


def evidence(tmp_path, moisture=("moist",), units="us", count=24, **field):
    rows = [{**row, "moisture": moisture[number % len(moisture)]}
            for number, row in enumerate(insertion_rows()[:count])]
    return tillage_evidence(open_record(make_call(
        tmp_path / "a.gpkg", units, field=field, insertions=rows,
        profiles=[pan_in_the_north(*place) for place in stops()[:count]]), only=LAYERS))


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_field_is_rated_by_its_insertions(qgis_app, tmp_path, units):
    found = evidence(tmp_path, units=units)
    # the pan of 3200 kPa lies north of 4400092: the rows at 4400102, 142 and 182, 14 of 24 stops
    assert (found.rating.over, found.rating.used, found.rating.rating) == (14, 24, "moderate")


def test_moisture_comes_before_timing(qgis_app, tmp_path):
    dry, timing = evidence(tmp_path, ("dry", "moist", "moist", "at_capacity"),
                           visit_date=datetime.date(2026, 5, 1)).cautions
    assert dry.startswith("6 of 24 insertions (25 %) were taken in dry soil")
    assert "on 2026-05-01, 7 days after planting" in timing  # planted 24 April


def test_too_few_or_no_insertions_give_no_rating_and_say_so(qgis_app, tmp_path):
    found = evidence(tmp_path, count=6)
    assert found.rating is None and found.cautions[0].startswith("Only 6 insertions by gauge")
    none = tillage_evidence(open_record(make_call(tmp_path / "b.gpkg"), only=LAYERS))
    assert none.rating is None and none.cautions[0].startswith("The record holds no insertions")


def test_insertions_that_cannot_be_used_give_the_reason_in_place_of_a_rating(qgis_app, tmp_path):
    found = evidence(tmp_path, pan_limit=None)
    assert found.rating is None
    assert found.cautions[0].startswith("The field is not rated: field, pan_limit")
