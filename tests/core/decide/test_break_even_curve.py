from dataclasses import replace
from datetime import date

import pytest

from plugin.core.decide.break_even_curve import break_even_by_date, break_even_by_price
from plugin.core.decide.replant_gain import break_even_stand, gain_per_area
from plugin.core.decide.yield_response import days_covered, load_table
from tests.core.decide.test_replant_plan import CASE, TABLE


def test_at_each_date_and_price_the_stand_gains_nothing():
    for settings, found in (
            *((replace(CASE, replant_date=one.at), one) for one in break_even_by_date(TABLE, CASE)),
            *((replace(CASE, crop_price=one.at), one) for one in break_even_by_price(TABLE, CASE))):
        gain = float(gain_per_area(TABLE, settings, found.stand))
        assert gain == pytest.approx(0, abs=1e-6)  # rounding of sums of some hundred


def test_the_dates_hold_the_one_entered_and_stay_within_planting_and_table():
    days = [one.at for one in break_even_by_date(TABLE, CASE)]
    assert days[0] == date(2026, 4, 30) and days[-1] == date(2026, 6, 9)
    assert CASE.replant_date in days and {(b - a).days for a, b in zip(days, days[1:])} == {5}
    assert days_covered(TABLE, 2028) == (date(2028, 4, 10), date(2028, 6, 9))


def test_days_before_the_visit_are_over():
    visit = date(2026, 5, 12)
    days = [one.at for one in break_even_by_date(TABLE, CASE, visit)]
    assert visit <= days[0] < date(2026, 5, 17) and CASE.replant_date in days
    late = [one.at for one in break_even_by_date(TABLE, CASE, date(2026, 6, 8))]
    assert late[0] == CASE.replant_date  # entered before the visit: said elsewhere


def test_later_replanting_and_cheaper_grain_need_a_thinner_stand():
    stands = [one.stand for one in break_even_by_date(TABLE, CASE)][1:]
    assert stands == sorted(stands, reverse=True)
    stands = [one.stand for one in break_even_by_price(TABLE, CASE)]
    assert stands == sorted(stands) and len(stands) == 11
    assert break_even_by_price(TABLE, CASE)[5].stand == pytest.approx(
        break_even_stand(TABLE, CASE))


def test_where_no_stand_decides_it_says_which_way():
    dear = replace(CASE, other_replant_cost=5_000)
    assert {(one.stand, one.always) for one in break_even_by_price(TABLE, dear)} == {(None, False)}
    paid = replace(CASE, insurance_payment=5_000)
    assert {(one.stand, one.always) for one in break_even_by_date(TABLE, paid)} == {(None, True)}


def test_a_soybean_table_has_its_own_dates():
    table = load_table("soybean_drilled_indiana", "plants/ac")
    bean = replace(CASE, crop="soybean", planting_date=date(2026, 5, 12),
                   replant_date=date(2026, 6, 4), target_stand=120_000, expected_yield=55)
    assert break_even_by_date(table, bean)[-1].at <= days_covered(table, 2026)[1]
