"""Spacing indices against the worked run of plants and the seed spacings that go with it."""
import pytest

from plugin.core.observe.spacing import spacing_indices, theoretical_spacing_m
from plugin.core.units import convert

# Classes of ISO 7256-1 as restated by Iowa State University Extension (plant uniformity) and by
# Kachman and Smith (1995); the run and its figures are worked from those definitions.
PLANTS_IN = (0, 6, 13, 19, 21, 27, 40, 46, 53, 59, 66)


def test_the_worked_run_has_the_worked_indices():
    found = spacing_indices([PLANTS_IN], 6.534)
    assert found.mean == pytest.approx(6.60) and found.deviation == pytest.approx(2.675, abs=5e-4)
    assert (found.multiples, found.quality, found.misses) == pytest.approx((0.10, 0.80, 0.10))
    assert 100 * found.precision == pytest.approx(7.92, abs=0.005)


@pytest.mark.parametrize(("row_in", "seeds_per_ac", "spacing_in"), [
    # 6,272,640 / (row width x seeds/ac), as tabled to two decimals
    (30, 32_000, 6.53), (15, 24_000, 17.42), (20, 28_000, 11.20), (22, 36_000, 7.92),
    (36, 34_000, 5.12), (38, 36_000, 4.59), (7.5, 140_000, 5.97)])
def test_seed_spacings_are_those_of_the_table(row_in, seeds_per_ac, spacing_in):
    found = theoretical_spacing_m(convert(seeds_per_ac, "seeds/ac", "seeds/m2"),
                                  convert(row_in, "in", "m"))
    assert convert(found, "m", "in") == pytest.approx(spacing_in, abs=0.006)
