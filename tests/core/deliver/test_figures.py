import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugin.core.deliver.figures import figure, interval, share


@pytest.mark.parametrize(("value", "unit", "text"), [
    (86.46, "ac", "86.5 ac"), (35.0, "ha", "35.0 ha"), (10.666, "in", "10.7 in"),
    (40.4, "cm", "40 cm"), (1234.4, "ft", "1,234 ft"), (300.0, "psi", "300 psi"),
    (2068.4, "kPa", "2,068 kPa"), (154.4, "bu/ac", "154 bu/ac"), (9.69, "t/ha", "9.7 t/ha"),
    (12.34, "seed units", "12.3 seed units"), (42, "", "42"), (1_234_567, "", "1,234,567"),
    (27_804, "plants/ac", "27,800 plants/ac"), (69_190.2, "plants/ha", "69,200 plants/ha"),
    (34_951, "seeds/ac", "35,000 seeds/ac"), (34_949, "seeds/ha", "34,900 seeds/ha"),
    (49, "plants/ac", "0 plants/ac")])
def test_a_figure_has_the_decimals_of_its_unit(value, unit, text):
    assert figure(value, unit) == {"value": float(value), "unit": unit, "text": text}


@pytest.mark.parametrize(("value", "unit", "text"), [
    (1234.5, "USD", "USD 1,234"), (1235.5, "EUR", "EUR 1,236"), (-1234.6, "USD", "USD -1,235"),
    (12.0, "USD/ac", "USD 12.00/ac"), (4.5, "USD/bu", "USD 4.50/bu"),
    (-3.2, "CAD/ha", "CAD -3.20/ha"), (1_000_000, "USD", "USD 1,000,000")])
def test_the_currency_stands_in_front(value, unit, text):
    assert figure(value, unit)["text"] == text


@pytest.mark.parametrize(("value", "unit", "text"), [
    (-0.0, "ac", "0.0 ac"), (-0.04, "ac", "0.0 ac"), (-0.4, "USD", "USD 0"), (-0.0, "", "0"),
    (-49.0, "plants/ac", "0 plants/ac"), (-0.06, "ac", "-0.1 ac"), (-0.0, "USD/ac", "USD 0.00/ac")])
def test_nothing_has_no_sign(value, unit, text):
    assert figure(value, unit)["text"] == text


@pytest.mark.parametrize("value", [None, float("nan"), float("inf"), float("-inf")])
def test_a_missing_figure_is_said_to_be_so(value):
    assert figure(value, "ac") == {"value": None, "unit": "ac", "text": "not known"}
    assert share(value) == {"value": None, "unit": "%", "text": "not known"}


@given(st.floats(-1e9, 1e9), st.sampled_from(["ac", "in", "psi", "bu/ac", "plants/ac", "USD",
                                              "USD/ac"]))
def test_the_text_says_the_value_to_half_of_its_last_place(value, unit):
    text = figure(value, unit)["text"]
    number = float(text.replace("USD", "").replace(unit, "").replace("/ac", "").replace(",", ""))
    half = {"ac": 0.05, "in": 0.05, "psi": 0.5, "bu/ac": 0.5, "plants/ac": 50, "USD": 0.5,
            "USD/ac": 0.005}[unit]
    assert number == pytest.approx(value, abs=half * (1 + 1e-6) + 1e-6)
    assert not text.replace("USD ", "").startswith("-0 ")


@pytest.mark.parametrize(("value", "text"), [
    (0.0, "under 1 %"), (0.904, "90 %"), (1, "over 99 %"), (-0.001, "under 1 %"),
    (0.996, "over 99 %"), (0.994, "99 %"), (0.006, "1 %")])
def test_a_share_is_read_in_whole_percent_and_never_as_certain(value, text):
    made = share(value)
    assert (made["text"], made["unit"]) == (text, "%")
    assert made["value"] == pytest.approx(100 * value, rel=1e-12)


def test_an_interval_is_read_from_low_to_high():
    made = interval(-120.4, 3400, "USD")
    assert made["text"] == "USD -120 to USD 3,400"
    assert (made["low"]["value"], made["high"]["value"]) == (-120.4, 3400.0)
    assert interval(None, 5.0, "ac")["text"] == "not known to 5.0 ac"
    assert interval(math.nan, math.nan, "ac")["text"] == "not known"
