import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugin.core.deliver.set_points import SHOWN_DECIMALS, set_point_of, set_points
from plugin.core.problems import InputProblem

UNITS = [*SHOWN_DECIMALS, "mm", "m", "g/m2", "mg/m2", "seeds/m2"]


@pytest.mark.parametrize("unit,quantity,hexadecimal,step", [
    # ISO 11783-11: 0.001 seeds per m2 is 10 a hectare and 4.0468564224 an acre
    ("seeds/ha", "count", "000B", 10.0), ("seeds/ac", "count", "000B", 4.0468564224),
    ("in", "depth", "0033", 1 / 25.4), ("cm", "depth", "0033", 0.1),
    ("kg/ha", "mass", "0006", 0.01), ("lb/ac", "mass", "0006", 0.0089217912),
    ("L/ha", "volume", "0001", 1e-4), ("gal/ac", "volume", "0001", 1.06906637e-5)])
def test_a_unit_goes_with_its_identifier_and_step(unit, quantity, hexadecimal, step):
    found = set_point_of(unit)
    assert (found.quantity, found.hexadecimal) == (quantity, hexadecimal)
    assert found.step_in(unit) == pytest.approx(step, rel=1e-8)  # of the digits above


@pytest.mark.parametrize("value,unit,raw", [
    # by hand: 80,000 x 0.1; 32,000 x 0.2471053815 = 7907.37; 14 x 25.4 = 355.6; 35.5 x 10
    (80_000, "seeds/ha", 8000), (32_000, "seeds/ac", 7907), (14, "in", 356), (35.5, "cm", 355),
    (150, "kg/ha", 15_000), (100, "lb/ac", 11_209), (200, "L/ha", 2_000_000),
    (20, "gal/ac", 1_870_791), (2, "ton/ac", 448_340), (5, "seeds/ha", 1), (0, "in", 0)])
def test_raw_integers_as_worked_by_hand(value, unit, raw):
    assert set_point_of(unit).raw(value, unit) == raw


def test_halves_go_away_from_zero():
    depth = set_point_of("mm")
    assert [depth.raw(value, "mm") for value in (0.5, 1.5, 2.5, -0.5, -2.5)] == [1, 2, 3, -1, -3]


def test_a_rate_reads_back_as_what_the_integer_means():
    assert set_point_of("seeds/ac").value(7907, "seeds/ac") == pytest.approx(31_998.494, abs=1e-3)


@given(st.sampled_from(UNITS), st.floats(0, 1), st.floats(1e-6, 1))
def test_there_and_back_is_within_half_a_step(unit, share, size):
    one = set_point_of(unit)
    value = share * size * one.step_in(unit) * one.greatest_raw
    error = abs(float(one.value(one.raw(value, unit), unit)) - value)
    assert error <= one.step_in(unit) / 2 + 1e-12 * value  # rounding of doubles


@pytest.mark.parametrize("unit,value", [
    ("L/ha", 214_749), ("seeds/ha", 3e10), ("kg/ha", 2.2e7), ("gal/ac", 22_959)])
def test_what_32_bits_do_not_hold_is_refused(unit, value):
    with pytest.raises(InputProblem, match=re.escape(f"{value:g} {unit} is beyond")):
        set_point_of(unit).raw(value, unit)


def test_the_furthest_integer_is_taken_and_the_next_refused():
    mass = set_point_of("kg/ha")
    assert mass.raw(2**31 - 1, "mg/m2") == 2**31 - 1
    with pytest.raises(InputProblem, match="beyond"):
        mass.raw(2**31, "mg/m2")
    with pytest.raises(InputProblem, match="beyond"):
        mass.raw(-1, "mg/m2")


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_what_is_no_number_is_refused(value):
    with pytest.raises(InputProblem, match="is no rate"):
        set_point_of("in").raw(value, "in")


@pytest.mark.parametrize("unit", ["USD/ac", "psi", "", "plants/ac"])
def test_a_unit_that_no_identifier_carries_is_refused(unit):
    with pytest.raises(InputProblem, match="ISO 11783 files carry .* name its unit"):
        set_point_of(unit)


def test_every_identifier_fits_the_grid_and_is_there_once():
    assert len({one.ddi for one in set_points()}) == len(set_points()) == 4
    assert all(-2**31 <= one.least_raw <= 0 < one.greatest_raw < 2**31 for one in set_points())
