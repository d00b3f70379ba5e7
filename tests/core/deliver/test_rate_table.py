import pytest

from plugin.core.deliver.rate_table import RateRow, rate_rows
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


@pytest.mark.parametrize("column", ["zone", "action", "rate", "rate_unit"])
def test_a_layer_that_is_no_plan_is_refused_by_the_column_it_lacks(column):
    lacking = row()
    del lacking[column]
    with pytest.raises(InputProblem, match=f"Plan has no column {column}. Choose a plan that"):
        rate_rows("Plan", [lacking])


def test_several_units_are_refused_and_named():
    with pytest.raises(InputProblem, match="Plan holds rates in in and seeds/ac. A rate file"):
        rate_rows("Plan", [row(), row(rate_unit="in")])


def test_a_zone_without_a_number_is_refused():
    with pytest.raises(InputProblem, match="Plan, row 1, zone: it is empty"):
        rate_rows("Plan", [row(zone=None)])


def test_a_plan_without_zones_is_refused():
    with pytest.raises(InputProblem, match="Plan has no zone to write a rate for"):
        rate_rows("Plan", [])
