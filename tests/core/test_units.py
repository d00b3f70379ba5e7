import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugin.core.problems import InputProblem
from plugin.core.units import (
    BUSHEL_LB,
    UNIT_SYSTEMS,
    bushel_kg,
    bushels_per_acre_as_tonnes_per_hectare,
    convert,
)

KINDS = (("m", "mm", "cm", "km", "in", "ft"), ("m2", "ha", "ac", "ft2"),
         ("kPa", "MPa", "Pa", "N/cm2", "psi"), ("kg", "g", "t", "lb"), ("s", "h"),
         ("L", "gal"), ("N", "kN", "lbf"), ("kW", "hp"))
PAIRS = [(unit, to) for kind in KINDS for unit in kind for to in kind]
SIZES = st.floats(1e-9, 1e9) | st.floats(-1e9, -1e-9) | st.just(0.0)
ROUNDING = 1e-12  # two products and two quotients in double precision


@given(SIZES, st.sampled_from(PAIRS))
def test_there_and_back_is_the_same_value(value, pair):
    unit, to = pair
    assert convert(convert(value, unit, to), to, unit) == pytest.approx(value, rel=ROUNDING)


@given(SIZES, st.sampled_from(PAIRS), st.sampled_from(PAIRS))
def test_a_compound_converts_by_its_top_over_its_bottom(value, top, bottom):
    unit, to = f"{top[0]}/{bottom[0]}", f"{top[1]}/{bottom[1]}"
    if "N/cm2" in top + bottom:  # a unit with its own slash makes no compound
        return
    by_hand = value * convert(1.0, *top) / convert(1.0, *bottom)
    assert convert(value, unit, to) == pytest.approx(by_hand, rel=ROUNDING)


@given(SIZES, st.sampled_from([kind for kind in KINDS if len(kind) > 2]), st.data())
def test_a_detour_through_a_third_unit_changes_nothing(value, kind, data):
    unit, by, to = (data.draw(st.sampled_from(kind)) for _ in range(3))
    assert convert(convert(value, unit, by), by, to) == pytest.approx(
        convert(value, unit, to), rel=ROUNDING)


@pytest.mark.parametrize("shape", [(), (0,), (3,), (2, 3)])
def test_the_shape_stays(shape):
    assert np.shape(convert(np.ones(shape), "ft", "m")) == shape


def test_a_missing_value_stays_missing_and_the_input_is_untouched():
    lengths = np.array([1.0, np.nan])
    assert convert(lengths, "ft", "in") == pytest.approx([12.0, np.nan], nan_ok=True, rel=ROUNDING)
    assert lengths[0] == 1.0


@pytest.mark.parametrize(("unit", "to", "message"), [
    ("furlong", "m", "furlong cannot be expressed in m"),
    ("m", "furlong", "m cannot be expressed in furlong"),
    ("m", "kg", "m cannot be expressed in kg"),
    ("psi", "in", "psi cannot be expressed in in"),
    ("plants/ac", "seeds/ha", "plants cannot be expressed in seeds"),
    ("plants/ac", "plants/m", "ac cannot be expressed in m"),
    ("USD/ac", "EUR/ac", "USD cannot be expressed in EUR"),
    ("plants/ac", "ac", "plants/ac cannot be expressed in ac"),
    ("lb/ac/in", "kg/ha/cm", "lb/ac/in cannot be expressed in kg/ha/cm"),
    ("", "m", "cannot be expressed in m")])
def test_units_that_are_unknown_or_measure_different_things_are_refused(unit, to, message):
    with pytest.raises(InputProblem, match=message):
        convert(1.0, unit, to)


@pytest.mark.parametrize("crop", ["oats", "", None])
def test_a_crop_without_a_standard_bushel_is_refused_by_name(crop):
    with pytest.raises(InputProblem, match=f"no standard bushel weight for {crop}; known are corn"):
        bushel_kg(crop)
    with pytest.raises(InputProblem, match=f"for {crop};"):
        bushels_per_acre_as_tonnes_per_hectare(1.0, crop)


def test_every_unit_of_one_system_has_its_counterpart_in_the_other():
    us, metric = UNIT_SYSTEMS["us"], UNIT_SYSTEMS["metric"]
    for part in ("depth", "length", "area", "pressure", "population", "seeding", "flow"):
        there = convert(1.0, getattr(us, part), getattr(metric, part))
        assert convert(there, getattr(metric, part), getattr(us, part)) == pytest.approx(1.0)
    assert (us.money_per_area("USD"), metric.money_per_area("EUR")) == ("USD/ac", "EUR/ha")


def test_a_bushel_weighs_its_pounds():
    for crop, pounds in BUSHEL_LB.items():
        assert bushel_kg(crop) == pytest.approx(pounds * 0.45359237, rel=ROUNDING)
