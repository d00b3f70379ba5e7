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


def spacing_in(row_in, seeds_per_ac):
    found = theoretical_spacing_m(convert(seeds_per_ac, "seeds/ac", "seeds/m2"),
                                  convert(row_in, "in", "m"))
    return convert(found, "m", "in")


@pytest.mark.parametrize(("row_in", "spacings"), [
    # 6,272,640 / (row width x seeds/ac), to two decimals, at 24, 28, 32, 34 and 36 thousand seeds
    (15, (17.42, 14.93, 13.07, 12.30, 11.62)), (20, (13.07, 11.20, 9.80, 9.22, 8.71)),
    (22, (11.88, 10.18, 8.91, 8.39, 7.92)), (30, (8.71, 7.47, 6.53, 6.15, 5.81)),
    (36, (7.26, 6.22, 5.45, 5.12, 4.84)), (38, (6.88, 5.90, 5.16, 4.85, 4.59))])
def test_seed_spacings_of_corn_are_those_of_the_table(row_in, spacings):
    found = [spacing_in(row_in, seeds) for seeds in (24_000, 28_000, 32_000, 34_000, 36_000)]
    assert found == pytest.approx(spacings, abs=0.0051)  # half a digit


@pytest.mark.parametrize(("row_in", "apart", "per_foot"), [
    (7.5, 5.97, 2.01), (15, 2.99, 4.02), (30, 1.49, 8.03)])
def test_seed_spacings_of_140_000_soybeans(row_in, apart, per_foot):
    found = spacing_in(row_in, 140_000)
    assert found == pytest.approx(apart, abs=0.0051)
    assert 12 / found == pytest.approx(per_foot, abs=0.0051)
