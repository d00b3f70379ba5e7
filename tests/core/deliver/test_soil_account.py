import pytest

from plugin.core.deliver.soil_account import soil_account
from plugin.core.observations import Observations


def account(values=(6.0, 6.4, 5.6), **changes):
    places = [(number, 0.0) for number in range(len(values))]
    return soil_account("ph", Observations.of("pH", "", places, values), **{
        "methods": ("meter", "laboratory", "meter")[:len(values)],
        "bottom_m": [0.1778, 0.1524, 0.1778][:len(values)], "depth_unit": "in", "left_out": 2,
        "warnings": ("One.",), **changes})


def test_a_result_is_told_with_its_interval_depths_and_methods():
    # Mean 6.0, deviation 0.4, error 0.23094; t of 2 degrees of freedom, 95 %: 2.91999: 0.67434.
    found = account()
    assert (found["mean"]["text"], found["interval"]["text"]) == ("6.0", "5.3 to 6.7")
    assert found["interval"]["high"]["value"] == pytest.approx(6.67434, abs=1e-5)
    assert (found["range"]["text"], found["depth"]["text"]) == ("5.6 to 6.4", "6.0 in to 7.0 in")
    assert found["methods"] == "laboratory 1, meter 2"
    assert (found["samples"]["text"], found["left_out"]["text"]) == ("3", "2")
    assert found["warnings"] == ["One."]


def test_one_sample_has_no_interval_and_one_depth():
    found = account(values=(6.0,))
    assert found["interval"] is None and found["depth"]["text"] == "7.0 in"


def test_an_acid_surface_is_spoken_of():
    assert "At 2 of the samples the surface is more than 0.5 pH" in account(
        acid_surfaces=2)["warnings"][1]
