import pytest

from plugin.core.deliver.rate_table import (
    Product,
    RateLimits,
    RateRow,
    controller_rows,
    rate_rows,
)
from plugin.core.problems import InputProblem


def row(**parts):
    return {"zone": 1, "action": "replant", "rate": 34_000, "rate_unit": "seeds/ac"} | parts


def test_every_zone_becomes_a_row():
    found = rate_rows("Plan", [row(), row(zone=2.0, action="keep", rate=0)])
    assert found == [RateRow(1, "replant", 34_000.0, "seeds/ac"),
                     RateRow(2, "keep", 0.0, "seeds/ac")]
    assert [type(each.zone) for each in found] == [int, int]


@pytest.mark.parametrize("rate", [None, -1, float("nan"), float("inf"), -1e-9])
def test_a_rate_that_is_none_is_refused_by_its_row(rate):
    with pytest.raises(InputProblem, match=f"Plan, row 2, rate: {rate} is no rate. Enter 0"):
        rate_rows("Plan", [row(), row(rate=rate)])


def test_polygons_that_are_no_plan_are_numbered_and_take_the_unit_given():
    found = rate_rows("Layer", [{"n": 40}, {"n": "35.5"}], rate_column="n", unit="kg/ha")
    assert found == [RateRow(1, "", 40.0, "kg/ha"), RateRow(2, "", 35.5, "kg/ha")]


@pytest.mark.parametrize("column,words", [
    ("rate", "Plan has no column rate. Choose a plan that"),
    ("rate_unit", "Plan has no column rate_unit. Say which unit")])
def test_a_layer_without_rates_or_unit_is_refused_by_the_column_it_lacks(column, words):
    lacking = row()
    del lacking[column]
    with pytest.raises(InputProblem, match=words):
        rate_rows("Plan", [lacking])


@pytest.mark.parametrize("zone", ["north", 1.5, -1, float("nan"), 1e12, float("inf")])
def test_a_zone_that_is_no_number_is_refused(zone):
    with pytest.raises(InputProblem, match=f"Plan, row 1, zone: {zone} is no whole number"):
        rate_rows("Plan", [row(zone=zone)])


@pytest.mark.parametrize("rate,unit,to,expected", [
    # acre 4046.8564224 m2, pound 0.45359237 kg, US gallon 3.785411784 L, inch 2.54 cm
    (32_000, "seeds/ac", "seeds/ha", 79_073.7221), (14, "in", "cm", 35.56),
    (100, "lb/ac", "kg/ha", 112.0851), (20, "gal/ac", "L/ha", 187.0791),
    (2, "ton/ac", "t/ha", 4.483405), (7, "seeds/ac", "", 7.0)])
def test_rates_come_in_the_controllers_unit(rate, unit, to, expected):
    (found,) = controller_rows("Plan", [RateRow(1, "", rate, unit)], unit=to)
    assert found.rate == pytest.approx(expected, rel=1e-6)  # of the digits above
    assert found.unit == (to or unit)


@pytest.mark.parametrize("rate,unit,to,product,expected", [
    # urea: 120 / 0.46; a solution of 28 % and 10.67 lb/gal: 120 / 0.28 / 10.67
    (120, "lb/ac", "lb/ac", Product(0.46), 260.8696),
    (120, "lb/ac", "gal/ac", Product(0.28, 10.67 * 0.45359237 / 3.785411784), 40.1660),
    (135, "kg/ha", "L/ha", Product(0.28, 1.28), 376.6741), (120, "kg/ha", "", Product(), 120)])
def test_a_planned_nutrient_becomes_the_product_that_is_spread(rate, unit, to, product, expected):
    (found,) = controller_rows("Plan", [RateRow(1, "", rate, unit)], unit=to, product=product)
    assert found.rate == pytest.approx(expected, rel=1e-6)


def test_a_mass_becomes_a_volume_by_a_density_alone():
    with pytest.raises(InputProblem, match="lb/ac cannot be written in gal/ac.*by the density"):
        controller_rows("Plan", [RateRow(1, "", 9.0, "lb/ac")], unit="gal/ac")


def test_a_unit_of_something_else_is_refused():
    with pytest.raises(InputProblem, match="row 1: rates in in cannot be written in kg/ha"):
        controller_rows("Plan", [RateRow(1, "", 3.0, "in")], unit="kg/ha")


def test_limits_are_those_of_the_controllers_unit_and_rate_0_is_always_taken():
    rows = [RateRow(1, "", 0.0, "in"), RateRow(2, "", 10.0, "in"), RateRow(3, "", 14.0, "in")]
    limits = RateLimits(25.4, 35.56)
    assert [row.rate for row in controller_rows("P", rows, unit="cm", limits=limits)] == [
        0.0, 25.4, 35.56]
    with pytest.raises(InputProblem, match="P, row 3, depth: 35.56 cm is above the controller's "
                                           "greatest rate, 35 cm. Change the"):
        controller_rows("P", rows, unit="cm", limits=RateLimits(None, 35.0), rate_column="depth")
    with pytest.raises(InputProblem, match="row 2, rate: 25.4 cm is below .* least rate, 30 cm"):
        controller_rows("P", rows, unit="cm", limits=RateLimits(30.0, None))


@pytest.mark.parametrize("limits", [RateLimits(least=float("nan")),
                                    RateLimits(greatest=float("nan"))])
def test_a_limit_that_is_no_number_lets_no_rate_through(limits):
    with pytest.raises(InputProblem, match="row 1, rate: 5 in is .* the controller's .* nan in"):
        controller_rows("P", [RateRow(1, "", 5.0, "in")], limits=limits)


@pytest.mark.parametrize("product", [Product(float("nan")), Product(1e-308), Product(1.0, 5e-324)])
def test_a_product_that_makes_no_rate_is_refused(product):
    with pytest.raises(InputProblem, match="row 1, rate: 5000 lb/ac makes no rate in "):
        controller_rows("P", [RateRow(1, "", 5000.0, "lb/ac")], product=product,
                        unit="L/ha" if product.density_kg_per_l else "")


def test_several_units_are_refused_and_named():
    with pytest.raises(InputProblem, match="Plan holds rates in in and seeds/ac. A rate file"):
        rate_rows("Plan", [row(), row(rate_unit="in")])


def test_a_zone_without_a_number_is_refused():
    with pytest.raises(InputProblem, match="Plan, row 1, zone: it is empty"):
        rate_rows("Plan", [row(zone=None)])


def test_a_plan_without_zones_is_refused():
    with pytest.raises(InputProblem, match="Plan has no zone to write a rate for"):
        rate_rows("Plan", [])
