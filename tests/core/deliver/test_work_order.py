import pytest

from plugin.core.deliver.hand_over import HandedZone, ReadBack
from plugin.core.deliver.rate_formats import FORMATS
from plugin.core.deliver.rate_table import RateRow
from plugin.core.deliver.work_order import (
    FROM_MEMORY,
    area_unit_of,
    rate_text,
    work_order,
)

ACRE = 4046.8564224
BACK = ReadBack("ISO 11783-10, zones", 3, 30 * ACRE, 1.0, 0.0, 31_998.5, 4.05, 1.5)


def order(rates, unit, acres=(10, 20, 5), **options):
    rows = [RateRow(number, "replant" if rate else "keep", rate, unit)
            for number, rate in enumerate(rates, 1)]
    meant = [HandedZone(f"zone {row.zone}", row.rate, area * ACRE)
             for row, area in zip(rows, acres)]
    return work_order("Quarry Flat", rows, meant, [(FORMATS[3], "r.zip", BACK)], **options)


def test_seeds_are_added_up_by_zone_and_rate():
    found = order([32_000.0, 0.0, 32_000.0], "seeds/ac", outside=0.0, lost=28_000.0)
    # 32,000 on 10 + 5 ac
    assert found.headline == "Plant on 15.00 ac of 35.00 ac: 480,000 seeds, at 32,000 seeds/ac."
    assert [(row.zones, row.action, row.rate, row.area, row.total) for row in found.rows] == [
        ("1, 3", "replant", "32,000 seeds/ac", "15.00 ac", "480,000 seeds"),
        ("2", "keep", "0 seeds/ac", "20.00 ac", "0 seeds")]
    assert dict(found.facts) == {
        "Area of all zones": "35.00 ac", "Area with a rate above 0": "15.00 ac",
        "Total": "480,000 seeds", "Outside the field": "0 seeds/ac",
        "Position lost, or no zone": "28,000 seeds/ac"}
    assert "hybrid" in found.cautions[0] and found.cautions[-1] == FROM_MEMORY


def test_depths_have_a_mean_and_no_total():
    found = order([12.0, 0.0, 15.0], "in")
    assert found.headline == "Work on 15.00 ac of 35.00 ac, 12.0 to 15.0 in deep."
    assert ("Mean depth where worked", "13.0 in") in found.facts  # (12 x 10 + 15 x 5) / 15
    assert {row.total for row in found.rows} == {""} and "Outside the field" not in dict(
        found.facts)
    assert "buried utilities" in found.cautions[0]


@pytest.mark.parametrize("unit,words,caution", [
    ("lb/ac", "Apply on 30.00 ac of 35.00 ac: 2,000 lb, at 50.0 to 100.0 lb/ac.", "spreader"),
    ("gal/ac", "Apply on 30.00 ac of 35.00 ac: 2,000 gal, at 50.00 to 100.00 gal/ac.", "label"),
    # 30 ac = 12.14 ha, 35 ac = 14.16 ha; 100 x 4.047 + 50 x 8.094
    ("kg/ha", "Apply on 12.14 ha of 14.16 ha: 809.4 kg, at 50.0 to 100.0 kg/ha.", "spreader"),
    ("points", "Apply on 12.14 ha of 14.16 ha, at 50.00 to 100.00 points.", "Before you drive")])
def test_products_are_added_up_in_their_own_unit(unit, words, caution):
    found = order([100.0, 50.0, 0.0], unit)
    assert found.headline == words and caution in found.cautions[0]


def test_rates_of_a_nutrient_are_said_to_be_no_rates_of_a_product():
    found = order([100.0, 50.0, 0.0], "lb/ac", nutrient="nitrogen")
    assert found.headline == ("Apply on 30.00 ac of 35.00 ac: 2,000 lb of nitrogen, at 50.0 to "
                              "100.0 lb/ac.")
    assert found.cautions[0].startswith("Rates count nitrogen itself, not the product")
    assert not any("Masses are of the product" in caution for caution in found.cautions)


def test_a_plan_that_does_nothing_says_so():
    assert order([0.0, 0.0, 0.0], "in").headline == (
        "All 35.00 ac carry rate 0: nothing is to be done.")


def test_what_a_format_rounds_is_told_and_what_it_keeps_is_not():
    (_, held, _), = order([32_000.0, 0.0, 1.0], "seeds/ac").files
    assert held == ("ISO 11783-10, zones: 3 polygons, 0 to 31,998 seeds/ac, in steps of 4.05 "
                    "seeds/ac: up to 1.50 seeds/ac off the plan")


def test_many_zones_of_one_rate_are_named_in_part():
    found = order([5.0] * 15, "in", acres=[1] * 15)
    assert found.rows[0].zones == "1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12 and 3 more"


def test_areas_go_with_the_rates_unit():
    assert [area_unit_of(unit) for unit in ("seeds/ac", "in", "cm", "kg/ha", "L/ha")] == [
        "ac", "ac", "ha", "ha", "ha"]
    assert rate_text(35.56, "cm") == "35.6 cm"
