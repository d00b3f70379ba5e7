import re
from datetime import date

import pytest

from plugin.core.decide.tillage_timing import moisture_cautions, timing_cautions


def test_dry_wet_and_unknown_soil_are_told_with_their_share():
    dry, wet, unknown = moisture_cautions(["dry", "moist", "wet", None, "dry", "at_capacity",
                                           "moist", "moist", "moist", "moist"])
    assert dry.startswith("2 of 10 insertions (20 %) were taken in dry soil")
    assert wet.startswith("1 of 10 insertions (10 %) were taken in wet soil")
    assert unknown.startswith("Of 1 of 10 insertions (10 %) the soil's moisture is not entered")


def test_moist_soil_needs_no_word():
    assert moisture_cautions(["moist", "at_capacity"]) == () == moisture_cautions([])


@pytest.mark.parametrize(("visit", "planted", "season", "said"), [
    (None, date(2026, 4, 24), 2026, "visit_date is empty"),
    (date(2026, 5, 14), date(2026, 4, 24), 2026, "2026-05-14, 20 days after planting. Deep"),
    (date(2026, 4, 1), date(2026, 4, 24), 2026, r"on 2026-04-01\. Deep tillage is usually"),
    (date(2026, 4, 1), None, None, "on 2026-04-01"),
    (date(2025, 10, 1), date(2026, 4, 24), 2026, "on 2025-10-01"),  # the fall before
    (date(2024, 10, 1), date(2026, 4, 24), 2026, r"\(2024-10-01\) lies outside of season 2026")])
def test_the_day_of_the_visit_is_held_against_the_season(visit, planted, season, said):
    caution, = timing_cautions(visit, planted, season)
    assert re.search(said, caution)
