from types import SimpleNamespace

import pytest

from plugin.core.deliver.rate_headlines import lime_headline, sidedress_headline


def zone(rate, area, cost=None):
    figures = {"amount": (rate * area, "lb")} | ({} if cost is None else {"cost": (cost, "USD")})
    return SimpleNamespace(action="apply" if rate else "none", rate=rate, area=area,
                           figures=figures)


def plan(*zones, gain=0.0, rate_unit="lb/ac"):
    return SimpleNamespace(zones=zones, gain=gain, area_unit="ac", currency="USD",
                           rate_unit=rate_unit)


@pytest.mark.parametrize("gain,words", [
    (100.0, "USD 100 less than the usual rate everywhere"),
    (-80.0, "USD 80 more than the usual rate everywhere")])
def test_rates_area_amount_and_money_are_told(gain, words):
    found = sidedress_headline(plan(zone(60.0, 5.0, 10.0), zone(0.0, 3.0, 0.0), zone(80.0, 2.0, 9),
                                    gain=gain))
    assert found == ("Sidedress 60 lb/ac to 80 lb/ac of nitrogen on 7.0 ac of 10.0 ac: 460 lb in "
                     f"all, {words}.")


def test_without_a_usual_rate_the_cost_is_told_and_without_a_price_nothing():
    assert lime_headline(plan(zone(2.0, 5.0, 300.0), rate_unit="ton/ac")) == (
        "Spread 2.00 ton/ac of lime on all of it, 5.0 ac: 10.0 ton in all, USD 300.")
    assert lime_headline(plan(zone(2.0, 5.0), rate_unit="ton/ac")).endswith("10.0 ton in all.")


def test_where_none_is_needed_it_says_so():
    assert sidedress_headline(plan(zone(0.0, 5.0))) == (
        "Sidedress no nitrogen: the soil test asks for none in any zone.")
