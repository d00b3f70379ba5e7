"""Seed, fuel and hours of a plan, added up for its work order."""
from plugin.core.deliver.further_totals import further_totals


def test_seed_is_added_up_in_units_as_sold():
    rows = [{"seed_units": 3.37, "area_unit": "ac"}, {"seed_units": 0.0, "area_unit": "ac"}]
    assert further_totals(rows) == (("Seed, in units as sold", "3.4"),)


def test_fuel_and_hours_are_of_the_zones_worked_in_the_unit_of_the_plan():
    def zones(area_unit):
        return [{"fuel": 60.4, "hours": 3.26, "area_unit": area_unit},
                {"fuel": None, "hours": None, "area_unit": area_unit},
                {"fuel": 30.2, "hours": 1.5, "area_unit": area_unit}]
    # 60.4 + 30.2 and 3.26 + 1.5
    assert further_totals(zones("ac")) == (
        ("Fuel, estimated", "91 gal"), ("Hours in the field, estimated", "4.8 h"))
    assert further_totals(zones("ha"))[0] == ("Fuel, estimated", "91 L")


def test_what_no_zone_has_a_figure_for_is_left_out():
    assert further_totals([{"zone": 1, "fuel": None, "area_unit": "ac"}]) == ()
    assert further_totals([{"npk": 150.0}]) == ()
    assert further_totals([{"hours": float("nan")}, {"hours": "many"}]) == ()
