"""The compaction rating against its source as remembered, and Wilson's interval as worked."""
import numpy as np
import pytest
from scipy.stats import binomtest

from plugin.core.decide.compaction_rating import passes_limit, rate_compaction, wilson_interval


def insertions(over, of):
    return np.arange(of) < over


@pytest.mark.parametrize(("over", "rating", "advised"), [
    (0, "little to none", False), (29, "little to none", False), (30, "slight", False),
    (49, "slight", False), (50, "moderate", True), (74, "moderate", True), (75, "severe", True),
    (100, "severe", True)])
def test_each_share_of_100_insertions_is_rated_as_the_table_is_remembered(over, rating, advised):
    # Agronomy Facts 63, table 1, from memory: under 30, 30 to 50, 50 to 75, over 75 %
    found = rate_compaction(insertions(over, 100))
    assert (found.rating, found.subsoiling) == (rating, advised)


@pytest.mark.parametrize(("over", "of", "low", "high"), [(22, 40, 40, 69), (11, 20, 34, 74)])
def test_wilsons_interval_is_as_worked(over, of, low, high):
    found = wilson_interval(over, of)
    assert (np.round(np.multiply(found, 100))).tolist() == [low, high]


@pytest.mark.parametrize(("over", "of"), [(0, 12), (1, 7), (22, 40), (150, 151), (9, 9)])
def test_wilsons_interval_is_that_of_an_independent_library(over, of):
    other = binomtest(over, of).proportion_ci(0.95, method="wilson")
    assert wilson_interval(over, of) == pytest.approx((other.low, other.high), abs=1e-12)


def test_a_share_whose_interval_spans_the_advice_is_called_borderline():
    assert rate_compaction(insertions(22, 40)).borderline
    assert "Borderline" in rate_compaction(insertions(22, 40)).text
    # 36 of 40: 77 to 96 %; 2 of 40: 1 to 17 %: neither holds 50 %
    assert not rate_compaction(insertions(36, 40)).borderline
    assert not rate_compaction(insertions(2, 40)).borderline


def test_the_user_is_told_the_table_is_from_memory_and_whose_it_is():
    found = rate_compaction(insertions(3, 12), excluded=2)
    assert found.status == "M"
    assert "from memory" in found.text and "Agronomy Facts 63" in found.text
    assert found.text.startswith("3 of 12 insertions (25 %, 95 % interval 9 to 53 %) pass the "
                                 "limit: little to none, by a table meant for 300 psi "
                                 "(2,068 kPa) in the top 15 in (38 cm).")
    assert "Left out, as stopped by a stone: 2." in found.text


def test_a_profile_passes_the_limit_only_above_it_and_within_15_inches():
    depths = [3, 6, 9, 12, 15, 18]
    worked = {"depth_unit": "in", "pressure_unit": "psi"}
    # 340 psi at 12 in
    assert passes_limit(depths, [120, 180, 250, 340, 320, 240], **worked)
    assert not passes_limit(depths, [120, 180, 250, 300, 300, 240], **worked)
    assert not passes_limit(depths, [120, 180, 250, 290, 299, 400], **worked)
    # 38.1 cm is 15 in and 2068.4 kPa is 300 psi
    metric = {"depth_unit": "cm", "pressure_unit": "kPa"}
    assert passes_limit([38.0], [2069], **metric)
    assert not passes_limit([38.0, 38.2], [2068, 4000], **metric)
