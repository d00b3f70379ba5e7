"""Depths advised for seeds."""
import pytest

from plugin.core.observe.seed_advice import advised_depths


@pytest.mark.parametrize("unit,factor", [("in", 1.0), ("cm", 2.54)])
def test_depths_come_in_the_unit_asked_for_and_missing_limits_as_none(unit, factor):
    corn, soybean = advised_depths("corn", unit), advised_depths("soybean", unit)
    assert (corn.low, corn.high, corn.too_shallow) == pytest.approx(
        (1.5 * factor, 2 * factor, 1 * factor))  # as the table has them
    assert corn.too_deep is None and soybean.too_shallow is None
    assert soybean.too_deep == pytest.approx(2 * factor) and "second-hand" in corn.source


@pytest.mark.parametrize("crop", [None, "sorghum"])
def test_a_crop_without_advice_has_none(crop):
    assert advised_depths(crop, "in") is None
